"""The addresses of the API. A version is a folder; additions stay in it, changes open the next one."""

from __future__ import annotations

from django.urls import path
from django.views.decorators.gzip import gzip_page
from drf_spectacular.views import SpectacularJSONAPIView

from qcapp.people.access import SIGNED_IN

from .acts import ActView
from .v1 import (
    bench,
    beside,
    certificates,
    decisions,
    drafts,
    drawings,
    field_actions,
    gauges,
    improvement,
    messages,
    operations,
    paper,
    plan_changes,
    plan_papers,
    plans,
    releases,
    report_details,
    reports,
    session,
    sign_offs,
    tablets,
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
    "revise": drafts.ReviseView,
    "discard": drafts.DiscardView,
    "draft": drafts.DraftView,
    "draft/file": drafts.DraftFileView,
    "compare": plan_papers.CompareView,
    "compare/pdf": plan_papers.ComparePdfView,
    "sheets/pdf": plan_papers.BlankSheetsView,
    "try": plan_papers.TryView,
}

urlpatterns = [
    path("v1/schema", SchemaView.as_view(), name="schema"),
    path("v1/session", session.SessionView.as_view(), name="session"),
    path("v1/tablet", tablets.TabletView.as_view(), name="tablet"),
    path("v1/tablet/people", tablets.TabletPeopleView.as_view(), name="tablet-people"),
    path("v1/tablet/switch", tablets.TabletSwitchView.as_view(), name="tablet-switch"),
    path("v1/discards", tablets.DiscardsView.as_view(), name="discards"),
    path("v1/operations", operations.OperationsView.as_view(), name="operations"),
    path("v1/units", units.UnitsView.as_view(), name="units"),
    path("v1/units/next", units.NextSerialView.as_view(), name="next-serial"),
    path("v1/units/<str:serial>", units.UnitView.as_view(), name="unit"),
    # 180 kB of plan text; it holds no secret and reflects nothing, so compressing it gives nothing away (BREACH).
    path("v1/units/<str:serial>/bench", gzip_page(bench.BenchView.as_view()), name="bench"),
    path("v1/units/<str:serial>/sign-offs", sign_offs.SignOffsView.as_view(), name="sign-offs"),
    path("v1/units/<str:serial>/welds", welds.WeldsView.as_view(), name="welds"),
    path("v1/units/<str:serial>/sheets/pdf", plan_papers.UnitSheetsView.as_view(), name="unit-sheets-pdf"),
    path("v1/units/<str:serial>/paper", paper.PapersView.as_view(), name="paper"),
    path("v1/units/<str:serial>/paper/<uuid:uuid>/check", paper.PaperCheckView.as_view(), name="paper-check"),
    path("v1/units/<str:serial>/witnesses", plan_changes.WitnessesView.as_view(), name="witnesses"),
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
    *(
        path(f"v1/plans/<uuid:uuid>/{name}", view.as_view(), name=f"plan-{name.replace('/', '-')}")
        for name, view in PLAN_ACTS.items()
    ),
    path("v1/plans/<uuid:uuid>/file.<slug:ending>", plan_papers.PlanFileView.as_view(), name="plan-file"),
    path("v1/citing", plan_papers.CitingView.as_view(), name="citing"),
    path("v1/plans/<uuid:uuid>/drawings", drawings.DrawingsView.as_view(), name="plan-drawings"),
    path("v1/plans/<uuid:uuid>/drawings/pdf", drawings.DrawingPdfView.as_view(), name="plan-drawing-pdf"),
    path("v1/plans/<uuid:uuid>/drawings/<uuid:sheet>", drawings.DrawingSheetView.as_view(), name="plan-drawing-sheet"),
    path("v1/plans/<uuid:uuid>/balloons", drawings.BalloonsView.as_view(), name="plan-balloons"),
    path("v1/plans/<uuid:uuid>/balloons/<slug:key>", drawings.BalloonView.as_view(), name="plan-balloon"),
    path("v1/plans/<uuid:uuid>/pictures", drawings.PicturesView.as_view(), name="plan-pictures"),
    path("v1/plans/<uuid:uuid>/pictures/<slug:key>", drawings.PictureView.as_view(), name="plan-picture"),
    path("v1/plans/<uuid:uuid>/units", plan_changes.UnitsUnderOtherView.as_view(), name="plan-units"),
    path("v1/plans/<uuid:uuid>/units/<str:serial>", plan_changes.UnitUnderOtherView.as_view(), name="plan-unit"),
    path("v1/first-articles/<str:family>", plan_changes.ArticlesView.as_view(), name="first-articles"),
    path("v1/first-articles/<str:family>/<uuid:article>", plan_changes.ArticleView.as_view(), name="first-article"),
    path("v1/plans/<uuid:uuid>/when", plan_changes.ComingView.as_view(), name="plan-when"),
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
    path(
        "v1/certificates/<str:number>/<int:issue>/qif",
        certificates.CertificateQifView.as_view(),
        name="certificate-qif",
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
    path("v1/queue", improvement.QueueView.as_view(), name="queue"),
    path("v1/pareto", improvement.ParetoView.as_view(), name="pareto"),
    path("v1/costs", improvement.CostsView.as_view(), name="costs"),
    path("v1/costs/take-back", improvement.CostTakeBackView.as_view(), name="cost-take-back"),
    path("v1/improvement-settings", improvement.ImprovementSettingsView.as_view(), name="improvement-settings"),
    path("v1/corrective-actions", improvement.ActionsView.as_view(), name="corrective-actions"),
    path("v1/corrective-actions/<str:number>", improvement.ActionView.as_view(), name="corrective-action"),
    *(
        path(f"v1/corrective-actions/<str:number>/{name}", view.as_view(), name=f"corrective-action-{name}")
        for name, view in improvement.ACTION_ACTS.items()
    ),
    path("v1/field-actions", field_actions.FieldActionsView.as_view(), name="field-actions"),
    path("v1/field-actions/<str:number>", field_actions.FieldActionView.as_view(), name="field-action"),
    path("v1/field-actions/<str:number>/units", field_actions.FieldUnitsView.as_view(), name="field-units"),
    path("v1/field-actions/<str:number>/letter", field_actions.FieldLetterView.as_view(), name="field-letter"),
    path("v1/field-actions/<str:number>/follow", field_actions.FieldFollowView.as_view(), name="field-follow"),
    path("v1/field-actions/<str:number>/letters", field_actions.FieldLettersView.as_view(), name="field-letters"),
    path("v1/messages", messages.MessagesView.as_view(), name="messages"),
    path("v1/messages/mail", messages.MailView.as_view(), name="mail"),
    path("v1/messages/undelivered", messages.UndeliveredView.as_view(), name="undelivered"),
    path("v1/messages/<int:message_id>/again", messages.MailAgainView.as_view(), name="mail-again"),
    path("v1/messages/<int:message_id>/read", messages.MessageReadView.as_view(), name="message-read"),
    path("v1/photos", beside.PhotosView.as_view(), name="photos"),
    path("v1/remarks", beside.RemarksView.as_view(), name="remarks"),
    path("v1/gauges/<str:number>/doubt", beside.GaugeDoubtView.as_view(), name="gauge-doubt"),
    path("v1/gauges", gauges.GaugesView.as_view(), name="gauges"),
]
