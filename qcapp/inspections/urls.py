from django.urls import path

from . import adopting_views, handed_in_views, paper_views, plan_views, views, witness_views

app_name = "inspections"
urlpatterns = [
    path("tablets/aside/", handed_in_views.aside, name="aside"),
    path("tablets/unsent-file/", handed_in_views.unsent_file, name="unsent_file"),
    path("units/open/", views.open_page, name="open"),
    path("units/<str:serial>/paper/", paper_views.overview, name="paper"),
    path("units/<str:serial>/paper.pdf", paper_views.blank, name="paper_blank"),
    path("units/<str:serial>/paper/<int:stage>/", paper_views.key, name="paper_key"),
    path("units/<str:serial>/paper/<uuid:uuid>/", paper_views.check, name="paper_check"),
    path("plans/drawings/", plan_views.drawings, name="drawings"),
    path("plans/<uuid:uuid>/units/", adopting_views.units_in_build, name="adopting"),
    path("plans/<uuid:uuid>/units/choose/", adopting_views.choose, name="choose_plan"),
    path("plans/<uuid:uuid>/units/<str:serial>/", adopting_views.preview, name="adopt_one"),
    path("units/<str:serial>/witnesses/", witness_views.witnesses, name="witnesses"),
    path("units/<str:serial>/applicability/", adopting_views.applicability, name="applicability"),
    path("plans/<uuid:uuid>/first-articles/", adopting_views.articles, name="articles"),
    path("plans/<uuid:uuid>/first-articles/mark/", adopting_views.mark, name="mark_article"),
    path(
        "plans/<uuid:uuid>/first-articles/<uuid:article>/decide/", adopting_views.decide_article, name="decide_article"
    ),
    path("plans/<uuid:uuid>/when/", plan_views.when_due, name="when"),
    path("plans/<uuid:uuid>/try/", plan_views.try_on_units, name="try_plan"),
]
