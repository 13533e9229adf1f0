"""Units plated, coated or heat-treated outside. Lots have the same under their own addresses."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.goods.queries.outside import OutNow, OutsideCard, out_now, sent_out
from qcapp.goods.services.outside import receive_back, send_out
from qcapp.people.roles import Act
from qcapp.production.queries import unit_by_serial

from ..acts import ActView, Refusal
from ..shapes import answer, answer_shape, content_of
from .lots import ReceiveBackBody, SendOutBody

BAD = {400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal}
OutsideNow = answer_shape("OutsideNow", out=list[OutNow])
UnitOutside = answer_shape("UnitOutside", serial=str, away=bool, outside=list[OutsideCard])


class OutsideView(ActView):
    act = {"GET": Act.LOOK_AT_GOODS}

    @extend_schema(responses={200: OutsideNow})
    def get(self, request: Request) -> Response:
        """The lots and units that were sent out and not received back, the longest away first."""
        return Response(answer(out=out_now()))


class UnitOutsideView(ActView):
    act = {"GET": Act.LOOK_AT_GOODS}

    @extend_schema(responses={200: UnitOutside} | BAD)
    def get(self, request: Request, serial: str) -> Response:
        """What was done to a unit outside, the latest first."""
        return Response(_outside(serial))


class UnitSendOutView(ActView):
    act = {"POST": Act.KEEP_GOODS}

    @extend_schema(request=SendOutBody, responses={201: UnitOutside} | BAD)
    def post(self, request: Request, serial: str) -> Response:
        """Send the unit out for plating, coating or heat treatment."""
        send_out(by=self.person, code=unit_by_serial(serial).serial, at=self.at, **self.read(SendOutBody))
        return Response(_outside(serial), status=201)


class UnitReceiveBackView(ActView):
    act = {"POST": Act.KEEP_GOODS}

    @extend_schema(request=ReceiveBackBody, responses={201: UnitOutside} | BAD)
    def post(self, request: Request, serial: str) -> Response:
        """The unit is back, on a delivery with the certificate of the process."""
        given = self.read(ReceiveBackBody)
        paper, name = content_of(given.pop("content")), given.pop("name")
        code = unit_by_serial(serial).serial
        receive_back(by=self.person, code=code, paper=paper, paper_name=name, at=self.at, **given)
        return Response(_outside(serial), status=201)


def _outside(serial: str) -> dict[str, Any]:
    unit = unit_by_serial(serial)
    return answer(serial=unit.serial, away=unit.away, outside=sent_out(unit.item_id))
