from django.urls import path

from . import field_views, seeing_views, views

app_name = "improvement"
urlpatterns = [
    path("", views.overview, name="overview"),
    path("actions/open/", views.open_action, name="open"),
    path("actions/signal/", views.open_for_signal, name="open_for_signal"),
    path("actions/mine/", views.mine, name="mine"),
    path("actions/<str:number>/", views.action_page, name="action"),
    path("actions/<str:number>/accept/", views.accept, name="accept"),
    path("actions/<str:number>/explain/", views.explain, name="explain"),
    path("actions/<str:number>/steps/", views.add_step, name="add_step"),
    path("actions/<str:number>/steps/move/", views.move_step, name="move_step"),
    path("actions/<str:number>/reports/", views.add_reports, name="add_reports"),
    path("actions/<str:number>/agree/", views.agree, name="agree"),
    path("actions/<str:number>/watch/", views.watch, name="watch"),
    path("actions/<str:number>/look-again/", views.look_again, name="look_again"),
    path("actions/<str:number>/drop/", views.drop, name="drop"),
    path("actions/<str:number>/close/", views.close, name="close"),
    path("seeing/", seeing_views.seeing, name="seeing"),
    path("seeing/pareto.csv", seeing_views.seeing_file, {"form": "csv"}, name="csv"),
    path("seeing/pareto.xlsx", seeing_views.seeing_file, {"form": "xlsx"}, name="xlsx"),
    path("reports/", seeing_views.reports_behind, name="reports"),
    path("where/", seeing_views.where, name="where"),
    path("costs/", seeing_views.costs, name="costs"),
    path("costs/<int:entry_id>/take-back/", seeing_views.take_back, name="take_back"),
    path("settings/", seeing_views.settings_page, name="settings"),
    path("field/", field_views.field_list, name="field_list"),
    path("field/open/", field_views.open_field, name="open_field"),
    path("field/<str:number>/", field_views.field_page, name="field"),
    path("field/<str:number>/units/", field_views.units, name="field_units"),
    path("field/<str:number>/letter/", field_views.letter, name="field_letter"),
    path("field/<str:number>/follow/", field_views.follow, name="follow"),
    path("field/<str:number>/letters.pdf", field_views.letters, name="letters"),
]
