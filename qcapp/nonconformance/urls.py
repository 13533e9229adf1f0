from django.urls import path

from . import authority_views, paper_views, place_views, queue_views, views

app_name = "nonconformance"
urlpatterns = [
    path("", queue_views.queue, name="list"),
    path("export.csv", queue_views.export, {"form": "csv"}, name="csv"),
    path("export.xlsx", queue_views.export, {"form": "xlsx"}, name="xlsx"),
    path("raise/", views.raise_report, name="raise"),
    path("raise-on-lot/", place_views.raise_on_lot, name="raise-lot"),
    path("raise-grouped/", authority_views.raise_grouped, name="raise-grouped"),
    path("deciders/", authority_views.deciders_page, name="deciders"),
    path("deciders/set/", authority_views.set_deciders, name="set-deciders"),
    path("permits/", authority_views.permits_page, name="permits"),
    path("permits/propose/", authority_views.propose_permit, name="propose-permit"),
    path("permits/<str:number>/sign/", authority_views.sign_permit, name="sign-permit"),
    path("holds/<uuid:uuid>/lift/", authority_views.lift, name="lift"),
    path("<str:number>/", views.report_page, name="report"),
    path("<str:number>/report.pdf", paper_views.report, name="pdf"),
    path("<str:number>/tag.pdf", paper_views.tag, name="tag"),
    path("<str:number>/return.pdf", paper_views.return_note, name="return-pdf"),
    path("<str:number>/contain/", views.contain, name="contain"),
    path("<str:number>/propose/", views.propose, name="propose"),
    path("<str:number>/sign/", views.sign, name="sign"),
    path("<str:number>/start/", views.start, name="start"),
    path("<str:number>/step/", views.step, name="step"),
    path("<str:number>/finish/", views.finish, name="finish"),
    path("<str:number>/fail/", views.fail, name="fail"),
    path("<str:number>/close/", views.close, name="close"),
    path("<str:number>/withdraw/", views.withdraw, name="withdraw"),
    path("<str:number>/picture/", views.picture, name="picture"),
    path("<str:number>/mark/", place_views.mark, name="mark"),
    path("<str:number>/units/", views.units, name="units"),
    path("<str:number>/customer/", views.customer, name="customer"),
    path("<str:number>/destroy/", views.destroy, name="destroy"),
    path("<str:number>/return/", views.send_back, name="return"),
]
