"""Deliveries, mill certificates and heats."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.goods import services
from qcapp.goods.queries import (
    CertifiedCard,
    DecisionCard,
    DeliveryCard,
    HeatEvent,
    decisions_of_heat,
    deliveries,
    delivery_by_number,
    events_of_heat,
    papers_of_heat,
)
from qcapp.goods.queries.held import HeldCard, holds_of_delivery
from qcapp.goods.services.holding import hold_delivery, lift_delivery_hold
from qcapp.people.roles import Act
from qcapp.production.queries.as_built import HeatCard, heat_by_number, heats

from ..acts import ActView, Pin, Refusal
from ..shapes import answer, answer_shape, as_json, content_of, shape_of

BAD = {400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal}
Deliveries = answer_shape("Deliveries", deliveries=list[DeliveryCard])
DeliveryHolds = answer_shape("DeliveryHolds", holds=list[HeldCard])
Heats = answer_shape("Heats", heats=list[HeatCard])
Papers = answer_shape("MillCertificateHeats", heats=list[CertifiedCard])
HeatFile = answer_shape(
    "HeatFile", heat=HeatCard, papers=list[CertifiedCard], decisions=list[DecisionCard], events=list[HeatEvent]
)
OF_HEAT = [OpenApiParameter("number", OpenApiTypes.STR), OpenApiParameter("supplier", OpenApiTypes.STR)]


class Line(serializers.Serializer[Any]):
    description = serializers.CharField(max_length=120)
    quantity = serializers.CharField(max_length=24, help_text="with a comma or a dot")
    unit_of_measure = serializers.CharField(max_length=12)
    heat = serializers.CharField(max_length=40, allow_blank=True, default="")
    family = serializers.CharField(
        max_length=20, allow_blank=True, default="", help_text="one with an inspection plan becomes a lot"
    )


class DeliveryBody(serializers.Serializer[Any]):
    supplier = serializers.CharField(max_length=80)
    note_number = serializers.CharField(max_length=40)
    order_number = serializers.CharField(max_length=40, allow_blank=True, default="")
    received_at = serializers.DateTimeField(allow_null=True, default=None)
    lines = Line(many=True)


class CertifiedBody(serializers.Serializer[Any]):
    number = serializers.CharField(max_length=40)
    grade = serializers.CharField(max_length=20)
    specification = serializers.CharField(max_length=40, allow_blank=True, default="")
    condition = serializers.CharField(max_length=40, allow_blank=True, default="")
    size = serializers.CharField(max_length=40, allow_blank=True, default="")
    thickness = serializers.CharField(max_length=12, allow_blank=True, default="", help_text="wall in mm")
    welded_to = serializers.CharField(
        max_length=20, allow_blank=True, default="", help_text="the grade on the other side of the joint; 1020 without"
    )
    composition = serializers.DictField(child=serializers.CharField(allow_blank=True), help_text="%, or with ppm")
    properties = serializers.DictField(child=serializers.CharField(allow_blank=True), default=dict)


class MillCertificateBody(serializers.Serializer[Any]):
    supplier = serializers.CharField(max_length=80)
    number = serializers.CharField(max_length=60)
    delivery_number = serializers.CharField(max_length=24, allow_blank=True, default="")
    name = serializers.CharField(max_length=120, help_text="of the file")
    content = serializers.CharField(help_text="the PDF or picture in base64")
    heats = CertifiedBody(many=True)


class FurtherHeatsBody(serializers.Serializer[Any]):
    supplier = serializers.CharField(max_length=80)
    number = serializers.CharField(max_length=60)
    heats = CertifiedBody(many=True)


class OfHeat(serializers.Serializer[Any]):
    heat = serializers.CharField(max_length=40)
    supplier = serializers.CharField(
        max_length=80, allow_blank=True, default="", help_text="where two have a heat of this number"
    )


class HeatDecisionBody(OfHeat, Pin):
    verdict = serializers.CharField(max_length=12, help_text="accepted, held or refused")
    reason = serializers.CharField(max_length=300, allow_blank=True, default="")


class CutBody(OfHeat):
    stock = serializers.CharField(max_length=60)
    pieces = serializers.IntegerField()
    pieces_marked = serializers.BooleanField()
    remnant = serializers.CharField(max_length=60, allow_blank=True, default="")
    remnant_marked = serializers.BooleanField(default=False)
    lot_code = serializers.CharField(max_length=36, allow_blank=True, default="")


class DeliveryHoldBody(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=300)


class DeliveryHoldLiftBody(DeliveryHoldBody, Pin):
    hold = serializers.UUIDField()


class GradeCheckBody(OfHeat):
    method = serializers.CharField(max_length=60)
    grade_found = serializers.CharField(max_length=20)


class DeliveriesView(ActView):
    act = {"GET": Act.LOOK_AT_GOODS, "POST": Act.KEEP_GOODS}

    @extend_schema(operation_id="DeliveryList", responses={200: Deliveries})
    def get(self, request: Request) -> Response:
        """The deliveries received last."""
        return Response(answer(deliveries=deliveries()))

    @extend_schema(request=DeliveryBody, responses={201: shape_of(DeliveryCard)} | BAD)
    def post(self, request: Request) -> Response:
        """Receive what came in on one note."""
        card = services.receive_delivery(by=self.person, at=self.at, **self.read(DeliveryBody))
        return Response(as_json(card), status=201)


class DeliveryView(ActView):
    act = {"GET": Act.LOOK_AT_GOODS}

    @extend_schema(responses={200: shape_of(DeliveryCard), 404: Refusal})
    def get(self, request: Request, number: str) -> Response:
        """One delivery with its lines."""
        return Response(as_json(delivery_by_number(number)))


class DeliveryHoldsView(ActView):
    act = {"GET": Act.LOOK_AT_GOODS, "POST": Act.RAISE_REPORT}

    @extend_schema(operation_id="DeliveryHoldList", responses={200: DeliveryHolds, 404: Refusal})
    def get(self, request: Request, number: str) -> Response:
        """The holds of a delivery, lifted ones too, the oldest first."""
        return Response(answer(holds=holds_of_delivery(delivery_by_number(number).id)))

    @extend_schema(request=DeliveryHoldBody, responses={201: shape_of(HeldCard)} | BAD)
    def post(self, request: Request, number: str) -> Response:
        """Put a delivery on hold with its heats and lots; a report on it does so by itself."""
        reason = self.read(DeliveryHoldBody)["reason"]
        return Response(as_json(hold_delivery(by=self.person, delivery_number=number, reason=reason, at=self.at)), 201)


class DeliveryHoldLiftView(ActView):
    act = {"POST": Act.LIFT_HOLD}

    @extend_schema(request=DeliveryHoldLiftBody, responses={200: shape_of(HeldCard)} | BAD)
    def post(self, request: Request) -> Response:
        """Lift the hold on a delivery, signed."""
        given = self.read(DeliveryHoldLiftBody)
        proof = self.proof(given["pin"])
        card = lift_delivery_hold(proof=proof, hold_uuid=given["hold"], reason=given["reason"], at=self.at)
        return Response(as_json(card))


class MillCertificatesView(ActView):
    act = {"POST": Act.KEEP_GOODS}

    @extend_schema(request=MillCertificateBody, responses={201: Papers} | BAD)
    def post(self, request: Request) -> Response:
        """Enter a mill certificate; each heat is checked against its grade."""
        given = self.read(MillCertificateBody)
        paper, name = content_of(given.pop("content")), given.pop("name")
        cards = services.enter_certificate(by=self.person, paper=paper, paper_name=name, at=self.at, **given)
        return Response(answer(heats=cards), status=201)


class FurtherHeatsView(ActView):
    act = {"POST": Act.KEEP_GOODS}

    @extend_schema(request=FurtherHeatsBody, responses={201: Papers} | BAD)
    def post(self, request: Request) -> Response:
        """Further heats, sizes or conditions on a mill certificate that is entered; all that it covers is answered."""
        cards = services.add_to_certificate(by=self.person, at=self.at, **self.read(FurtherHeatsBody))
        return Response(answer(heats=cards), status=201)


class HeatsView(ActView):
    act = {"GET": Act.LOOK_AT_GOODS}

    @extend_schema(operation_id="HeatList", responses={200: Heats})
    def get(self, request: Request) -> Response:
        """The heats entered last."""
        return Response(answer(heats=heats()))


class HeatView(ActView):
    act = {"GET": Act.LOOK_AT_GOODS}

    @extend_schema(parameters=OF_HEAT, responses={200: HeatFile, 404: Refusal})
    def get(self, request: Request) -> Response:
        """One heat with its papers, decisions, cuts and grade checks. A heat number may hold a slash."""
        return Response(_heat(request.query_params.get("number", ""), request.query_params.get("supplier", "")))


class HeatDecisionsView(ActView):
    act = {"POST": Act.DECIDE_GOODS}

    @extend_schema(request=HeatDecisionBody, responses={201: HeatFile} | BAD)
    def post(self, request: Request) -> Response:
        """Accept, hold or refuse a heat, signed."""
        given = self.read(HeatDecisionBody)
        number, proof = given.pop("heat"), self.proof(given.pop("pin"))
        services.decide_heat(proof=proof, heat_number=number, at=self.at, **given)
        return Response(_heat(number, given["supplier"]), status=201)


class CutsView(ActView):
    act = {"POST": Act.KEEP_GOODS}

    @extend_schema(request=CutBody, responses={201: HeatFile} | BAD)
    def post(self, request: Request) -> Response:
        """A bar or tube was cut and the heat mark transferred."""
        given = self.read(CutBody)
        number = given.pop("heat")
        services.record_cut(by=self.person, heat_number=number, at=self.at, **given)
        return Response(_heat(number, given["supplier"]), status=201)


class GradeChecksView(ActView):
    act = {"POST": Act.KEEP_GOODS}

    @extend_schema(request=GradeCheckBody, responses={201: HeatFile} | BAD)
    def post(self, request: Request) -> Response:
        """The grade of a tube verified at issue; another grade holds the heat."""
        given = self.read(GradeCheckBody)
        number = given.pop("heat")
        services.verify_grade(by=self.person, heat_number=number, at=self.at, **given)
        return Response(_heat(number, given["supplier"]), status=201)


def _heat(number: str, supplier: str = "") -> dict[str, Any]:
    card = heat_by_number(number, supplier)
    return answer(
        heat=card, papers=papers_of_heat(card.id), decisions=decisions_of_heat(card.id), events=events_of_heat(card.id)
    )
