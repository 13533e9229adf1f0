from django.urls import path

from . import batch_views, check_views, choice_views, lot_views, views

app_name = "certificates"
urlpatterns = [
    path("units/<str:serial>/release/", views.release_page, name="release"),
    path("units/<str:serial>/release/give/", views.release_unit, name="give"),
    path("units/<str:serial>/release/withdraw/", views.withdraw, name="withdraw"),
    path("units/<str:serial>/release/issue/", views.issue, name="issue"),
    path("units/<str:serial>/release/decide/", views.decide, name="decide"),
    path("certificates/", batch_views.to_issue, name="to_issue"),
    path("certificates/batches/<uuid:uuid>/", batch_views.batch, name="batch"),
    path("certificates/families/<str:code>/", choice_views.choose, name="choose"),
    path("certificates/lots/<str:code>/", lot_views.lot_certificate, name="lot"),
    path("certificates/schema/1.json", check_views.content_schema_page, name="schema"),
    path("certificates/<str:number>/<int:issue>.pdf", views.pdf, name="pdf"),
    path("certificates/<str:number>/<int:issue>.json", views.frozen, name="json"),
    path("certificates/<str:number>/<int:issue>.zip", views.package, name="package"),
    path("certificates/<str:number>/<int:issue>/withdraw/", views.withdraw_issue, name="withdraw_issue"),
    path("check/", check_views.check_file, name="check_file"),
    path("check/<str:token>/", check_views.check, name="check"),
]
