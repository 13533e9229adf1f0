from django.urls import path

from . import views

app_name = "trends"
urlpatterns = [
    path("", views.watch, name="watch"),
    path("distortion/", views.distortion, name="distortion"),
    path("yield/", views.yields, name="yield"),
    path("<str:family>/<slug:key>/", views.characteristic, name="characteristic"),
    path("<str:family>/<slug:key>/values.csv", views.values_csv, name="csv"),
    path("<str:family>/<slug:key>/<slug:which>.svg", views.picture_file, {"form": "svg"}, name="svg"),
    path("<str:family>/<slug:key>/<slug:which>.png", views.picture_file, {"form": "png"}, name="png"),
]
