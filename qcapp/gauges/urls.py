from django.urls import path

from . import setup_views, study_views, views

app_name = "gauges"
urlpatterns = [
    path("", views.gauge_list, name="list"),
    path("due/", views.due, name="due"),
    path("due/<str:key>.ics", views.feed, name="feed"),
    path("add/", views.add_gauge, name="add"),
    path("kinds/add/", views.add_kind, name="add_kind"),
    path("kinds/usual/", views.add_usual_kinds, name="add_usual_kinds"),
    path("<str:number>/", views.gauge_page, name="gauge"),
    path("<str:number>/studies/plan/", study_views.plan, name="plan_study"),
    path("<str:number>/studies/<int:study>/", study_views.show, name="study"),
    path("<str:number>/studies/<int:study>/read/", study_views.read, name="read_study"),
    path("<str:number>/setup/", setup_views.setup, name="setup"),
    path("<str:number>/label.pdf", views.label, name="label"),
    path("<str:number>/calibrations/", views.calibrate, name="calibrate"),
    path("<str:number>/keeping/", views.keep, name="keeping"),
    path("<str:number>/budget/", views.budget, name="budget"),
    path("<str:number>/out-of-use/", views.take_out_of_use, name="out_of_use"),
    path("<str:number>/retire/", views.retire, name="retire"),
    path("<str:number>/back-in-use/", views.put_back_in_use, name="back_in_use"),
]
