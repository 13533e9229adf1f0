"""Each checkpoint with nominal, limits, value, unit, verdict, gauge, person and time, stage by stage."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from qcapp.certificates.release_checks import concession_for
from qcapp.core.checkpoints.counted import counted_numbers
from qcapp.core.metrology.quantities import as_text
from qcapp.people.roles import Role

from .record import Bench, Record, utc_text

if TYPE_CHECKING:
    from qcapp.inspections.queries import AnswerView, CheckpointView, StageView
    from qcapp.plans.queries import CheckpointCard

ANSWERED = ("value", "outcome", "nearest_limit", "verdict", "person", "recorded", "at", "concession")
NUMBER = re.compile(r"\d+(?:\.\d+)?")
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
    """One checkpoint. Everything is text as printed; `outcome`, `nearest_limit` and `has_…` draw the mark."""

    number: int
    title: str
    kind: str
    criticality: str
    nominal: str
    notation: str  # as the drawing writes it; empty where the limits say the same
    limits: str  # always as numbers, where there are any
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
    second: tuple[str, ...]
    document: str
    key: str
    lower: str  # the limits as numbers with the plan's decimals, for machines; empty where there is none
    upper: str
    values: tuple[str, ...]  # the readings as typed, without the unit of measure
    at: str  # when it was recorded, RFC 3339
    concession: str
    balloon: str  # the sheet on which the number is drawn, empty without one
    counted: tuple[str, ...] = ()  # what met the limits, where it is not the readings as typed
    mean: bool = False  # whether that is the mean of the readings
    temperature: str = ""  # the part's, in °C, where the plan asks for it
    corrected_to: str = ""  # the temperature in °C that the readings were brought to
    expansion: str = ""  # the coefficient that they were brought with, in µm per metre and kelvin
    temperature_uncertainty: str = ""  # what that adds to the gauge's expanded uncertainty, in the unit of measure


@dataclass(frozen=True)
class Stage:
    """One stage with its lines, the checkpoints that were not due or decided not to apply, and who signed it."""

    number: int
    name: str
    lines: tuple[Line, ...]
    not_due: tuple[str, ...]
    not_applicable: tuple[str, ...]
    signed: str
    meaning: str


@dataclass(frozen=True)
class Results:
    """All stages in order."""

    stages: tuple[Stage, ...]


def build(record: Record) -> Results:
    """The results that count, of the last round of each checkpoint."""
    return Results(tuple(_stage(record, stage) for stage in record.standing.inspection.stages))


def _not_due(one: CheckpointView) -> str:
    """A sample, or another variant."""
    return f"{one.card.number} {one.card.title} ({one.card.when})"


def _not_applicable(one: CheckpointView) -> str:
    """A signed decision that it does not apply: why, and by whom."""
    if one.excluded is None:
        return ""
    reason = one.excluded.reason.rstrip(".")
    return f"{one.card.number} {one.card.title}: {reason}; {one.excluded.person_name}, {Role(one.excluded.role).label}"


def _stage(record: Record, stage: StageView) -> Stage:
    left_out = [one for one in stage.checkpoints if one.state == "not_due"]
    return Stage(
        number=stage.card.number,
        name=stage.card.name,
        lines=tuple(line_of(record, one) for one in stage.checkpoints if one.state != "not_due"),
        not_due=tuple(_not_due(one) for one in left_out if not one.excluded),
        not_applicable=tuple(_not_applicable(one) for one in left_out if one.excluded),
        signed=_signed(record, stage),
        meaning="" if stage.sign_off is None else stage.sign_off.meaning,
    )


def _signed(record: Record, stage: StageView) -> str:
    signed = stage.sign_off
    return "" if signed is None else f"{record.mark(signed.person_id, signed.person_name)}, {record.moment(signed.at)}"


def _by(record: Bench, answer: AnswerView) -> str:
    return record.mark(answer.person_id, answer.person_initials)


def line_of(record: Bench, one: CheckpointView) -> Line:
    """One checkpoint with what was answered."""
    card, measure = one.card, one.card.unit_of_measure
    band = getattr(card.spec, "band", None)
    limits = without_measure(card.limits_text, measure)
    return Line(
        number=card.number,
        title=card.title,
        kind=card.kind,
        criticality=card.criticality,
        nominal=str(card.spec_json.get("nominal") or ""),
        notation="" if _plainly(card.notation) == _plainly(limits) else card.notation,
        limits=limits,
        unit_of_measure=measure,
        gauge=_gauge(one),
        round=one.round,
        has_lower=band is None or (band.lower is not None and "lower" not in band.natural),
        has_upper=band is None or band.upper is not None,
        second=_second(record, one),
        document=f"{card.document_number} {card.document_revision}".strip(),
        key=card.key,
        lower=card.lower_text,
        upper=card.upper_text,
        balloon=f"{card.balloon.sheet.number}, sheet {card.balloon.sheet.sheet}" if card.balloon else "",
        **_answered(record, one, measure),
    )


def _answered(record: Bench, one: CheckpointView, measure: str) -> dict[str, Any]:
    """What was answered, by whom and when; empty texts where nothing was, which no released unit has."""
    answer = one.counts
    if answer is None:
        empty = dict.fromkeys(ANSWERED, "")
        return empty | {"values": ()}
    permit = concession_for(one, record.concessions)
    verdict = WORDS[answer.outcome]
    return {
        **_made_of(one.card, answer.answer),
        "value": _value(answer, measure),
        "outcome": str(answer.outcome),
        "nearest_limit": answer.nearest_limit,
        "verdict": verdict if permit is None else f"{verdict}, concession {permit.number}",
        "person": _by(record, answer),
        "recorded": record.moment(answer.recorded_at),
        "values": _values(answer.answer, answer.described),
        "at": utc_text(answer.recorded_at),
        "concession": "" if permit is None else permit.number,
    }


def _values(answer: dict[str, Any], described: str) -> tuple[str, ...]:
    """The readings, the count or the text as typed; a verdict in words."""
    for name in ("value", "count", "text"):
        if answer.get(name) is not None:
            return (str(answer[name]),)
    return tuple(answer.get("values") or (described,))


def _value(answer: AnswerView, measure: str) -> str:
    """What met the limits; how it came about stands beside it."""
    told = answer.answer
    if "temperature" in told or "counted" in told:
        return ", ".join(counted_numbers(told))
    return without_measure(answer.described, measure)


def _made_of(card: CheckpointCard, answer: dict[str, Any]) -> dict[str, Any]:
    """What the plan made of the readings before they met the limits; nothing where they count as typed."""
    warmth, counted = getattr(card.spec, "temperature", None), tuple(answer.get("counted") or ())
    corrected = bool(counted) and warmth is not None and warmth.expansion is not None
    return {
        "counted": counted,
        "mean": card.mean,
        "temperature": str(answer.get("temperature") or ""),
        "corrected_to": as_text(warmth.reference) if warmth and corrected else "",
        "expansion": as_text(warmth.expansion) if warmth and corrected else "",
        "temperature_uncertainty": str(answer.get("temperature_uncertainty") or ""),
    }


def without_measure(text: str, measure: str) -> str:
    """The text without the unit of measure, which has a column of its own."""
    return text.removesuffix(measure).strip() if measure else text


def _plainly(text: str) -> str:
    """The text with numbers as short as they go: "max 0.50" and "max 0.5" say the same."""
    return NUMBER.sub(lambda found: f"{Decimal(found[0]).normalize():f}", text)


def _gauge(one: CheckpointView) -> str:
    if one.card.kind == "derived":
        return "computed"
    return one.counts.gauge_number if one.counts else ""


def _second(record: Bench, one: CheckpointView) -> tuple[str, ...]:
    """The other inspections of the checkpoint, with person, time and answer."""
    given: list[tuple[str, AnswerView | None]] = [("second inspection", one.second)]
    if one.third is not None:
        given = [("first inspection", one.first), *given, ("decided by a third", one.third)]
    return tuple(
        f"{name}: {answer.described}, {_by(record, answer)}, {record.moment(answer.recorded_at)}"
        for name, answer in given
        if answer is not None
    )
