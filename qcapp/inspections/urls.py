from django.urls import path

from . import views

app_name = "inspections"
urlpatterns = [path("units/open/", views.open_page, name="open")]
