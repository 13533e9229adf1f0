"""Nonconformance reports: the queue, one report, and every act on it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import Any, ClassVar

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.core.errors import Invalid
from qcapp.core.metrology.quantities import parse_value
from qcapp.nonconformance.queries import ReportView as ReportFacts
from qcapp.nonconformance.queries import report, reports
from qcapp.nonconformance.services import by_hand, correcting, deciding, ending
from qcapp.nonconformance.states import Disposition, ReportState
from qcapp.people.roles import Act, Role

from ..acts import ActView, Pin, Refusal, SignedReason
from ..errors import plain
from ..shapes import content_of
from .units import report_line

SEVERITIES = ["critical", "major", "minor"]
CAUSES = ["unknown", "material", "method", "machine", "measurement", "person", "environment"]


class ReportLine(serializers.Serializer[Any]):
    number = serializers.CharField()
    title = serializers.CharField()
    serial = serializers.CharField(allow_blank=True)
    checkpoint = serializers.IntegerField(allow_null=True)
    severity = serializers.CharField()
    state = serializers.CharField()
    state_label = serializers.CharField()
    disposition = serializers.CharField(allow_blank=True)
    raised_at = serializers.DateTimeField()
    raised_by = serializers.CharField()
    changed_at = serializers.DateTimeField()


class ReportList(serializers.Serializer[Any]):
    reports = ReportLine(many=True)


class Report(ReportLine):
    description = serializers.CharField(allow_blank=True)
    cause = serializers.CharField()
    facts = serializers.DictField()
    moves = serializers.ListField(child=serializers.DictField())
    proposal = serializers.DictField(allow_null=True)
    concession = serializers.DictField(allow_null=True)
    possible = serializers.ListField(child=serializers.CharField())
    serials = serializers.ListField(child=serializers.CharField())
    quantity = serializers.IntegerField(allow_null=True)
    steps = serializers.ListField(child=serializers.DictField())
    pictures = serializers.ListField(child=serializers.DictField())
    destructions = serializers.ListField(child=serializers.DictField())
    return_note = serializers.DictField(allow_null=True)
    marks = serializers.ListField(child=serializers.DictField(), help_text="every place marked on the drawing")
    mark = serializers.DictField(allow_null=True, help_text="the one set last")


class Raise(serializers.Serializer[Any]):
    serial = serializers.CharField(max_length=40)
    title = serializers.CharField(max_length=160)
    description = serializers.CharField(max_length=600, required=False, allow_blank=True, default="")
    severity = serializers.ChoiceField(choices=SEVERITIES)
    checkpoint = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")
    joint = serializers.CharField(max_length=12, required=False, allow_blank=True, default="")
    cause = serializers.ChoiceField(choices=CAUSES, required=False, default="unknown")
    separately = serializers.BooleanField(required=False, default=False)
    photo = serializers.CharField(
        max_length=16_000_000, required=False, allow_blank=True, default="", help_text="in Base64 (RFC 4648)"
    )
    photo_name = serializers.CharField(max_length=120, required=False, allow_blank=True, default="")


class Note(serializers.Serializer[Any]):
    note = serializers.CharField(max_length=600)


class OptionalNote(serializers.Serializer[Any]):
    note = serializers.CharField(max_length=600, required=False, allow_blank=True, default="")


class Contain(Note):
    good_needed = serializers.IntegerField(required=False, allow_null=True, default=None)


class Proposal(serializers.Serializer[Any]):
    disposition = serializers.ChoiceField(
        choices=[d.value for d in Disposition], required=False, allow_blank=True, default=""
    )
    instruction = serializers.CharField(max_length=600)
    procedure = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")
    reinspect = serializers.ListField(
        child=serializers.CharField(max_length=60), required=False, default=list, max_length=500
    )
    concession_lower = serializers.CharField(max_length=40, required=False, allow_null=True, default=None)
    concession_upper = serializers.CharField(max_length=40, required=False, allow_null=True, default=None)
    cause = serializers.ChoiceField(choices=CAUSES, required=False, default="unknown")
    steps = serializers.ListField(
        child=serializers.CharField(max_length=300), required=False, default=list, max_length=40
    )
    method = serializers.CharField(max_length=20, required=False, allow_blank=True, default="")
    max_attempts = serializers.IntegerField(required=False, allow_null=True, default=None)
    left_out_reason = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")
    units_at_most = serializers.IntegerField(required=False, allow_null=True, default=None, min_value=1)
    ends_on = serializers.DateField(required=False, allow_null=True, default=None)
    permit = serializers.CharField(max_length=20, required=False, allow_blank=True, default="")
    parts = serializers.DictField(child=serializers.IntegerField(), required=False, default=dict)
    serials = serializers.ListField(
        child=serializers.CharField(max_length=60), required=False, default=list, max_length=500
    )


class SignAs(Pin):
    role = serializers.ChoiceField(choices=[role.value for role in Role])


class SignedClosing(Pin):
    corrective_action = serializers.CharField(max_length=600)
    action_number = serializers.CharField(max_length=40, required=False, allow_blank=True, default="")


class ReportsView(ActView):
    act = {"GET": Act.LOOK_AT_REPORTS, "POST": Act.RAISE_REPORT}

    @extend_schema(
        parameters=[
            OpenApiParameter("state", str, description="a state, or active for all that have not ended"),
            OpenApiParameter("serial", str),
        ],
        responses={200: ReportList, 400: Refusal, 401: Refusal},
        operation_id="ReportList",
    )
    def get(self, request: Request) -> Response:
        """Reports, the latest first."""
        state = request.query_params.get("state", "")
        if state not in ("", "active", *ReportState):
            known = ", ".join(["active", *ReportState])
            raise Invalid("state_unknown", f"There is no state “{state[:40]}”; known are {known}.")
        serial = request.query_params.get("serial", "")[:60]
        found = reports(state=state, serial=serial, viewer=self.person, at=self.at)
        return Response({"reports": [report_line(card) for card in found]})

    @extend_schema(request=Raise, responses={201: Report, 400: Refusal, 403: Refusal, 404: Refusal})
    def post(self, request: Request) -> Response:
        """Raise a report by hand; the unit goes on hold at once."""
        given = self.read(Raise)
        photo, name = given.pop("photo"), given.pop("photo_name")
        given["photo"] = by_hand.Photo(content_of(photo), name or "photo") if photo else None
        number = by_hand.raise_by_hand(by=self.person, checkpoint_key=given.pop("checkpoint"), at=self.at, **given)
        return Response(report_json(report(number, viewer=self.person, at=self.at)), status=201)


class ReportView(ActView):
    act = {"GET": Act.LOOK_AT_REPORTS}

    @extend_schema(responses={200: Report, 404: Refusal})
    def get(self, request: Request, number: str) -> Response:
        """One report with its facts, its moves and what may be done next."""
        return Response(report_json(report(number, viewer=self.person, at=self.at)))


class ReportActView(ActView):
    """One act on a report; the answer is the report after it."""

    shape: ClassVar[type[serializers.Serializer[Any]]]
    perform: ClassVar[Callable[[ActView, str, dict[str, Any]], object]]

    def answer(self, number: str) -> Response:
        """Do it, and give the report as it is afterwards."""
        given = self.read(self.shape)
        type(self).perform(self, number, given)
        return Response(report_json(report(number, viewer=self.person, at=self.at)))


def report_act(
    name: str,
    act: Act,
    shape: type[serializers.Serializer[Any]],
    perform: Callable[[ActView, str, dict[str, Any]], object],
    summary: str,
) -> type[ReportActView]:
    """A view for one act; the classes differ in nothing else."""

    @extend_schema(
        request=shape,
        responses={200: Report, 400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal},
        summary=summary,
        operation_id=name.removesuffix("View"),
    )
    def post(self: ReportActView, request: Request, number: str) -> Response:
        return self.answer(number)

    parts = {"act": {"POST": act}, "shape": shape, "perform": staticmethod(perform), "post": post}
    return type(name, (ReportActView,), parts)


def _propose(view: ActView, number: str, given: dict[str, Any]) -> None:
    for name in ("concession_lower", "concession_upper"):
        given[name] = parse_value(given[name]) if given[name] else None
    deciding.propose_disposition(by=view.person, number=number, at=view.at, **given)


def _close(view: ActView, number: str, given: dict[str, Any]) -> None:
    """By the way that the disposition asks for: after a verified correction, or without one."""
    corrected = report(number).card.state == ReportState.TO_BE_VERIFIED
    service = correcting.verify_and_close if corrected else ending.close_without_correction
    proof = view.proof(given["pin"])
    told = {"corrective_action": given["corrective_action"], "action_number": given["action_number"]}
    service(proof=proof, number=number, at=view.at, **told)


ContainView = report_act(
    "ReportContainView",
    Act.CONTAIN_REPORT,
    Contain,
    lambda view, number, given: deciding.contain(by=view.person, number=number, at=view.at, **given),
    "Say what was done at once so that nothing goes on",
)
ProposeView = report_act(
    "ReportProposeView", Act.DECIDE_REPORT, Proposal, _propose, "Propose what is done with the part"
)
SignView = report_act(
    "ReportSignView",
    Act.DECIDE_REPORT,
    SignAs,
    lambda view, number, given: deciding.sign_disposition(
        proof=view.proof(given["pin"]), number=number, role=given["role"], at=view.at
    ),
    "Sign the proposal in one of the roles it needs",
)
StartView = report_act(
    "ReportStartView",
    Act.CORRECT_REPORT,
    OptionalNote,
    lambda view, number, given: correcting.start_correction(by=view.person, number=number, at=view.at, **given),
    "Begin the rework or repair",
)
FinishView = report_act(
    "ReportFinishView",
    Act.CORRECT_REPORT,
    Note,
    lambda view, number, given: correcting.finish_correction(by=view.person, number=number, at=view.at, **given),
    "End the correction; its checkpoints open in a new round",
)
FailView = report_act(
    "ReportFailView",
    Act.CLOSE_REPORT,
    Note,
    lambda view, number, given: correcting.fail_verification(by=view.person, number=number, at=view.at, **given),
    "Say that the correction did not work",
)
CloseView = report_act(
    "ReportCloseView", Act.CLOSE_REPORT, SignedClosing, _close, "Close the report, signed; its hold is lifted"
)
WithdrawView = report_act(
    "ReportWithdrawView",
    Act.WITHDRAW_REPORT,
    SignedReason,
    lambda view, number, given: ending.sign_withdrawal(
        proof=view.proof(given["pin"]), number=number, reason=given["reason"], at=view.at
    ),
    "Sign the withdrawal of a report raised in error; two persons sign",
)


def report_json(view: ReportFacts) -> dict[str, Any]:
    """One report as plain values; people by name."""
    moves = [plain(asdict(move)) for move in view.moves]
    for move in moves:
        del move["by_id"]
    return report_line(view.card) | {
        "description": view.description,
        "cause": view.cause,
        "facts": plain(view.facts),
        "moves": moves,
        "proposal": _proposal(view),
        "concession": plain(asdict(view.concession)) if view.concession else None,
        "possible": list(view.possible),
        "serials": list(view.serials),
        "quantity": view.quantity,
        "steps": [_without(plain(asdict(step)), "by_id") for step in view.steps],
        "pictures": [plain(asdict(one)) for one in view.pictures],
        "destructions": [plain(asdict(one)) for one in view.destructions],
        "return_note": plain(asdict(view.return_note)) if view.return_note else None,
        "marks": [plain(asdict(one)) for one in view.marks],
        "mark": plain(asdict(view.mark)) if view.mark else None,
    }


def _without(found: dict[str, Any], name: str) -> dict[str, Any]:
    return {key: value for key, value in found.items() if key != name}


def _proposal(view: ReportFacts) -> dict[str, Any] | None:
    if view.proposal is None:
        return None
    found: dict[str, Any] = plain(asdict(view.proposal))
    for name in ("id", "by_id", "signer_ids"):
        del found[name]
    return found
