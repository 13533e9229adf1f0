from django.urls import path

from . import plan_views, views

app_name = "inspections"
urlpatterns = [
    path("units/open/", views.open_page, name="open"),
    path("plans/drawings/", plan_views.drawings, name="drawings"),
    path("plans/<uuid:uuid>/try/", plan_views.try_on_units, name="try_plan"),
]
