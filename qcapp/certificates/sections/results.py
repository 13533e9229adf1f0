"""Each checkpoint with nominal, limits, value, unit, verdict, gauge, person and time, stage by stage."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from qcapp.certificates.release_checks import concession_for

from .record import Record

if TYPE_CHECKING:
    from qcapp.inspections.queries.shapes import AnswerView, CheckpointView, StageView

WORDS = {
    "in_band": "conforms",
    "near_limit": "conforms, near limit",
    "out_of_band": "does not conform",
    "conforms": "conforms",
    "does_not_conform": "does not conform",
    "recorded": "recorded",
}


@dataclass(frozen=True)
class Line:
    """One checkpoint. Everything is text as printed; `outcome` and `nearest_limit` draw the mark."""

    number: int
    title: str
    kind: str
    criticality: str
    nominal: str
    notation: str
    limits: str
    value: str
    unit_of_measure: str
    gauge: str
    round: int
    outcome: str
    nearest_limit: str
    has_lower: bool
    has_upper: bool
    verdict: str
    person: str
    recorded: str
    second: str
    document: str


@dataclass(frozen=True)
class Stage:
    """One stage with its lines, the checkpoints that were not due on this unit, and who signed it."""

    number: int
    name: str
    lines: tuple[Line, ...]
    not_due: tuple[str, ...]
    signed: str
    meaning: str


@dataclass(frozen=True)
class Results:
    """All stages in order."""

    stages: tuple[Stage, ...]


def build(record: Record) -> Results:
    """The results that count, of the last round of each checkpoint."""
    return Results(tuple(_stage(record, stage) for stage in record.standing.inspection.stages))


def _stage(record: Record, stage: StageView) -> Stage:
    due = [one for one in stage.checkpoints if one.state != "not_due"]
    sign_off = stage.sign_off
    signed = "" if sign_off is None else f"{sign_off.person_name}, {record.moment(sign_off.at)}"
    return Stage(
        number=stage.card.number,
        name=stage.card.name,
        lines=tuple(_line(record, one) for one in due),
        not_due=tuple(f"{one.card.number} {one.card.title} ({one.card.frequency})" for one in stage.checkpoints if one not in due),
        signed=signed,
        meaning="" if sign_off is None else sign_off.meaning,
    )


def _line(record: Record, one: CheckpointView) -> Line:
    card, answer = one.card, one.counts
    spec = card.spec_json
    unit = str(spec.get("unit_of_measure") or "")
    band = getattr(card.spec, "band", None)
    concession = concession_for(one, record.standing.concessions)
    verdict = "" if answer is None else WORDS[answer.outcome]
    return Line(
        number=card.number,
        title=card.title,
        kind=card.kind,
        criticality=card.criticality,
        nominal=str(spec.get("nominal") or ""),
        notation=str(spec.get("notation") or ""),
        limits=card.limits_text,
        value="" if answer is None else _value(answer, unit),
        unit_of_measure=unit,
        gauge=_gauge(one),
        round=one.round,
        outcome="" if answer is None else str(answer.outcome),
        nearest_limit="" if answer is None else answer.nearest_limit or "",
        has_lower=band is None or (band.lower is not None and "lower" not in band.natural),
        has_upper=band is None or band.upper is not None,
        verdict=verdict if concession is None else f"{verdict}, concession {concession.number}",
        person="" if answer is None else answer.person_initials,
        recorded="" if answer is None else record.moment(answer.recorded_at),
        second=_second(record, one),
        document=" ".join(part for part in (card.document_number, card.document_revision) if part),
    )


def _value(answer: AnswerView, unit: str) -> str:
    return answer.described.removesuffix(unit).strip() if unit else answer.described


def _gauge(one: CheckpointView) -> str:
    if one.card.kind == "derived":
        return "computed"
    return (one.counts.gauge_number or "") if one.counts else ""


def _second(record: Record, one: CheckpointView) -> str:
    parts = [
        f"{name} by {answer.person_initials}, {record.moment(answer.recorded_at)}: {answer.described}"
        for name, answer in (("second inspection", one.second), ("third", one.third))
        if answer is not None
    ]
    return "; ".join(parts)
