"""The addresses of the API. A version is a folder; additions stay in it, changes open the next one."""

from __future__ import annotations

from django.urls import path
from django.views.decorators.gzip import gzip_page
from drf_spectacular.views import SpectacularJSONAPIView

from qcapp.people.access import SIGNED_IN

from .acts import ActView
from .v1 import (
    bench,
    certificates,
    decisions,
    gauges,
    operations,
    plans,
    releases,
    report_details,
    reports,
    session,
    sign_offs,
    trends,
    units,
    welds,
)

app_name = "api"


class SchemaView(SpectacularJSONAPIView, ActView):
    """The OpenAPI 3.1 description of this version."""

    act = {"GET": SIGNED_IN}


REPORT_ACTS = {
    "contain": reports.ContainView,
    "propose": reports.ProposeView,
    "sign": reports.SignView,
    "start": reports.StartView,
    "finish": reports.FinishView,
    "fail": reports.FailView,
    "close": reports.CloseView,
    "withdraw": reports.WithdrawView,
    "units": report_details.UnitsView,
    "step": report_details.StepView,
    "customer": report_details.CustomerView,
    "destroy": report_details.DestroyView,
    "return": report_details.SendBackView,
    "picture": report_details.PictureView,
    "hold-suspects": report_details.HoldSuspectsView,
}
PLAN_ACTS = {
    "review": plans.ReviewView,
    "return": plans.ReturnView,
    "approve": plans.ApproveView,
    "release": plans.ReleaseView,
    "withdraw": plans.WithdrawView,
}

urlpatterns = [
    path("v1/schema", SchemaView.as_view(), name="schema"),
    path("v1/session", session.SessionView.as_view(), name="session"),
    path("v1/operations", operations.OperationsView.as_view(), name="operations"),
    path("v1/units", units.UnitsView.as_view(), name="units"),
    path("v1/units/next", units.NextSerialView.as_view(), name="next-serial"),
    path("v1/units/<str:serial>", units.UnitView.as_view(), name="unit"),
    # 180 kB of plan text; it holds no secret and reflects nothing, so compressing it gives nothing away (BREACH).
    path("v1/units/<str:serial>/bench", gzip_page(bench.BenchView.as_view()), name="bench"),
    path("v1/units/<str:serial>/sign-offs", sign_offs.SignOffsView.as_view(), name="sign-offs"),
    path("v1/units/<str:serial>/welds", welds.WeldsView.as_view(), name="welds"),
    path("v1/releases/<str:serial>", releases.ReleasesView.as_view(), name="releases"),
    path(
        "v1/releases/<str:serial>/withdraw",
        releases.ReleaseWithdrawalView.as_view(),
        name="withdraw-release",
    ),
    path("v1/decisions", decisions.DecisionsView.as_view(), name="decisions"),
    path("v1/plans", plans.PlansView.as_view(), name="plans"),
    path("v1/plans/<uuid:uuid>", plans.PlanView.as_view(), name="plan"),
    *(path(f"v1/plans/<uuid:uuid>/{name}", view.as_view(), name=f"plan-{name}") for name, view in PLAN_ACTS.items()),
    path("v1/reports", reports.ReportsView.as_view(), name="reports"),
    path("v1/reports/grouped", report_details.GroupedReportsView.as_view(), name="reports-grouped"),
    path("v1/reports/on-lot", report_details.LotReportsView.as_view(), name="reports-on-lot"),
    path("v1/reports/<str:number>/suspects", report_details.SuspectsView.as_view(), name="report-suspects"),
    path("v1/reports/<str:number>/tag.pdf", report_details.TagView.as_view(), name="report-tag"),
    path("v1/reports/<str:number>/report.pdf", report_details.ReportPdfView.as_view(), name="report-pdf"),
    path("v1/reports/<str:number>/return.pdf", report_details.ReturnPdfView.as_view(), name="report-return-pdf"),
    path("v1/deciders", report_details.DecidersView.as_view(), name="deciders"),
    path("v1/permits", report_details.PermitsView.as_view(), name="permits"),
    path("v1/permits/<str:number>/sign", report_details.PermitSignView.as_view(), name="permit-sign"),
    path("v1/holds/<uuid:uuid>/lift", report_details.HoldLiftView.as_view(), name="hold-lift"),
    path("v1/reports/<str:number>", reports.ReportView.as_view(), name="report"),
    *(
        path(f"v1/reports/<str:number>/{name}", view.as_view(), name=f"report-{name}")
        for name, view in REPORT_ACTS.items()
    ),
    path("v1/certificates", certificates.CertificatesView.as_view(), name="certificates"),
    path("v1/certificates/<str:number>/<int:issue>", certificates.CertificateView.as_view(), name="certificate"),
    path(
        "v1/certificates/<str:number>/<int:issue>/pdf",
        certificates.CertificatePdfView.as_view(),
        name="certificate-pdf",
    ),
    path("v1/trends/<str:family>", trends.WatchView.as_view(), name="trends"),
    path("v1/trends/<str:family>/<slug:key>", trends.CharacteristicView.as_view(), name="trend"),
    path("v1/distortion/<str:family>", trends.DistortionView.as_view(), name="distortion"),
    path("v1/yield/<str:family>", trends.YieldView.as_view(), name="yield"),
    path("v1/gauges", gauges.GaugesView.as_view(), name="gauges"),
]
