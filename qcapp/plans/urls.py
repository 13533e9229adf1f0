from django.urls import path

from . import draft_views, drawing_views, family_views, paper_views, views, weld_map_views

app_name = "plans"
urlpatterns = [
    path("", views.plan_list, name="list"),
    path("families/add/", family_views.add_family, name="add_family"),
    path("import/", views.import_plan, name="import"),
    path("<uuid:uuid>/", views.revision, name="revision"),
    path("<uuid:uuid>/plan.csv", views.export, name="export"),
    path("<uuid:uuid>/plan.xlsx", draft_views.workbook, name="workbook"),
    path("<uuid:uuid>/compare/", views.compare, name="compare"),
    path("<uuid:uuid>/compare.pdf", paper_views.print_comparison, name="print_comparison"),
    path("<uuid:uuid>/paper.pdf", paper_views.blank, name="blank"),
    path("<uuid:uuid>/drawing/", drawing_views.drawing, name="drawing"),
    path("<uuid:uuid>/drawing.pdf", drawing_views.print_drawing, name="print_drawing"),
    path("<uuid:uuid>/drawing/pages/", drawing_views.preview_pages, name="preview_pages"),
    path("<uuid:uuid>/drawing/sheets/", drawing_views.add_sheets, name="add_sheets"),
    path("<uuid:uuid>/drawing/sheets/<uuid:sheet>/remove/", drawing_views.remove_sheet, name="remove_sheet"),
    path("<uuid:uuid>/drawing/balloon/", drawing_views.balloon, name="balloon"),
    path("<uuid:uuid>/drawing/astray/", drawing_views.remove_astray, name="remove_astray"),
    path("<uuid:uuid>/drawing/picture/", drawing_views.picture, name="picture"),
    path("<uuid:uuid>/weld-map/", weld_map_views.weld_map_of_plan, name="weld_map"),
    path("<uuid:uuid>/weld-map/joint/", weld_map_views.joint, name="joint"),
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
