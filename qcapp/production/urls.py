from django.urls import path

from . import views

app_name = "production"
urlpatterns = [
    path("welding/", views.welding, name="welding"),
    path("welding/procedures/", views.add_procedure, name="add_procedure"),
    path("welding/qualifications/", views.add_qualification, name="add_qualification"),
]
