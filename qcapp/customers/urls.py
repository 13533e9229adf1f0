from django.urls import path

from . import views

app_name = "customers"
urlpatterns = [
    path("customers/", views.customer_list, name="list"),
    path("units/<str:serial>/dispatch/", views.dispatch, name="dispatch"),
    path("units/<str:serial>/service/", views.event, name="event"),
]
