from django.urls import path

from . import views

app_name = "evidence"
urlpatterns = [
    path("<uuid:uuid>/", views.file, name="file"),
    path("<uuid:uuid>/small/", views.small, name="small"),
]
