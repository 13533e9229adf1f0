from django.urls import path

from . import views

app_name = "capture"
urlpatterns = [
    path("floor/", views.floor, name="floor"),
    path("units/<str:serial>/bench/", views.bench, name="bench"),
]
