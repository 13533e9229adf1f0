from django.urls import path

from . import views

app_name = "plans"
urlpatterns = [
    path("", views.plan_list, name="list"),
    path("import/", views.import_plan, name="import"),
    path("<uuid:uuid>/", views.revision, name="revision"),
    path("<uuid:uuid>/plan.csv", views.export, name="export"),
    path("<uuid:uuid>/send-for-review/", views.send_for_review, name="send_for_review"),
    path("<uuid:uuid>/return/", views.return_to_draft, name="return"),
    path("<uuid:uuid>/approve/", views.approve, name="approve"),
    path("<uuid:uuid>/release/", views.release, name="release"),
    path("<uuid:uuid>/withdraw/", views.withdraw, name="withdraw"),
]
