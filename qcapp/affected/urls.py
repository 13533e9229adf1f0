from django.urls import path

from . import views

app_name = "affected"
urlpatterns = [
    path("nonconformances/<str:number>/suspects/", views.suspects, name="suspects"),
    path("nonconformances/<str:number>/suspects/hold/", views.hold, name="hold"),
]
