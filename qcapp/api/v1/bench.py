"""What the tablet needs of one unit: its stages, every checkpoint as this person sees it, the gauges that fit."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.core.checkpoints.counted import counted_numbers
from qcapp.core.metrology.quantities import as_text
from qcapp.gauges.queries import all_gauges
from qcapp.gauges.setup import SetupCard, setups_of
from qcapp.inspections.queries import inspection_of
from qcapp.inspections.queries.beside import PhotoCard, Place, RemarkCard, by_place, photos_of, remarks_of
from qcapp.inspections.queries.first_articles import waits_for
from qcapp.inspections.queries.shapes import AnswerView, CheckpointView, InspectionView, StageView
from qcapp.inspections.states import CheckpointState
from qcapp.lib.spoken import said
from qcapp.nonconformance.queries import active_by_checkpoint
from qcapp.people.roles import Act
from qcapp.production.queries import welders_of

from ..acts import ActView, Refusal
from .bench_shapes import Bench
from .drawings import file_address, fraction, sheet_json

if TYPE_CHECKING:
    from qcapp.gauges.queries import GaugeCard
    from qcapp.people.models import Person
    from qcapp.plans.queries import CheckpointCard

WAITS = {
    "second": "Another inspector gives the second inspection, without seeing the first.",
    "third": "The two inspections disagree; a third inspector decides.",
    "own_weld": "You welded this joint; somebody else inspects it.",
    "computed": "It is computed when the checkpoints it reads are answered.",
}
WITHHELD = "What was found is shown when the second inspection is given."


def limits_of(card: CheckpointCard) -> str:
    """What is asked for, in the language of who asks where it is words: 3 pores at most, a heat number."""
    return said(card.limits_text) if card.kind in ("count", "record") else card.limits_text


class BenchView(ActView):
    """One unit on the bench."""

    act = {"GET": Act.RECORD_RESULT}

    @extend_schema(responses={200: Bench, 401: Refusal, 403: Refusal, 404: Refusal})
    def get(self, request: Request, serial: str) -> Response:
        """Everything the tablet needs of a unit. First answers stay hidden while a second is owed."""
        view = inspection_of(serial, viewer=self.person, at=self.at)
        return Response(bench_json(view, self.person) | self._around(view))

    def _around(self, view: InspectionView) -> dict[str, Any]:
        kinds = {kind for checkpoint in view.checkpoints for kind in checkpoint.card.gauge_kinds}
        asked = setups_of()
        fitting = [card for card in all_gauges(self.at) if card.kind_key in kinds and not card.retired]
        return {
            "server_time": self.at.isoformat(),
            "gauges": [gauge_on_bench(card) | {"setup": _setup(asked.get(card.id), self.at)} for card in fitting],
        }


def bench_json(view: InspectionView, person: Person) -> dict[str, Any]:
    """The inspection as this person sees it, as plain values."""
    item_id = view.unit.item_id
    asked = view.holds or any(c.counts and not c.counts.passes for c in view.checkpoints)
    reports = active_by_checkpoint(item_id) if asked else {}
    secret = {reports.get(c.card.id) for c in view.checkpoints if c.hidden}
    writer = _Writer(
        person=person,
        reports=reports,
        welders=welders_of(item_id),
        by_key={checkpoint.card.key: checkpoint for checkpoint in view.checkpoints},
        photos=by_place(photos_of(item_id)),
        remarks=by_place(remarks_of(item_id)),
    )
    return {
        "unit": _unit(view),
        "revision": {
            "uuid": str(view.revision.uuid),
            "letter": view.revision.letter,
            "state": view.revision.state,
        },
        "person": {
            "badge": person.badge,
            "name": person.name,
            "initials": person.initials,
            "language": person.language,
        },
        "holds": [
            {
                "source": h.source,
                "reason": said(WITHHELD if h.source in secret else h.reason),
                "from_stage": h.from_stage,
                "at": h.at.isoformat(),
            }
            for h in view.holds
        ],
        "progress": {
            "due": view.progress.due,
            "answered": view.progress.answered,
            "stages": view.progress.stages,
            "stages_signed": view.progress.stages_signed,
            "percent": view.progress.percent,
        },
        "stages": [stage_json(stage, view) for stage in view.stages],
        "drawings": _drawings(view),
        "checkpoints": [writer.checkpoint(checkpoint) for checkpoint in view.checkpoints],
    }


def _drawings(view: InspectionView) -> list[dict[str, Any]]:
    """The sheets that the checkpoints' spots are on, each once."""
    sheets = {c.card.balloon.sheet.id: c.card.balloon.sheet for c in view.checkpoints if c.card.balloon}
    return [sheet_json(sheet) for sheet in sheets.values()]


def _spot(card: CheckpointCard) -> dict[str, Any]:
    """Where the checkpoint is on its sheet, and the address of its reference picture."""
    balloon, picture = card.balloon, card.picture
    spot = balloon and {
        "drawing": str(balloon.sheet.uuid),
        "across": fraction(balloon.across),
        "down": fraction(balloon.down),
    }
    return {"spot": spot, "picture": file_address(picture.file_uuid) if picture else None}


def _unit(view: InspectionView) -> dict[str, Any]:
    unit = view.unit
    names = ("serial", "family_code", "family_name", "order_number", "variant", "state", "state_label")
    return {name: getattr(unit, name) for name in names}


def stage_json(stage: StageView, view: InspectionView) -> dict[str, Any]:
    """One stage with whether it may start, and what stands against it."""
    sign_off = stage.sign_off if stage.sign_off and stage.sign_off.valid else None
    blocked = _blocked_by(stage, view)
    return {
        "number": stage.card.number,
        "name": stage.card.name,
        "hold_point": stage.card.hold_point,
        "witness_point": stage.card.witness_point,
        "witness": _witness(stage),
        "state": stage.state.value,
        "held": stage.held,
        "due": stage.due,
        "answered": stage.answered,
        "signed_by": sign_off.person_name if sign_off else None,
        "signed_at": sign_off.at.isoformat() if sign_off else None,
        "may_start": not blocked,
        "blocked_by": blocked,
    }


def _witness(stage: StageView) -> str:
    """What stands at a witness point, in words; empty elsewhere."""
    if not stage.card.witness_point:
        return ""
    return f"{stage.witness.sentence}." if stage.witness else "Nobody was asked to come yet."


def _blocked_by(stage: StageView, view: InspectionView) -> str:
    for earlier in view.stages:
        if earlier.card.number < stage.card.number and not earlier.signed:
            what = " (hold point)" if earlier.card.hold_point else ""
            return f"Stage {earlier.card.number} {earlier.card.name}{what} comes first and is not signed."
    for article in [] if stage.signed else waits_for(view.unit, stage.card.number):
        return f"Waits for first article {article.name}."
    holding = [h.source for h in view.holds if h.from_stage is None or h.from_stage < stage.card.number]
    return f"On hold: {', '.join(holding)}." if holding else ""


def _not_due(view: CheckpointView) -> str:
    if view.excluded:
        return f"Does not apply to this unit: {view.excluded.reason} ({view.excluded.person_name})"
    return f"Not due on this unit: it is checked {view.card.when}."


class _Writer:
    """Writes checkpoints as one person sees them."""

    def __init__(
        self,
        person: Person,
        reports: Mapping[int, str],
        welders: Mapping[str, int],
        by_key: Mapping[str, CheckpointView],
        photos: Mapping[Place, list[PhotoCard]],
        remarks: Mapping[Place, list[RemarkCard]],
    ) -> None:
        self.person, self.reports, self.welders, self.by_key = person, reports, welders, by_key
        self.photos, self.remarks = photos, remarks

    def checkpoint(self, view: CheckpointView) -> dict[str, Any]:
        task, note = self._task(view)
        told = {"task": task, "task_note": note} | self._beside(view) | self._of_two(view)
        return _asked(view) | self._paired(view) | self._answered(view) | told

    def _beside(self, view: CheckpointView) -> dict[str, Any]:
        """Photos and remarks of this round; another's stay away from who gives an answer without seeing the first."""
        place = view.card.characteristic_id, view.round
        photos = [p for p in self.photos.get(place, []) if not view.hidden or p.person_id == self.person.pk]
        remarks = [r for r in self.remarks.get(place, []) if not view.hidden or r.person_id == self.person.pk]
        return {
            "photo_taken": bool(self.photos.get(place)),
            "photos": [{"id": str(p.operation), "file": str(p.file), "marks": list(p.marks)} for p in photos],
            "remarks": [{"id": str(r.operation), "kind": r.kind, "text": r.text, "by": r.person_name} for r in remarks],
        }

    def _task(self, view: CheckpointView) -> tuple[str, str]:
        """What this person can do at the checkpoint, and if nothing, why."""
        if view.state is CheckpointState.NOT_DUE:
            return "none", _not_due(view)
        if view.card.kind == "derived":
            return ("done", "") if view.first_given else ("wait", WAITS["computed"])
        if view.state is CheckpointState.IN_CONFLICT and not view.hidden:
            return "settle", "Two answers were given without seeing each other; correct it to the right one."
        if not view.owes:
            return "done", ""
        inspection = view.owes[0]
        name = {1: "first", 2: "second", 3: "third"}[inspection]
        if self._may_give(view, inspection):
            return name, ""
        mine = self.welders.get(view.card.joint) == self.person.pk and inspection == 1
        return "wait", WAITS["own_weld" if mine else name]

    def _of_two(self, view: CheckpointView) -> dict[str, Any]:
        """Where two inspect: what stands, by identifier, and whether this person may still give an own inspection."""
        if not view.card.second_inspection:
            return {"stands": {}, "may_inspect": True}
        stands = {str(inspection): str(operation) for inspection, operation in view.standing}
        return {"stands": stands, "may_inspect": self._may_give(view, 2)}

    def _may_give(self, view: CheckpointView, inspection: int) -> bool:
        """As the server will decide it: another person for each inspection, none of them the welder of the joint."""
        welded = bool(view.card.joint) and self.welders.get(view.card.joint) == self.person.pk
        if inspection == 1:
            return not welded or view.card.second_inspection or view.card.kind == "record"
        return not welded and all(answer.person_id != self.person.pk for answer in view.given)

    def _answered(self, view: CheckpointView) -> dict[str, Any]:
        shown = self._shown(view)
        base = view.base if view.conflicting else (shown.operation if shown else None)
        may_correct = bool(shown) and view.card.kind != "derived" and self._is_free(view, shown)
        failing = shown is not None and not shown.passes
        return {
            "base": str(base) if base else None,
            "operation": str(base) if base else None,
            "inspection_seen": shown.inspection if shown else None,
            "outcome": shown.outcome if shown else None,
            "answer": shown.described if shown else None,
            "value": _number(shown.answer) if shown else None,
            "given": _given(shown.answer) if shown else None,
            "nearest_limit": shown.nearest_limit if shown else "",
            "excess": shown.excess if shown else "",
            "gauge": shown.gauge_number if shown else "",
            "answered_by": shown.person_initials if shown else "",
            "recorded_at": shown.recorded_at.isoformat() if shown else None,
            "report": self.reports.get(view.card.id) if failing else None,
            "flags": list(shown.flags) if shown else [],
            "flag_sentences": shown.flag_sentences if shown else [],
            "may_repeat": view.may_repeat and may_correct,
            "may_correct": may_correct,
            "conflicting": [_standing(answer) for answer in view.conflicting],
        }

    def _shown(self, view: CheckpointView) -> AnswerView | None:
        """The person's own answer while others are owed, else the one that counts, in a conflict the latest."""
        if view.conflicting:
            return view.conflicting[-1]
        own = next((answer for answer in reversed(view.given) if answer.person_id == self.person.pk), None)
        return own or view.counts

    def _is_free(self, view: CheckpointView, shown: AnswerView | None) -> bool:
        """Whether the person has given no other inspection of the checkpoint."""
        others = (a for a in view.given if shown is None or a.inspection != shown.inspection)
        return all(answer.person_id != self.person.pk for answer in others)

    def _paired(self, view: CheckpointView) -> dict[str, Any]:
        before = self.by_key.get(view.card.paired_with)
        if before is None:
            return {"paired": None}
        answer = before.counts.described if before.counts else None
        return {"paired": {"number": before.card.number, "answer": answer}}


def _asked(view: CheckpointView) -> dict[str, Any]:
    card = view.card
    spec = card.spec_json
    band = getattr(card.spec, "band", None) if card.kind != "count" else None
    document = f"{card.document_number} rev {card.document_revision}" if card.document_number else ""
    return {
        "key": card.key,
        "number": card.number,
        "title": card.title,
        "kind": card.kind,
        "stage": card.stage_number,
        "due": view.state is not CheckpointState.NOT_DUE,
        "state": view.state.value,
        "round": view.round,
        "reopened_by": view.reopened_by,
        "first_given": view.first_given,
        "hidden": view.hidden,
        "disagree": view.disagree,
        "band": band.to_json() if band else None,
        "rule": spec.get("rule"),
        "limits": limits_of(card),
        "notation": card.notation,
        "unit_of_measure": card.unit_of_measure,
        "decimals": spec.get("decimals"),
        "readings": spec.get("readings") or 1,
        "mean": card.mean,
        "temperature": _temperature(card),
        "form": spec.get("form"),
        "inputs": list(card.spec.inputs) if card.kind == "derived" else [],
        "count_at_most": spec.get("accept"),
        "count_at_least": spec.get("at_least"),
        "criticality": card.criticality,
        "method": card.method,
        "setup": card.setup,
        "setup_label": card.setup_label,
        "gauge_kinds": list(card.gauge_kinds),
        "frequency": card.frequency,
        "second_inspection": card.second_inspection,
        "photo": card.photo,
        "joint": card.joint,
        "document": document,
        "instruction": card.instruction,
        "caution": card.caution,
    } | _spot(card)


def _standing(answer: AnswerView) -> dict[str, Any]:
    return {
        "answer": answer.described,
        "outcome": answer.outcome,
        "answered_by": answer.person_initials,
        "recorded_at": answer.recorded_at.isoformat(),
    }


def _number(answer: Mapping[str, Any]) -> str | None:
    if "count" in answer:
        return str(answer["count"])
    counted = counted_numbers(answer)
    return counted[0] if len(counted) == 1 else None


def _given(answer: Mapping[str, Any]) -> dict[str, Any] | None:
    """The parts of an answer that counts otherwise than it was read, for the page to say in its language."""
    return dict(answer) if "temperature" in answer or "counted" in answer else None


def _temperature(card: CheckpointCard) -> dict[str, str | None] | None:
    """What is asked about the part's warmth: to which temperature it is brought, by how much a kelvin."""
    asked = getattr(card.spec, "temperature", None)
    if asked is None:
        return None
    expansion = None if asked.expansion is None else as_text(asked.expansion)
    widths = (None if one is None else as_text(one) for one in (asked.expansion_limit, asked.thermometer))
    known = dict(zip(("expansion_limit", "thermometer"), widths, strict=True))
    return {"expansion": expansion, "reference": as_text(asked.reference), **known, "text": asked.text}


def _setup(asked: SetupCard | None, at: datetime) -> str:
    """Until when the gauge's set-up check holds; "due" when it is wanted now, empty where none is asked."""
    if asked is None:
        return ""
    return "due" if asked.reason(at) else (asked.checks[0].at + timedelta(hours=asked.hours)).isoformat()


def gauge_on_bench(card: GaugeCard) -> dict[str, Any]:
    """A gauge as the tablet gets it."""
    uncertainty = card.expanded_uncertainty
    return {
        "number": card.number,
        "kind": card.kind_key,
        "kind_name": card.kind_name,
        "unit_of_measure": card.unit_of_measure,
        "usable": card.usable,
        "reason": card.reason,
        "sentence": card.sentence,
        "due_on": card.due_on.isoformat() if card.due_on else None,
        "expanded_uncertainty": None if uncertainty is None else format(uncertainty, "f"),
        "range_lower": None if card.range_lower is None else format(card.range_lower, "f"),
        "range_upper": None if card.range_upper is None else format(card.range_upper, "f"),
    }
