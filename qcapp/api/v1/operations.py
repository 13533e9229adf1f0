"""The only way in for results from outside: operations, each answered by itself."""

from __future__ import annotations

import logging
from collections import Counter
from datetime import datetime
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.core.errors import Invalid
from qcapp.inspections.queries import places_of
from qcapp.inspections.services import record_operations
from qcapp.inspections.services.operations import MAX_OPERATIONS
from qcapp.inspections.services.recording import Verdictlet
from qcapp.lib.measuring import SUBMITTED
from qcapp.nonconformance.queries import active_by_checkpoint, report_numbers_by_result
from qcapp.people.roles import Act
from qcapp.people.services import keep_aside, tablet_contact
from qcapp.people.services.entry_proofs import proven_operations

from ..acts import ActView, Refusal
from ..parsing import OperationsParser

log = logging.getLogger("qcapp.submissions")
FIELDS = frozenset({"device", "sent_at", "operations", "waiting", "waiting_since", "proofs"})


class Operation(serializers.Serializer[Any]):
    """One result. Never changes between tries: the same id with another body is refused (`key_reused`).

    A tablet also sends stages signed without network here: `kind` is sign_off, and besides `id`, `v`, `serial`,
    `revision`, `recorded_at` and `recorded_by` it holds `stage`, `meaning` and `covers`, the ids of the stage's typed
    answers. It needs its proof, made with the second key under “qcapp sign 1”.
    """

    id = serializers.UUIDField(help_text="UUID version 7, made where the result was entered")
    v = serializers.IntegerField(help_text="1")
    kind = serializers.CharField(help_text="result, or sign_off")
    serial = serializers.CharField()
    revision = serializers.UUIDField(help_text="the plan revision that was on the screen")
    checkpoint = serializers.CharField(help_text="the checkpoint's key")
    round = serializers.IntegerField(required=False, default=1)
    inspection = serializers.IntegerField(required=False, default=1, help_text="1 first, 2 second, 3 deciding")
    purpose = serializers.ChoiceField(choices=["reading", "repeat", "correction"])
    answer = serializers.DictField(help_text="the kind's own; numbers as text")
    raw = serializers.CharField(required=False, allow_blank=True, help_text="as typed")
    gauge = serializers.CharField(required=False, allow_null=True)
    recorded_at = serializers.DateTimeField()
    recorded_by = serializers.CharField(help_text="badge")
    base = serializers.UUIDField(required=False, allow_null=True, help_text="`base` of the bench when it was seen")
    reason = serializers.CharField(required=False, allow_blank=True)


class Submission(serializers.Serializer[Any]):
    device = serializers.CharField()
    sent_at = serializers.DateTimeField(required=False, allow_null=True)
    operations = serializers.ListField(child=Operation(), max_length=200)
    proofs = serializers.DictField(
        required=False, help_text="by operation: `key` and `signature` of whoever entered it on this tablet"
    )


class ComputedAnswer(serializers.Serializer[Any]):
    checkpoint = serializers.CharField()
    verdict = serializers.CharField()
    value = serializers.CharField()
    report = serializers.CharField(allow_null=True)


class OperationAnswer(serializers.Serializer[Any]):
    id = serializers.CharField()
    outcome = serializers.ChoiceField(choices=["applied", "duplicate", "rejected", "kept_aside"])
    code = serializers.CharField(allow_blank=True)
    message = serializers.CharField(allow_blank=True)
    verdict = serializers.CharField(allow_null=True)
    excess = serializers.CharField(allow_null=True)
    nearest_limit = serializers.CharField(allow_null=True)
    limits = serializers.CharField(allow_null=True)
    report = serializers.CharField(allow_null=True)
    flags = serializers.ListField(child=serializers.CharField())
    conflict = serializers.BooleanField()
    computed = ComputedAnswer(many=True)


class SubmissionAnswer(serializers.Serializer[Any]):
    operations = OperationAnswer(many=True)


class OperationsView(ActView):
    """Results of a tablet or program, at most 200 at once."""

    act = {"POST": Act.RECORD_RESULT}
    parser_classes = (OperationsParser,)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """A revoked tablet has no session any more; what it hands in is only kept aside."""
        if not getattr(self.django_request, "tablet_revoked", False):
            super().initial(request, *args, **kwargs)

    @extend_schema(request=Submission, responses={200: SubmissionAnswer, 400: Refusal, 401: Refusal, 403: Refusal})
    def post(self, request: Request) -> Response:
        """Record results. Each operation is answered by itself; sending again is harmless."""
        body = request.data
        if not isinstance(body, dict):
            raise Invalid("body_not_object", "Send an object with “device” and “operations”.")
        # Read by hand: 160 operations cost the framework's validation several times what storing them costs.
        unknown = body.keys() - FIELDS
        if unknown:
            raise Invalid("field_unknown", f"There is no field “{min(unknown)[:40]}” here.")
        device = body.get("device")
        if not isinstance(device, str):
            raise Invalid("fields_invalid", "“device” is missing: send the name of the tablet or program.")
        if getattr(self.django_request, "tablet_revoked", False):
            return Response({"operations": _kept_aside(self.django_request, body.get("operations"), self.at)})
        answers = record_operations(
            sent_by=self.person,
            device=device,
            sent_at=_instant(body.get("sent_at")),
            operations=body.get("operations"),
            at=self.at,
            proven=proven_operations(body.get("operations"), body.get("proofs")),
        )
        self._note_contact(body, len(answers))
        _note(answers)
        return Response({"operations": _with_reports(answers)})

    def _note_contact(self, body: dict[str, Any], taken: int) -> None:
        """What the tablet still holds after this, for the office."""
        tablet, waiting = getattr(self.django_request, "tablet", None), body.get("waiting")
        if tablet is not None and isinstance(waiting, int):
            tablet_contact(tablet=tablet, at=self.at, unsent=waiting - taken, since=_instant(body.get("waiting_since")))


def _note(answers: list[Verdictlet]) -> None:
    """The submission in log and metrics: its first stored entry names it, and nothing that was typed is told."""
    counts = Counter(one.outcome for one in answers)
    first = next((one.id for one in answers if one.outcome in ("applied", "duplicate")), "")
    for outcome, count in counts.items():
        SUBMITTED.labels(outcome).inc(count)
    words = ", ".join(f"{count} {outcome}" for outcome, count in sorted(counts.items()))
    log.info("submission %s: %s", first or "with nothing stored", words or "empty", extra={"submission": first})


def _kept_aside(request: Any, operations: object, at: datetime) -> list[dict[str, Any]]:
    if not isinstance(operations, list) or len(operations) > MAX_OPERATIONS:
        raise Invalid("operations_unreadable", f"Send the operations as a list of at most {MAX_OPERATIONS}.")
    return keep_aside(tablet=request.tablet, operations=operations, at=at)


def _instant(value: object) -> datetime | None:
    if value is None:
        return None
    try:
        found = datetime.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        found = None
    if found is None or found.tzinfo is None or not 2000 < found.year < 2100:
        raise Invalid("time_unreadable", "“sent_at” must be a time with its zone.", field="sent_at")
    return found


def _with_reports(answers: list[Verdictlet]) -> list[dict[str, Any]]:
    """The answers as JSON; a duplicate names the report that its first arrival raised."""
    found = [answer.to_json() for answer in answers]
    failed = ("out_of_band", "does_not_conform")
    lost = [one["id"] for one in found if one["outcome"] == "duplicate" and one["verdict"] in failed]
    numbers = _report_numbers(lost) if lost else {}
    for one in found:
        one["report"] = one["report"] or numbers.get(one["id"])
    return found


def _report_numbers(operations: list[str]) -> dict[str, str]:
    """The report that each stored operation raised, or the open one about its checkpoint, which it joined."""
    found: dict[str, str] = {}
    places = places_of(operations)
    for item_id in {place.item_id for place in places}:
        raised, active = report_numbers_by_result(item_id), active_by_checkpoint(item_id)
        for place in places:
            number = raised.get(place.result_id) or active.get(place.checkpoint_id)
            if place.item_id == item_id and number:
                found[str(place.operation)] = number
    return found
