"""Units: looking one up, opening one, and everything that happened to one."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.audit.queries import entries_about
from qcapp.certificates.queries import CertificateCard, certificates_of, releases_of
from qcapp.inspections.queries import inspection_of, progress_of
from qcapp.inspections.queries.secrets import secrets_of
from qcapp.inspections.queries.shapes import AnswerView, InspectionView
from qcapp.inspections.queries.timeline import cards_of, happenings, results_of
from qcapp.inspections.services import open_unit
from qcapp.lib.site_days import site_day
from qcapp.nonconformance.queries import ReportCard, reports_of
from qcapp.people.queries import names_of
from qcapp.people.roles import Act
from qcapp.production.queries import (
    HoldCard,
    UnitCard,
    family_by_code,
    find_units,
    holds_of,
    propose_serial,
    welds_of,
)

from ..acts import ActView, Refusal
from ..errors import plain
from .bench import WITHHELD, stage_json

if TYPE_CHECKING:
    from qcapp.plans.queries import CheckpointCard

FOUND_AT_MOST = 50


class Progress(serializers.Serializer[Any]):
    due = serializers.IntegerField()
    answered = serializers.IntegerField()
    stages = serializers.IntegerField()
    stages_signed = serializers.IntegerField()


class Unit(serializers.Serializer[Any]):
    serial = serializers.CharField()
    uuid = serializers.UUIDField()
    family = serializers.CharField()
    family_name = serializers.CharField()
    order_number = serializers.CharField(allow_blank=True)
    variant = serializers.CharField(allow_blank=True)
    state = serializers.CharField()
    state_label = serializers.CharField()
    on_hold = serializers.BooleanField()
    opened_at = serializers.DateTimeField()
    opened_by = serializers.CharField()


class FoundUnit(Unit):
    progress = Progress(allow_null=True)


class UnitList(serializers.Serializer[Any]):
    units = FoundUnit(many=True)


class OpenUnit(serializers.Serializer[Any]):
    family = serializers.CharField(max_length=20)
    serial = serializers.CharField(max_length=40)
    order_number = serializers.CharField(max_length=40, required=False, allow_blank=True, default="")
    variant = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")


class NextSerial(serializers.Serializer[Any]):
    family = serializers.CharField()
    serial = serializers.CharField()


class History(serializers.Serializer[Any]):
    unit = Unit()
    progress = Progress()
    revision = serializers.DictField()
    stages = serializers.ListField(child=serializers.DictField())
    results = serializers.ListField(child=serializers.DictField())
    holds = serializers.ListField(child=serializers.DictField())
    reports = serializers.ListField(child=serializers.DictField())
    concessions = serializers.ListField(child=serializers.DictField())
    welds = serializers.ListField(child=serializers.DictField())
    releases = serializers.ListField(child=serializers.DictField())
    certificates = serializers.ListField(child=serializers.DictField())
    happenings = serializers.ListField(child=serializers.DictField())
    acts = serializers.ListField(child=serializers.DictField(), help_text="entries of the audit chain, newest first")


class UnitsView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT, "POST": Act.OPEN_UNIT}

    @extend_schema(
        parameters=[OpenApiParameter("q", str, description="any part of the serial; empty gives the newest units")],
        responses={200: UnitList, 401: Refusal},
        operation_id="UnitList",
    )
    def get(self, request: Request) -> Response:
        """Units whose serial holds the text, best match first."""
        cards = find_units(request.query_params.get("q", "")[:100], limit=FOUND_AT_MOST)
        progress = progress_of([card.item_id for card in cards])
        found = [
            unit_json(card) | {"progress": progress_json(progress[card.item_id]) if card.item_id in progress else None}
            for card in cards
        ]
        return Response({"units": found})

    @extend_schema(request=OpenUnit, responses={201: Unit, 400: Refusal, 403: Refusal, 409: Refusal})
    def post(self, request: Request) -> Response:
        """Open a unit; it is inspected to the family's released plan."""
        given = self.read(OpenUnit)
        card = open_unit(by=self.person, family_code=given.pop("family"), at=self.at, **given)
        return Response(unit_json(card), status=201)


class NextSerialView(ActView):
    act = {"GET": Act.OPEN_UNIT}

    @extend_schema(
        parameters=[OpenApiParameter("family", str, required=True)], responses={200: NextSerial, 404: Refusal}
    )
    def get(self, request: Request) -> Response:
        """The serial that comes next in a family. Somebody else may take it first."""
        family = family_by_code(request.query_params.get("family", ""))
        return Response({"family": family.code, "serial": propose_serial(family.code, site_day(self.at).year)})


class UnitView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT}

    @extend_schema(responses={200: History, 401: Refusal, 404: Refusal})
    def get(self, request: Request, serial: str) -> Response:
        """Everything that happened to a unit."""
        view = inspection_of(serial, viewer=self.person, at=self.at)
        item_id = view.unit.item_id
        cards = cards_of(item_id)
        results = results_of(item_id, viewer=self.person, at=self.at, cards=cards)
        reports = reports_of(item_id, secret=secrets_of(view))
        sources = {report.number for report in reports if report.hidden}
        body = {
            "unit": unit_json(view.unit),
            "progress": progress_json(view.progress),
            "revision": {"uuid": str(view.revision.uuid), "letter": view.revision.letter},
            "stages": [stage_json(stage, view) for stage in view.stages],
            "results": [result_json(answer, cards[answer.checkpoint_id]) for answer in results],
            "holds": [hold_json(hold, hidden=hold.source in sources) for hold in holds_of(item_id)],
            "reports": [report_line(report, hidden=report.number in sources) for report in reports],
            "concessions": [plain(asdict(one.concession)) for one in reports if one.concession],
            "welds": [plain(asdict(weld)) for weld in welds_of(item_id)],
            "releases": [plain(asdict(release)) for release in releases_of(item_id)],
            "certificates": [certificate_json(card) for card in certificates_of(item_id)],
            "happenings": [plain(asdict(one)) for one in happenings(item_id, answers=results, cards=cards)],
            "acts": _acts(view),
        }
        return Response(body)


def _acts(view: InspectionView) -> list[dict[str, Any]]:
    """The audit chain's entries about the unit: what and when and by whom; their payload is the chain's own matter."""
    entries = entries_about(f"unit {view.unit.serial}")
    names = names_of([entry.actor for entry in entries if entry.actor])
    return [
        {
            "number": entry.number,
            "at": entry.at.isoformat(),
            "verb": entry.verb,
            "by": names.get(entry.actor, ""),
            "digest": entry.digest,
        }
        for entry in entries
    ]


def unit_json(card: UnitCard) -> dict[str, Any]:
    """One unit as plain values."""
    return {
        "serial": card.serial,
        "uuid": str(card.item_uuid),
        "family": card.family_code,
        "family_name": card.family_name,
        "order_number": card.order_number,
        "variant": card.variant,
        "state": card.state,
        "state_label": card.state_label,
        "on_hold": card.on_hold,
        "opened_at": card.opened_at.isoformat(),
        "opened_by": card.opened_by_name,
    }


def progress_json(progress: Any) -> dict[str, int]:
    return {name: getattr(progress, name) for name in ("due", "answered", "stages", "stages_signed")}


def result_json(answer: AnswerView, card: CheckpointCard) -> dict[str, Any]:
    """One stored answer as plain values."""
    return {
        "operation": str(answer.operation),
        "checkpoint": card.key,
        "number": card.number,
        "title": card.title,
        "stage": card.stage_number,
        "round": answer.round,
        "inspection": answer.inspection,
        "purpose": answer.purpose,
        "answer": answer.answer,
        "described": answer.described,
        "raw": answer.raw,
        "outcome": answer.outcome,
        "passes": answer.passes,
        "excess": answer.excess,
        "nearest_limit": answer.nearest_limit,
        "limits": card.limits_text,
        "gauge": answer.gauge_number,
        "expanded_uncertainty": answer.expanded_uncertainty,
        "person": answer.person_name,
        "device": answer.device,
        "recorded_at": answer.recorded_at.isoformat(),
        "received_at": answer.received_at.isoformat(),
        "reason": answer.reason,
        "replaces": list(answer.replaces),
        "flags": list(answer.flags),
        "decisions": [plain(asdict(decision)) for decision in answer.decisions],
    }


def hold_json(hold: HoldCard, *, hidden: bool = False) -> dict[str, Any]:
    return {
        "uuid": str(hold.uuid),
        "source": hold.source,
        "from_stage": hold.from_stage,
        "reason": WITHHELD if hidden else hold.reason,
        "by": hold.by_name,
        "at": hold.at.isoformat(),
        "lifted_at": _text(hold.lifted_at),
        "lifted_by": hold.lifted_by_name,
    }


def report_line(report: ReportCard, *, hidden: bool = False) -> dict[str, Any]:
    """One report in a list; its title says what was found, so it is left out while that is a secret."""
    return {
        "number": report.number,
        "title": WITHHELD if hidden else report.title,
        "serial": report.serial,
        "checkpoint": report.checkpoint_number,
        "severity": report.severity,
        "state": report.state,
        "state_label": report.state_label,
        "disposition": report.disposition,
        "raised_at": report.raised_at.isoformat(),
        "raised_by": report.raised_by_name,
        "changed_at": report.changed_at.isoformat(),
    }


def certificate_json(card: CertificateCard) -> dict[str, Any]:
    """One issue of a certificate; the token of its check page is printed on it, so it is no secret here."""
    return {
        "number": card.number,
        "issue": card.issue,
        "serial": card.serial,
        "family": card.family_code,
        "standing": card.standing,
        "digest": card.digest,
        "token": card.token,
        "change_note": card.change_note,
        "issued_by": card.issued_by_name,
        "issued_at": card.issued_at.isoformat(),
        "replaced_by": card.replaced_by,
        "withdrawn_at": _text(card.withdrawn_at),
        "withdrawn_reason": card.withdrawn_reason,
    }


def _text(at: datetime | None) -> str | None:
    return at.isoformat() if at else None
