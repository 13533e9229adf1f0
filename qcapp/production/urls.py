from django.urls import path

from . import station_views, views

app_name = "production"
urlpatterns = [
    path("stations/", station_views.stations, name="stations"),
    path("welding/", views.welding, name="welding"),
    path("welding/procedures/", views.add_procedure, name="add_procedure"),
    path("welding/qualifications/", views.add_qualification, name="add_qualification"),
]
