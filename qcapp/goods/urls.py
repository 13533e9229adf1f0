from django.urls import path

from . import holding_views, outside_views, verifying_views, views

app_name = "goods"
urlpatterns = [
    path("", views.overview, name="overview"),
    path("receive/", views.receive, name="receive"),
    path("deliveries/<str:number>/report/", views.report, name="report"),
    path("deliveries/<str:number>/hold/", holding_views.hold, name="hold"),
    path("deliveries/<str:number>/lift/", holding_views.lift, name="lift"),
    path("deliveries/<str:number>/", views.delivery, name="delivery"),
    path("certificates/new/", views.certificate, name="certificate"),
    path("lots/new/", views.new_lot, name="new_lot"),
    path("lots/<str:code>/", views.lot, name="lot"),
    path("verification/", verifying_views.verification, name="verification"),
    path("outside/", outside_views.outside, name="outside"),
    path("outside/<str:serial>/", outside_views.unit_outside, name="unit_outside"),
    path("move/", views.move, name="move"),
    path("build-in/<str:serial>/", views.build_in, name="build_in"),
    path("heats/<path:number>/", views.heat, name="heat"),
]
