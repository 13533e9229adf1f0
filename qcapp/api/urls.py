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
    plan_changes,
    plans,
    releases,
    reports,
    session,
    sign_offs,
    trend_decisions,
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
    path("v1/units/<str:serial>/applicability", plan_changes.ApplicabilityView.as_view(), name="applicability"),
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
    path("v1/plans/<uuid:uuid>/units", plan_changes.UnitsUnderOtherView.as_view(), name="plan-units"),
    path("v1/plans/<uuid:uuid>/units/<str:serial>", plan_changes.UnitUnderOtherView.as_view(), name="plan-unit"),
    path("v1/first-articles/<str:family>", plan_changes.ArticlesView.as_view(), name="first-articles"),
    path("v1/first-articles/<str:family>/<uuid:article>", plan_changes.ArticleView.as_view(), name="first-article"),
    path("v1/plans/<uuid:uuid>/when", plan_changes.ComingView.as_view(), name="plan-when"),
    path("v1/reports", reports.ReportsView.as_view(), name="reports"),
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
    path(
        "v1/trends/<str:family>/<slug:key>/base-periods", trend_decisions.BasePeriodsView.as_view(), name="trend-base"
    ),
    path("v1/trends/<str:family>/<slug:key>/left-out", trend_decisions.LeftOutView.as_view(), name="trend-left-out"),
    path(
        "v1/trends/<str:family>/<slug:key>/acknowledgements",
        trend_decisions.AcknowledgementsView.as_view(),
        name="trend-acknowledgements",
    ),
    path("v1/believable/<str:family>", trends.BelievableView.as_view(), name="believable"),
    path("v1/distortion/<str:family>", trends.DistortionView.as_view(), name="distortion"),
    path("v1/yield/<str:family>", trends.YieldView.as_view(), name="yield"),
    path("v1/gauges", gauges.GaugesView.as_view(), name="gauges"),
]
