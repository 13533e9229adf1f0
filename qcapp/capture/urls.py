from django.urls import path

from . import correcting, decoding, views, welding

app_name = "capture"
urlpatterns = [
    path("floor/", views.floor, name="floor"),
    path("floor/shell/<str:name>/", views.shell, name="shell"),
    path("floor/decode/", decoding.decode, name="decode"),
    path("floor/words/<str:code>/", views.words, name="words"),
    path("floor/app.webmanifest", views.manifest, name="manifest"),
    path("floor/lots/<str:code>/", views.lot, name="lot"),
    path("floor/setup/", views.setup, name="setup"),
    path("floor/corrections/", correcting.corrections, name="corrections"),
    path("floor/corrections/<str:number>/", correcting.correction, name="correction"),
    path("sw.js", views.worker, name="worker"),
    path("units/<str:serial>/weld/", welding.weld, name="weld"),
    path("units/<str:serial>/bench/", views.bench, name="bench"),
]
