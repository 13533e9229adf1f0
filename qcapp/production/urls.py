from django.urls import path

from . import paper_views, station_views, views

app_name = "production"
urlpatterns = [
    path("stations/", station_views.stations, name="stations"),
    path("welding/", views.welding, name="welding"),
    path("welding/procedures/", views.add_procedure, name="add_procedure"),
    path("welding/qualifications/", views.add_qualification, name="add_qualification"),
    path("welding/qualifications/<uuid:uuid>/", views.qualification, name="qualification"),
    path("welding/inspectors/", paper_views.inspectors, name="inspectors"),
    path("welding/fixtures/", paper_views.fixture_list, name="fixtures"),
    path("welding/fixtures/<str:number>/", paper_views.fixture, name="fixture"),
]
