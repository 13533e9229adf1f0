from django.urls import path

from . import draft_views, views

app_name = "plans"
urlpatterns = [
    path("", views.plan_list, name="list"),
    path("import/", views.import_plan, name="import"),
    path("<uuid:uuid>/", views.revision, name="revision"),
    path("<uuid:uuid>/plan.csv", views.export, name="export"),
    path("<uuid:uuid>/plan.xlsx", draft_views.workbook, name="workbook"),
    path("<uuid:uuid>/compare/", views.compare, name="compare"),
    path("<uuid:uuid>/revise/", views.revise, name="revise"),
    path("<uuid:uuid>/discard/", views.discard, name="discard"),
    path("<uuid:uuid>/draft/cell/", draft_views.cell, name="draft_cell"),
    path("<uuid:uuid>/draft/rows/", draft_views.rows, name="draft_rows"),
    path("<uuid:uuid>/draft/rows/<slug:row>/", draft_views.panel, name="draft_panel"),
    path("<uuid:uuid>/draft/paste/", draft_views.paste, name="draft_paste"),
    path("<uuid:uuid>/draft/stages/", draft_views.stages, name="draft_stages"),
    path("<uuid:uuid>/draft/import/", draft_views.import_into, name="draft_import"),
    path("<uuid:uuid>/send-for-review/", views.send_for_review, name="send_for_review"),
    path("<uuid:uuid>/return/", views.return_to_draft, name="return"),
    path("<uuid:uuid>/approve/", views.approve, name="approve"),
    path("<uuid:uuid>/release/", views.release, name="release"),
    path("<uuid:uuid>/withdraw/", views.withdraw, name="withdraw"),
]
