"""What stands beside a report: many units, lots, steps, pictures, suspects, papers; who decides, permits, holds."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.affected.suspects import lines_of, population
from qcapp.core.errors import Invalid
from qcapp.core.metrology.quantities import parse_value
from qcapp.goods.services.reporting import raise_on_delivery
from qcapp.lib.site_days import site_day
from qcapp.nonconformance.cards import PermitCard
from qcapp.nonconformance.queries import details, report
from qcapp.nonconformance.services import (
    by_hand,
    correcting,
    deciders,
    deciding,
    leaving,
    papers,
    permits,
    picturing,
    suspecting,
)
from qcapp.nonconformance.states import MAY_DECIDE, PERMIT_ROLES, Disposition
from qcapp.people.roles import Act
from qcapp.production.services import lift_hold

from ..acts import ActView, Pin, Refusal, SignedReason
from ..errors import plain
from ..shapes import content_of
from .reports import CAUSES, SEVERITIES, Report, report_act, report_json

DISPOSITIONS = [one.value for one in Disposition]
REFUSED = {400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal}


def texts(**options: Any) -> serializers.ListField:
    """A list of short texts."""
    return serializers.ListField(child=serializers.CharField(max_length=300), **options)


def optional(longest: int) -> serializers.CharField:
    """A text that may be left out."""
    return serializers.CharField(max_length=longest, required=False, allow_blank=True, default="")


# ------------------------------------------------------------------------------------------------- raising


class Grouped(serializers.Serializer[Any]):
    serials = texts(max_length=500)
    title = serializers.CharField(max_length=160)
    description = optional(600)
    severity = serializers.ChoiceField(choices=SEVERITIES)
    cause = serializers.ChoiceField(choices=CAUSES, required=False, default="measurement")
    brought_about_by = optional(80)


class OnLot(serializers.Serializer[Any]):
    lot = serializers.CharField(max_length=36, required=False, default="", help_text="as on its label")
    item = serializers.UUIDField(required=False, allow_null=True, default=None, help_text="of goods without a label")
    named = optional(60)
    quantity = serializers.IntegerField(
        min_value=1, required=False, allow_null=True, default=None, help_text="of a lot, without it: every piece"
    )
    title = serializers.CharField(max_length=160)
    description = optional(600)
    severity = serializers.ChoiceField(choices=SEVERITIES)
    cause = serializers.ChoiceField(choices=CAUSES, required=False, default="unknown")


class OnDelivery(serializers.Serializer[Any]):
    delivery = serializers.CharField(max_length=24)
    family = serializers.CharField(max_length=20, help_text="that it is meant for")
    quantity = serializers.IntegerField(min_value=1)
    title = serializers.CharField(max_length=160)
    description = optional(600)
    severity = serializers.ChoiceField(choices=SEVERITIES)
    cause = serializers.ChoiceField(choices=CAUSES, required=False, default="material")


class GroupedReportsView(ActView):
    act = {"POST": Act.RAISE_REPORT}

    @extend_schema(request=Grouped, responses={201: Report, **REFUSED})
    def post(self, request: Request) -> Response:
        """One report over many units, in place of a flood; every unit goes on hold."""
        given = self.read(Grouped)
        number = by_hand.raise_grouped(by=self.person, source=given.pop("brought_about_by"), at=self.at, **given)
        return Response(report_json(report(number, viewer=self.person, at=self.at)), status=201)


class LotReportsView(ActView):
    act = {"POST": Act.RAISE_REPORT}

    @extend_schema(request=OnLot, responses={201: Report, **REFUSED})
    def post(self, request: Request) -> Response:
        """A report about pieces of a lot, which goes on hold."""
        given = self.read(OnLot)
        lot, item, named = given.pop("lot"), given.pop("item"), given.pop("named")
        if item is None:
            number = by_hand.raise_on_lot(by=self.person, lot_code=lot, at=self.at, **given)
        else:
            given["quantity"] = given["quantity"] or 0
            number = by_hand.raise_on_item(by=self.person, item_uuid=item, named=named, at=self.at, **given)
        return Response(report_json(report(number, viewer=self.person, at=self.at)), status=201)


class DeliveryReportsView(ActView):
    act = {"POST": Act.RAISE_REPORT}

    @extend_schema(request=OnDelivery, responses={201: Report, **REFUSED})
    def post(self, request: Request) -> Response:
        """A report about pieces of a delivery, which go on hold."""
        given = self.read(OnDelivery)
        told = {"delivery_number": given.pop("delivery"), "family_code": given.pop("family")} | given
        number = raise_on_delivery(by=self.person, at=self.at, **told)
        return Response(report_json(report(number, viewer=self.person, at=self.at)), status=201)


# -------------------------------------------------------------------------------------------- acts on a report


class Units(serializers.Serializer[Any]):
    serials = texts(max_length=500)
    reason = serializers.CharField(max_length=300)


class Step(serializers.Serializer[Any]):
    position = serializers.IntegerField(min_value=1)
    note = optional(300)


class Reference(serializers.Serializer[Any]):
    reference = serializers.CharField(max_length=120)


class SignedHow(Pin):
    how = serializers.CharField(max_length=300)


class ReturnText(serializers.Serializer[Any]):
    supplier = serializers.CharField(max_length=120)
    delivery = optional(80)
    text = serializers.CharField(max_length=600)
    quantity = serializers.IntegerField(min_value=1, required=False, allow_null=True, default=None)


class Picture(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=120)
    content = serializers.CharField(max_length=16_000_000, help_text="the file in Base64 (RFC 4648)")
    caption = optional(160)
    mark = serializers.ListField(
        child=serializers.CharField(max_length=12), min_length=2, max_length=2, required=False, default=None,
        allow_null=True, help_text="fractions of width and height, as text",
    )  # fmt: skip
    sheet = optional(40)


def _add_picture(view: ActView, number: str, given: dict[str, Any]) -> None:
    content = content_of(given.pop("content"))
    mark = given.pop("mark")
    place = None if mark is None else (parse_value(mark[0]), parse_value(mark[1]))
    picturing.add_picture(by=view.person, number=number, content=content, mark=place, at=view.at, **given)


class PlaceOnSheet(serializers.Serializer[Any]):
    sheet = serializers.UUIDField()
    x = serializers.CharField(max_length=12, help_text="fraction of the sheet's width, as text")
    y = serializers.CharField(max_length=12, help_text="fraction of its height, as text")
    further = serializers.BooleanField(required=False, default=False, help_text="the marks already set stay")
    caption = optional(160)


def _mark(view: ActView, number: str, given: dict[str, Any]) -> None:
    place = given | {"x": parse_value(given["x"]), "y": parse_value(given["y"])}
    picturing.mark_place(by=view.person, number=number, at=view.at, **place)


MarkView = report_act(
    "ReportMarkView",
    Act.RAISE_REPORT,
    PlaceOnSheet,
    _mark,
    "Say where on the drawing it is; a later mark takes its place, a further one stands beside it",
)
UnitsView = report_act(
    "ReportUnitsView",
    Act.RAISE_REPORT,
    Units,
    lambda view, number, given: by_hand.add_units(by=view.person, number=number, at=view.at, **given),
    "Take further units into a report that nothing is proposed for yet",
)
StepView = report_act(
    "ReportStepView",
    Act.CORRECT_REPORT,
    Step,
    lambda view, number, given: correcting.confirm_step(by=view.person, number=number, at=view.at, **given),
    "Confirm a step of the correction",
)
CustomerView = report_act(
    "ReportCustomerView",
    Act.RECORD_CUSTOMER_APPROVAL,
    Reference,
    lambda view, number, given: deciding.record_customer_approval(by=view.person, number=number, at=view.at, **given),
    "Record the customer's approval of the proposal",
)
DestroyView = report_act(
    "ReportDestroyView",
    Act.WITNESS_DESTRUCTION,
    SignedHow,
    lambda view, number, given: leaving.sign_destruction(
        proof=view.proof(given["pin"]), number=number, how=given["how"], at=view.at
    ),
    "Sign that the number of a scrapped part is destroyed; two persons sign",
)
SendBackView = report_act(
    "ReportReturnView",
    Act.CONTAIN_REPORT,
    ReturnText,
    lambda view, number, given: leaving.write_return_note(by=view.person, number=number, at=view.at, **given),
    "Write the paper that goes back to the supplier",
)
PictureView = report_act(
    "ReportPictureView", Act.RAISE_REPORT, Picture, _add_picture, "Keep a photo with the report, with a mark on it"
)
HoldSuspectsView = report_act(
    "ReportHoldSuspectsView",
    Act.HOLD_SUSPECTS,
    Units,
    lambda view, number, given: suspecting.hold_suspects(by=view.person, number=number, at=view.at, **given),
    "Put suspect units on hold in one act",
)


class SuspectsView(ActView):
    act = {"GET": Act.LOOK_AT_REPORTS}

    @extend_schema(responses={200: OpenApiTypes.OBJECT, 404: Refusal})
    def get(self, request: Request, number: str) -> Response:
        """The suspect population: why, and each unit with its state and what it shares."""
        text = request.query_params.get("from", "")[:9]
        start = int(text) if text.isascii() and text.isdigit() else 0
        found = population(number, viewer=self.person, at=self.at, start=start)
        sources = [
            {"key": one.key, "title": one.title, "why": one.sentence, "units": len(one.items)} for one in found.sources
        ]
        return Response(
            {"sources": sources, "suspects": list(lines_of(found)), "total": found.total, "next": found.following}
        )


class _PaperView(ActView):
    act = {"GET": Act.LOOK_AT_REPORTS}

    @staticmethod
    def pdf(data: bytes, name: str) -> HttpResponse:
        """The bytes as a PDF to keep."""
        head = {"Content-Disposition": f'attachment; filename="{name}"'}
        return HttpResponse(data, content_type="application/pdf", headers=head)


class TagView(_PaperView):
    @extend_schema(
        parameters=[OpenApiParameter("width", int, description="mm of the roll; a sheet without it"),
                    OpenApiParameter("serial", str)],
        responses={(200, "application/pdf"): OpenApiTypes.BINARY, 400: Refusal, 404: Refusal},
    )  # fmt: skip
    def get(self, request: Request, number: str) -> HttpResponse:
        """The hold tag as PDF."""
        text = request.query_params.get("width", "")[:5]
        if text and not (text.isascii() and text.isdigit()):
            raise Invalid("width_out_of_range", "Give the roll's width in whole millimetres, or leave it out.")
        serial = request.query_params.get("serial", "")[:60]
        told = {"width": int(text) if text else None, "serial": serial}
        return self.pdf(papers.tag_pdf(number=number, viewer=self.person, at=self.at, **told), f"{number}-tag.pdf")


class ReportPdfView(_PaperView):
    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY, 404: Refusal})
    def get(self, request: Request, number: str) -> HttpResponse:
        """The report and its history as PDF."""
        return self.pdf(papers.report_pdf(number=number, viewer=self.person, at=self.at), f"{number}.pdf")


class ReturnPdfView(_PaperView):
    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY, 404: Refusal})
    def get(self, request: Request, number: str) -> HttpResponse:
        """The paper for the supplier as PDF."""
        return self.pdf(papers.return_pdf(number=number, viewer=self.person, at=self.at), f"{number}-return.pdf")


# ------------------------------------------------------------------------------------------ deciders, permits, holds


class DeciderChange(serializers.Serializer[Any]):
    severity = serializers.ChoiceField(choices=SEVERITIES)
    disposition = serializers.ChoiceField(choices=DISPOSITIONS)
    roles = serializers.ListField(child=serializers.ChoiceField(choices=sorted(MAY_DECIDE)), min_length=1)
    reason = serializers.CharField(max_length=300)


class DecidersView(ActView):
    act = {"GET": Act.LOOK_AT_REPORTS, "POST": Act.SET_DECIDERS}

    @extend_schema(responses={200: OpenApiTypes.OBJECT})
    def get(self, request: Request) -> Response:
        """Whose signatures each disposition needs, by severity."""
        return Response(self._table())

    @extend_schema(request=DeciderChange, responses={200: OpenApiTypes.OBJECT, **REFUSED})
    def post(self, request: Request) -> Response:
        """Change one line of the table."""
        deciders.set_deciders(by=self.person, at=self.at, **self.read(DeciderChange))
        return Response(self._table())

    @staticmethod
    def _table() -> dict[str, dict[str, list[str]]]:
        found: dict[str, dict[str, list[str]]] = {}
        for (severity, disposition), roles in details.deciders_table().items():
            found.setdefault(severity, {})[disposition.value] = list(roles)
        return found


class Permit(serializers.Serializer[Any]):
    family = serializers.CharField(max_length=20)
    checkpoint = serializers.CharField(max_length=60)
    statement = serializers.CharField(max_length=400)
    lower = serializers.CharField(max_length=40, required=False, allow_null=True, default=None)
    upper = serializers.CharField(max_length=40, required=False, allow_null=True, default=None)
    serials = texts(required=False, default=list, max_length=500)
    quantity = serializers.IntegerField(required=False, allow_null=True, default=None)
    ends_on = serializers.DateField(required=False, allow_null=True, default=None)
    customer_approval = optional(120)


class SignPermitAs(Pin):
    role = serializers.ChoiceField(choices=PERMIT_ROLES)


class PermitsView(ActView):
    act = {"GET": Act.LOOK_AT_REPORTS, "POST": Act.PROPOSE_PERMIT}

    @extend_schema(responses={200: OpenApiTypes.OBJECT})
    def get(self, request: Request) -> Response:
        """Deviation permits, the latest first."""
        return Response({"permits": [permit_json(card) for card in details.permits(site_day(self.at))]})

    @extend_schema(request=Permit, responses={201: OpenApiTypes.OBJECT, **REFUSED})
    def post(self, request: Request) -> Response:
        """Propose a permit; it waits for the engineer and the quality manager."""
        given = self.read(Permit)
        for name in ("lower", "upper"):
            given[name] = parse_value(given[name]) if given[name] else None
        told = {"family_code": given.pop("family"), "checkpoint_key": given.pop("checkpoint")} | given
        number = permits.propose_permit(by=self.person, at=self.at, **told)
        return Response(permit_json(details.permit(number, site_day(self.at))), status=201)


class PermitSignView(ActView):
    act = {"POST": Act.SIGN_PERMIT}

    @extend_schema(request=SignPermitAs, responses={200: OpenApiTypes.OBJECT, **REFUSED})
    def post(self, request: Request, number: str) -> Response:
        """Sign a permit in one of its two roles."""
        given = self.read(SignPermitAs)
        permits.sign_permit(proof=self.proof(given["pin"]), number=number, role=given["role"], at=self.at)
        return Response(permit_json(details.permit(number, site_day(self.at))))


class HoldLiftView(ActView):
    act = {"POST": Act.LIFT_HOLD}

    @extend_schema(request=SignedReason, responses={200: OpenApiTypes.OBJECT, **REFUSED})
    def post(self, request: Request, uuid: UUID) -> Response:
        """Lift one hold by signature."""
        given = self.read(SignedReason)
        hold = lift_hold(proof=self.proof(given["pin"]), hold_uuid=uuid, reason=given["reason"], at=self.at)
        found: dict[str, Any] = plain(asdict(hold))
        return Response({name: value for name, value in found.items() if name not in ("id", "item_id")})


def permit_json(card: PermitCard) -> dict[str, Any]:
    """A permit as plain values."""
    found: dict[str, Any] = plain(asdict(card))
    for name in ("id", "family_id", "characteristic_id", "signer_ids", "today"):
        del found[name]
    return found | {"code": card.code, "problem": card.problem}
