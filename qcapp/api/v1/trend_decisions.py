"""What people decide about charts: frozen limits, values left out, signals acknowledged."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.improvement.cards import Signalled
from qcapp.improvement.services.signalled import open_action_for_signal
from qcapp.people.roles import Act
from qcapp.trends.characteristic import Wanted
from qcapp.trends.plain import left_out_json
from qcapp.trends.queries import LONGEST, series_of, signals_of
from qcapp.trends.queries.decided import base_periods_of
from qcapp.trends.sampling import GROUPS, WIDEST
from qcapp.trends.services import acknowledge_signal, freeze_limits, leave_point_out, put_point_back

from ..acts import ActView, Pin, Refusal

REFUSALS: dict[int, Any] = {400: Refusal, 401: Refusal, 403: Refusal, 404: Refusal, 409: Refusal}


class Freeze(Pin):
    first_serial = serializers.CharField(max_length=40)
    last_serial = serializers.CharField(max_length=40)
    reason = serializers.CharField(max_length=300)
    limits = serializers.ChoiceField(choices=("between", "within"), default="between")
    group = serializers.ChoiceField(choices=tuple(GROUPS), default="units")
    size = serializers.IntegerField(min_value=2, max_value=100, default=10)


class BasePeriod(serializers.Serializer[Any]):
    chart = serializers.CharField()
    center = serializers.FloatField()
    sigma = serializers.FloatField(allow_null=True)
    points = serializers.IntegerField()
    first_serial = serializers.CharField()
    last_serial = serializers.CharField()
    unit_of_measure = serializers.CharField(allow_blank=True)
    reason = serializers.CharField()
    by = serializers.CharField(source="by_name")
    at = serializers.DateTimeField()


class BasePeriodsView(ActView):
    act = {"GET": Act.LOOK_AT_TRENDS, "POST": Act.FREEZE_LIMITS}

    @extend_schema(responses={200: BasePeriod(many=True), **REFUSALS})
    def get(self, request: Request, family: str, key: str) -> Response:
        """The control limits signed so far, the latest first; those of a kind of chart hold until others are signed."""
        found = base_periods_of(series_of(family, key).characteristic_id)
        return Response(BasePeriod(found, many=True).data)

    @extend_schema(request=Freeze, responses={201: BasePeriod, **REFUSALS})
    def post(self, request: Request, family: str, key: str) -> Response:
        """Freeze the control limits of the points from one unit to another."""
        given = self.read(Freeze)
        wanted = Wanted(limits=given.pop("limits"), group=given.pop("group"), size=given.pop("size"))
        row = freeze_limits(
            proof=self.proof(given.pop("pin")), family_code=family, key=key, at=self.at, wanted=wanted, **given
        )
        return Response(BasePeriod(base_periods_of(row.characteristic_id)[0]).data, status=201)


class Point(serializers.Serializer[Any]):
    serial = serializers.CharField(max_length=40)
    left_out = serializers.BooleanField(help_text="true leaves the value out, false puts it back")
    reason = serializers.CharField(max_length=300)


class LeftOut(serializers.Serializer[Any]):
    serial = serializers.CharField()
    text = serializers.CharField()
    reason = serializers.CharField()
    by = serializers.CharField()
    at = serializers.DateTimeField()


class LeftOutView(ActView):
    act = {"GET": Act.LOOK_AT_TRENDS, "POST": Act.FREEZE_LIMITS}

    @extend_schema(responses={200: LeftOut(many=True), **REFUSALS})
    def get(self, request: Request, family: str, key: str) -> Response:
        """The values that charts leave out now, with their reasons."""
        return Response(self._now(family, key))

    @extend_schema(request=Point, responses={200: LeftOut(many=True), **REFUSALS})
    def post(self, request: Request, family: str, key: str) -> Response:
        """Leave a unit's value out of charts, or put it back. The result itself stands."""
        given = self.read(Point)
        act = leave_point_out if given.pop("left_out") else put_point_back
        act(by=self.person, family_code=family, key=key, at=self.at, **given)
        return Response(self._now(family, key))

    @staticmethod
    def _now(family: str, key: str) -> list[dict[str, Any]]:
        return [left_out_json(one) for one in series_of(family, key, last=LONGEST, sampled=WIDEST).excluded]


class Acknowledge(serializers.Serializer[Any]):
    rule = serializers.CharField(max_length=40)
    fixture = serializers.CharField(max_length=60, allow_blank=True, default="")
    first_serial = serializers.CharField(max_length=40)
    reason = serializers.CharField(max_length=300)
    action = serializers.CharField(max_length=20, allow_blank=True, default="")


class WaitingSignal(serializers.Serializer[Any]):
    rule = serializers.CharField()
    fixture = serializers.CharField(allow_blank=True)
    first_serial = serializers.CharField()
    last_serial = serializers.CharField()
    points = serializers.IntegerField()
    sentence = serializers.CharField()
    running = serializers.BooleanField()


class LookedInto(serializers.Serializer[Any]):
    rule = serializers.CharField()
    fixture = serializers.CharField(allow_blank=True)
    sentence = serializers.CharField()
    reason = serializers.CharField()
    action = serializers.CharField(allow_blank=True)
    by = serializers.CharField(source="by_name")
    at = serializers.DateTimeField()


class Signals(serializers.Serializer[Any]):
    waiting = WaitingSignal(many=True)
    acknowledged = LookedInto(many=True)


class AcknowledgementsView(ActView):
    act = {"GET": Act.LOOK_AT_TRENDS, "POST": Act.ACKNOWLEDGE_SIGNAL}

    @extend_schema(responses={200: Signals, **REFUSALS})
    def get(self, request: Request, family: str, key: str) -> Response:
        """The signals of one characteristic: those that wait for somebody to look, and what was found about others."""
        return Response(Signals(signals_of(family, key)).data)

    @extend_schema(request=Acknowledge, responses={201: Signals, **REFUSALS})
    def post(self, request: Request, family: str, key: str) -> Response:
        """Say what was found about a signal; it comes back when it goes on for more than ten further points."""
        acknowledge_signal(by=self.person, family_code=family, key=key, at=self.at, **self.read(Acknowledge))
        return Response(Signals(signals_of(family, key)).data, status=201)


class OpenForSignal(serializers.Serializer[Any]):
    rule = serializers.CharField(max_length=40)
    fixture = serializers.CharField(max_length=60, allow_blank=True, default="")
    first_serial = serializers.CharField(max_length=40)
    title = serializers.CharField(max_length=160)
    problem = serializers.CharField(max_length=600)


class OpenedForSignal(serializers.Serializer[Any]):
    number = serializers.CharField(help_text="of the corrective action, by which the signal is acknowledged")


class SignalActionsView(ActView):
    act = {"POST": Act.LEAD_ACTION}

    @extend_schema(request=OpenForSignal, responses={201: OpenedForSignal, **REFUSALS})
    def post(self, request: Request, family: str, key: str) -> Response:
        """Turn a signal into a corrective action for its checkpoint; the signal is acknowledged with its number."""
        given = self.read(OpenForSignal)
        said = {name: given.pop(name) for name in ("title", "problem")}
        about = Signalled(family_code=family, key=key, **given)
        number = open_action_for_signal(by=self.person, about=about, at=self.at, **said)
        return Response(OpenedForSignal({"number": number}).data, status=201)
