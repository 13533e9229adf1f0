"""Set-up checks: which gauges are read on their setting master before they measure, and what they read."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.core.metrology.quantities import as_text
from qcapp.gauges.queries import gauge_by_number
from qcapp.gauges.setup import SetupCard, ask_setup, record_setup, setup_of, setups_of
from qcapp.people.roles import Act

from ..acts import ActView, Refusal
from ..owned import OwnedView
from ..shapes import answer, answer_shape

if TYPE_CHECKING:
    from qcapp.people.models import Person


class SetupGauge(serializers.Serializer[Any]):
    number = serializers.CharField()
    kind_name = serializers.CharField()
    unit_of_measure = serializers.CharField(allow_blank=True)
    master = serializers.CharField()
    reference = serializers.CharField()
    limit = serializers.CharField(help_text="the reading may differ by so much, plus and minus")
    hours = serializers.IntegerField(help_text="for how long a passed check holds")
    reason = serializers.CharField(allow_blank=True, help_text="why it is no proof now; empty when it is checked")
    checked_at = serializers.DateTimeField(allow_null=True)
    checked_by = serializers.CharField(allow_blank=True)
    reading = serializers.CharField(allow_null=True)


class SetupGauges(serializers.Serializer[Any]):
    gauges = SetupGauge(many=True)


class SetupReading(serializers.Serializer[Any]):
    id = serializers.UUIDField(help_text="UUID version 7, made on the tablet")
    gauge = serializers.CharField(max_length=20)
    reading = serializers.CharField(max_length=40)
    device = serializers.CharField(max_length=60)
    recorded_at = serializers.DateTimeField()


class SetupVerdict(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    outcome = serializers.ChoiceField(choices=["applied", "duplicate"])
    passed = serializers.BooleanField()


class SetupRuleBody(serializers.Serializer[Any]):
    master = serializers.CharField(max_length=80)
    reference = serializers.CharField(max_length=40, help_text="what the master is, in the gauge's unit")
    limit = serializers.CharField(max_length=40, help_text="the reading may differ by so much, plus and minus")
    hours = serializers.IntegerField(help_text="for how long a passed check holds; 0: no check is asked any more")


Setup = answer_shape("GaugeSetup", setup=SetupCard | None)


class SetupRuleView(ActView):
    act = {"GET": Act.LOOK_AT_GAUGES, "POST": Act.KEEP_GAUGES}

    @extend_schema(operation_id="GaugeSetup", responses={200: Setup, 404: Refusal})
    def get(self, request: Request, number: str) -> Response:
        """What is asked of the gauge before it measures, with its checks; null where nothing is."""
        return Response(answer(setup=setup_of(gauge_by_number(number, self.at).id)))

    @extend_schema(request=SetupRuleBody, responses={201: Setup, 400: Refusal, 403: Refusal, 404: Refusal})
    def post(self, request: Request, number: str) -> Response:
        """Ask for a check on a setting master before the gauge measures."""
        asked = ask_setup(by=self.person, number=number, at=self.at, **self.read(SetupRuleBody))
        return Response(answer(setup=asked), status=201)


class SetupChecksView(OwnedView):
    act = {"GET": Act.RECORD_RESULT, "POST": Act.RECORD_RESULT}
    shape = SetupReading

    @staticmethod
    def take(by: Person, given: dict[str, Any], at: datetime) -> dict[str, Any]:
        passed, new = record_setup(
            by=by,
            operation=given["id"],
            number=given["gauge"],
            reading=given["reading"],
            device=given["device"],
            done_at=given["recorded_at"],
            at=at,
        )
        return {"id": str(given["id"]), "outcome": "applied" if new else "duplicate", "passed": passed}

    @extend_schema(responses={200: SetupGauges, 401: Refusal, 403: Refusal})
    def get(self, request: Request) -> Response:
        """Every gauge that is checked on a setting master, with its last check."""
        cards = sorted(setups_of().values(), key=lambda card: card.gauge_number)
        return Response({"gauges": [self._gauge(card) for card in cards]})

    @extend_schema(
        request=SetupReading, responses={200: SetupVerdict, 400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal}
    )
    def post(self, request: Request) -> Response:
        """What a gauge reads on its setting master. Sending again is harmless."""
        return Response(self.taken())

    def _gauge(self, card: SetupCard) -> dict[str, Any]:
        last = card.checks[0] if card.checks else None
        names = ("kind_name", "unit_of_measure", "master", "hours")
        return {name: getattr(card, name) for name in names} | {
            "number": card.gauge_number,
            "reference": as_text(card.reference),
            "limit": as_text(card.limit),
            "reason": card.reason(self.at),
            "checked_at": last.at.isoformat() if last else None,
            "checked_by": last.by_name if last else "",
            "reading": as_text(last.reading) if last else None,
        }
