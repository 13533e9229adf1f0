from django.urls import path

from . import views

app_name = "recall"
urlpatterns = [
    path("<str:number>/recall/<int:calibration>/", views.look, name="look"),
    path("<str:number>/recall/<int:calibration>/hold/", views.hold, name="hold"),
    path("<str:number>/recall/<int:calibration>/list.csv", views.as_csv, name="csv"),
]
