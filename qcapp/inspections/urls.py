from django.urls import path

from . import paper_views, plan_views, views

app_name = "inspections"
urlpatterns = [
    path("units/open/", views.open_page, name="open"),
    path("units/<str:serial>/paper/", paper_views.overview, name="paper"),
    path("units/<str:serial>/paper.pdf", paper_views.blank, name="paper_blank"),
    path("units/<str:serial>/paper/<int:stage>/", paper_views.key, name="paper_key"),
    path("units/<str:serial>/paper/<uuid:uuid>/", paper_views.check, name="paper_check"),
    path("plans/drawings/", plan_views.drawings, name="drawings"),
    path("plans/<uuid:uuid>/try/", plan_views.try_on_units, name="try_plan"),
]
