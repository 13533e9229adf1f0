"""Signed decisions about results that do not count by themselves: near limit on a critical checkpoint, or flagged."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.inspections.queries import answer_of_operation
from qcapp.inspections.services import decide_result
from qcapp.inspections.states import DECIDABLE
from qcapp.people.roles import Act

from ..acts import ActView, Pin, Refusal


class Decision(Pin):
    operation = serializers.UUIDField()
    about = serializers.ChoiceField(choices=sorted(DECIDABLE))
    accepted = serializers.BooleanField()
    reason = serializers.CharField(max_length=300)


class DecidedResult(serializers.Serializer[Any]):
    operation = serializers.UUIDField()
    about = serializers.CharField()
    accepted = serializers.BooleanField()
    reason = serializers.CharField()
    decided_by = serializers.CharField()
    at = serializers.DateTimeField()


class DecisionsView(ActView):
    act = {"POST": Act.DECIDE_RESULT}

    @extend_schema(request=Decision, responses={201: DecidedResult, 403: Refusal, 404: Refusal, 409: Refusal})
    def post(self, request: Request) -> Response:
        """Decide whether a result counts although it is near limit or flagged."""
        given = self.read(Decision)
        pin = given.pop("pin")
        decide_result(proof=self.proof(pin), at=self.at, **given)
        decision = answer_of_operation(given["operation"]).decision_about(given["about"])
        body = {
            "operation": str(given["operation"]),
            "about": given["about"],
            "accepted": given["accepted"],
            "reason": decision.reason if decision else given["reason"],
            "decided_by": decision.person_name if decision else "",
            "at": (decision.at if decision else self.at).isoformat(),
        }
        return Response(body, status=201)
