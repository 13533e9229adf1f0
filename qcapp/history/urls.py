from django.urls import path

from . import views, weld_map_views

app_name = "history"
urlpatterns = [
    path("", views.home, name="home"),
    path("units/", views.units, name="units"),
    path("units/<str:serial>/label/<str:form>.pdf", views.label, name="label"),
    path("units/<str:serial>/history.pdf", views.printed, name="pdf"),
    path("units/<str:serial>/values/<slug:key>/", views.value, name="value"),
    path("units/<str:serial>/weld-map/", weld_map_views.weld_map, name="weld_map"),
    path("units/<str:serial>/weld-map.pdf", weld_map_views.printed, name="weld_map_pdf"),
    path("units/<str:serial>/", views.unit, name="unit"),
]
