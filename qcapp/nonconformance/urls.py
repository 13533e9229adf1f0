from django.urls import path

from . import queue_views, views

app_name = "nonconformance"
urlpatterns = [
    path("", queue_views.queue, name="list"),
    path("export.csv", queue_views.export, {"form": "csv"}, name="csv"),
    path("export.xlsx", queue_views.export, {"form": "xlsx"}, name="xlsx"),
    path("raise/", views.raise_report, name="raise"),
    path("<str:number>/", views.report_page, name="report"),
    path("<str:number>/contain/", views.contain, name="contain"),
    path("<str:number>/propose/", views.propose, name="propose"),
    path("<str:number>/sign/", views.sign, name="sign"),
    path("<str:number>/start/", views.start, name="start"),
    path("<str:number>/finish/", views.finish, name="finish"),
    path("<str:number>/fail/", views.fail, name="fail"),
    path("<str:number>/close/", views.close, name="close"),
    path("<str:number>/withdraw/", views.withdraw, name="withdraw"),
]
