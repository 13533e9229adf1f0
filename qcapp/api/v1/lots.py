"""Lots: opened, sampled, judged, sorted, sent out and received back."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.goods.queries.lots import (
    PieceCard,
    SampleCard,
    SortingCard,
    drawn_pieces,
    sample_of,
    sorting_of,
)
from qcapp.goods.queries.outside import OutsideCard, sent_out
from qcapp.goods.services import lots as services
from qcapp.goods.services import outside
from qcapp.people.roles import Act
from qcapp.production.queries.as_built import LotCard, UsedCard, lot_by_code, lots, used_in

from ..acts import ActView, Pin, Refusal
from ..shapes import answer, answer_shape, content_of
from .gauges import decimal_field

BAD = {400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal}
Lots = answer_shape("Lots", lots=list[LotCard])
LotFile = answer_shape(
    "LotFile",
    lot=LotCard,
    heats=list[UsedCard],
    sample=SampleCard | None,
    pieces=list[PieceCard],
    sorting=SortingCard | None,
    outside=list[OutsideCard],
)


class LotBody(serializers.Serializer[Any]):
    family = serializers.CharField(max_length=20)
    quantity = serializers.IntegerField()
    heats = serializers.ListField(child=serializers.CharField(max_length=40), max_length=60)


class SampleBody(serializers.Serializer[Any]):
    aqls = serializers.DictField(child=serializers.CharField(max_length=8), default=dict, help_text="major, minor")
    level = serializers.CharField(max_length=4, default="II")
    steady = serializers.BooleanField(default=False)
    reduced_wanted = serializers.BooleanField(default=False)
    isolated = serializers.BooleanField(default=False, help_text="goes by limiting quality")
    resumed = serializers.CharField(
        max_length=120, allow_blank=True, default="", help_text="what was corrected, after a discontinued inspection"
    )


class SortBody(Pin):
    removed = serializers.IntegerField()
    remark = serializers.CharField(max_length=300)


class SendOutBody(serializers.Serializer[Any]):
    kind = serializers.CharField(max_length=16, help_text="plating, coating or heat_treatment")
    supplier = serializers.CharField(max_length=80)
    high_strength = serializers.BooleanField()


class ReceiveBackBody(serializers.Serializer[Any]):
    delivery_number = serializers.CharField(max_length=24)
    name = serializers.CharField(max_length=120)
    content = serializers.CharField(help_text="the certificate of the process in base64")
    bake_hours = decimal_field(allow_null=True, default=None)
    bake_temperature = decimal_field(allow_null=True, default=None)


class LotsView(ActView):
    act = {"GET": Act.LOOK_AT_GOODS, "POST": Act.KEEP_GOODS}

    @extend_schema(operation_id="LotList", responses={200: Lots})
    def get(self, request: Request) -> Response:
        """The lots opened last."""
        return Response(answer(lots=lots()))

    @extend_schema(request=LotBody, responses={201: LotFile} | BAD)
    def post(self, request: Request) -> Response:
        """Open a lot made from accepted heats."""
        given = self.read(LotBody)
        lot = services.open_lot(
            by=self.person, family_code=given["family"], quantity=given["quantity"], heat_numbers=given["heats"],
            at=self.at,
        )  # fmt: skip
        return Response(_lot(lot.code), status=201)


class LotView(ActView):
    act = {"GET": Act.LOOK_AT_GOODS}

    @extend_schema(responses={200: LotFile, 404: Refusal})
    def get(self, request: Request, code: str) -> Response:
        """One lot: its heats, its sample with the pieces, the verdict, sorting, what was done outside."""
        return Response(_lot(code))


class LotSampleView(ActView):
    act = {"POST": Act.KEEP_GOODS}

    @extend_schema(request=SampleBody, responses={201: LotFile} | BAD)
    def post(self, request: Request, code: str) -> Response:
        """Draw the sample. Without `aqls` they come from the plan's frequencies."""
        given = self.read(SampleBody)
        aqls = given.pop("aqls")
        services.sample_lot(by=self.person, lot_code=code, at=self.at, **given, **({"aqls": aqls} if aqls else {}))
        return Response(_lot(code), status=201)


class LotJudgeView(ActView):
    act = {"POST": Act.KEEP_GOODS}

    @extend_schema(request=None, responses={201: LotFile} | BAD)
    def post(self, request: Request, code: str) -> Response:
        """Judge the lot by its drawn pieces."""
        services.judge_lot(by=self.person, lot_code=code, at=self.at)
        return Response(_lot(code), status=201)


class LotSortView(ActView):
    act = {"POST": Act.KEEP_GOODS}

    @extend_schema(request=SortBody, responses={201: LotFile} | BAD)
    def post(self, request: Request, code: str) -> Response:
        """Every piece of a refused lot was looked at, signed."""
        given = self.read(SortBody)
        services.sort_lot(proof=self.proof(given.pop("pin")), lot_code=code, at=self.at, **given)
        return Response(_lot(code), status=201)


class LotSendOutView(ActView):
    act = {"POST": Act.KEEP_GOODS}

    @extend_schema(request=SendOutBody, responses={201: LotFile} | BAD)
    def post(self, request: Request, code: str) -> Response:
        """Send the lot out for plating, coating or heat treatment."""
        outside.send_out(by=self.person, code=lot_by_code(code).code, at=self.at, **self.read(SendOutBody))
        return Response(_lot(code), status=201)


class LotReceiveBackView(ActView):
    act = {"POST": Act.KEEP_GOODS}

    @extend_schema(request=ReceiveBackBody, responses={201: LotFile} | BAD)
    def post(self, request: Request, code: str) -> Response:
        """The lot is back, on a delivery with the certificate of the process."""
        given = self.read(ReceiveBackBody)
        paper, name = content_of(given.pop("content")), given.pop("name")
        outside.receive_back(
            by=self.person, code=lot_by_code(code).code, paper=paper, paper_name=name, at=self.at, **given
        )
        return Response(_lot(code), status=201)


LOT_ACTS: dict[str, type[ActView]] = {
    "sample": LotSampleView,
    "judge": LotJudgeView,
    "sort": LotSortView,
    "send-out": LotSendOutView,
    "receive-back": LotReceiveBackView,
}


def _lot(code: str) -> dict[str, Any]:
    card = lot_by_code(code)
    return answer(
        lot=card, heats=used_in([card.item_id]), sample=sample_of(card.id), pieces=drawn_pieces(card.id),
        sorting=sorting_of(card.id), outside=sent_out(card.item_id),
    )  # fmt: skip
