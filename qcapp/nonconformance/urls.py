from django.urls import path

from . import views

app_name = "nonconformance"
urlpatterns = [
    path("", views.report_list, name="list"),
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
