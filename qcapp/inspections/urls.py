from django.urls import path

from . import handed_in_views, plan_views, views

app_name = "inspections"
urlpatterns = [
    path("tablets/aside/", handed_in_views.aside, name="aside"),
    path("tablets/unsent-file/", handed_in_views.unsent_file, name="unsent_file"),
    path("units/open/", views.open_page, name="open"),
    path("plans/drawings/", plan_views.drawings, name="drawings"),
    path("plans/<uuid:uuid>/try/", plan_views.try_on_units, name="try_plan"),
]
