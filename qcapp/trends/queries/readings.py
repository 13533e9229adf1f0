"""Builds a series from stored answers: exact values in one unit of measure, who, with what, and what happened."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from qcapp.core.checkpoints.kinds import kind as kind_of
from qcapp.core.checkpoints.limits import written
from qcapp.core.errors import Invalid, NotFound, QcError
from qcapp.core.formulas import references
from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.quantities import convert
from qcapp.inspections.queries import series as stored
from qcapp.lib.plain_text import shown
from qcapp.lib.site_days import shift_at, site_day
from qcapp.plans.queries import CheckpointCard, checkpoints_of, released_card
from qcapp.production.queries import FamilyCard, family_by_code

from ..readings import Event, Reading, Series, converted, numbers_of
from ..sampling import MOST_ANSWERS, Group, Sampled, day_of, is_sampled, week_of
from .decided import Decisions, decisions_on

if TYPE_CHECKING:
    from qcapp.inspections.queries.series import CheckpointAt, Point

SHORTEST, USUAL, LONGEST = 5, 100, 500  # readings on a page
FIXTURE_KEY = "fixture"  # the record checkpoint that names the weld fixture
CHARTED = frozenset({"measured", "derived", "attribute", "count"})
CORRECTED, AGAIN, FLAGGED, LATER = "corrected entry", "measured again", "not proven", "inspected again later"


@dataclass(frozen=True)
class Subject:
    """A family with the checkpoints of its released plan by key; no checkpoints without a released plan."""

    family: FamilyCard
    cards: Mapping[str, CheckpointCard]
    revision: str

    @property
    def fixture_ids(self) -> list[int]:
        card = self.cards.get(FIXTURE_KEY)
        return [card.characteristic_id] if card and card.kind == "record" else []

    def secret_inputs(self, key: str) -> list[int]:
        """Characteristics with a second inspection that a derived checkpoint reads, however far."""
        return [self.cards[name].characteristic_id for name in self._inputs(key) if self.cards[name].second_inspection]

    def _inputs(self, key: str) -> set[str]:
        found: set[str] = set()
        waiting = [key]
        while waiting:
            card = self.cards.get(waiting.pop())
            inputs = references(card.spec.formula) if card and card.kind == "derived" else []
            waiting += [name for name in inputs if name in self.cards and name not in found]
            found |= {name for name in inputs if name in self.cards}
        return found


def subject_of(named: str | FamilyCard) -> Subject:
    """The family, by its code or its card, and its released plan. Raises NotFound `family_unknown`."""
    family = named if isinstance(named, FamilyCard) else family_by_code(named)
    try:
        card = released_card(family)
    except NotFound:
        return Subject(family, {}, "")
    return Subject(family, {one.key: one for one in checkpoints_of(card.id)}, card.letter)


def secrets_of(subject: Subject, key: str, waiting: Mapping[int, frozenset[int]]) -> frozenset[int]:
    """The items whose value must not be shown yet, because what it is computed from waits."""
    nothing: frozenset[int] = frozenset()
    return nothing.union(*(waiting.get(one, nothing) for one in subject.secret_inputs(key)))


@dataclass
class Surroundings:
    """What is known about the units around their readings, each by item."""

    fixtures: Mapping[int, str] = field(default_factory=dict)
    welders: Mapping[int, str] = field(default_factory=dict)
    lots: Mapping[int, str] = field(default_factory=dict)
    reopened: Mapping[int, list[str]] = field(default_factory=dict)
    replaced: Mapping[int, list[str]] = field(default_factory=dict)


def series_of(
    family_code: str, key: str, *, last: int = USUAL, before: int | None = None, sampled: Sampled | None = None
) -> Series:
    """As `series_and_decisions`, the series alone."""
    return series_and_decisions(family_code, key, last=last, before=before, sampled=sampled)[0]


def series_and_decisions(
    family_code: str, key: str, *, last: int = USUAL, before: int | None = None, sampled: Sampled | None = None
) -> tuple[Series, Decisions]:
    """The last readings of a characteristic, whatever its kind or the number of revisions, and what was decided on it.

    `sampled` counts the window in points, where a point stands for several answers. Raises NotFound
    `family_unknown`, `characteristic_unknown`, Invalid `window_out_of_range`, `not_charted`.
    """
    _check_window(last)
    subject = subject_of(family_code)
    card = subject.cards.get(key)
    found, kind = (card.characteristic_id, card.kind) if card else _without_plan(subject, key)
    lots: Mapping[int, str] = {}
    if sampled is None or not is_sampled(kind, sampled.group):
        points = stored.last_points(found, last, before=before)
    else:
        points, lots = _samples_back(found, sampled, before)
    waiting = stored.waiting_items({point.item_id for point in points}, subject.secret_inputs(key))
    secret = secrets_of(subject, key, waiting)
    points = [point for point in points if point.item_id not in secret]
    checkpoints = stored.checkpoints_at(points)
    around = replace(_surroundings(subject, points, card, checkpoints, found), lots=lots)
    series = build(subject, card, points, checkpoints, around)
    decided = decisions_on([found])
    series = decided.apply(replace(series, characteristic_id=found))
    calibrations = stored.calibrations_of_gauges(points)
    return replace(series, events=_events(series, calibrations), characteristic_id=found), decided


def _check_window(last: int) -> None:
    if not SHORTEST <= last <= LONGEST:
        raise Invalid("window_out_of_range", f"Choose from {SHORTEST} to {LONGEST} readings for one page.", last=last)


def _samples_back(characteristic: int, sampled: Sampled, before: int | None) -> tuple[list[Point], Mapping[int, str]]:
    """The points of the last samples, and the lots that their pieces were drawn from, where those are asked for.

    Days, weeks and lots hold as many answers as they do: a few hundred are read first, then as many as one page takes.
    The oldest sample is left out where its beginning lies before what was read. Raises Invalid `window_out_of_range`.
    """
    sampled.check()
    if sampled.group == "units":
        return stored.last_points(characteristic, sampled.answers, before=before), {}
    for count in (LONGEST, MOST_ANSWERS):
        points, more = stored.read_back(characteristic, count, before=before)
        lots = stored.lots_of({point.item_id for point in points}) if sampled.group == "lots" else {}
        names = [_sample_name(point, sampled.group, lots) for point in points]
        known = [name for name in dict.fromkeys(names) if name]
        if len(known) > sampled.samples or not more:
            break
    if more and 1 < len(known) <= sampled.samples:
        known = known[1:]
    kept = set(known[-sampled.samples :]) or {""}  # none was drawn from a lot, which the chart then says
    return [point for point, name in zip(points, names, strict=True) if name in kept], lots


def _sample_name(point: Point, group: Group, lots: Mapping[int, str]) -> str:
    if group == "lots":
        return lots.get(point.item_id, "")
    return day_of(point.recorded_at) if group == "days" else week_of(point.recorded_at)


def _without_plan(subject: Subject, key: str) -> tuple[int, str]:
    """A characteristic that the released plan no longer asks for, or a family without a plan; and its kind."""
    row = None if "\0" in key else stored.characteristic_of(subject.family.id, key)
    if row is None:
        raise NotFound(
            "characteristic_unknown",
            f"{subject.family.code} has no characteristic {shown(key)}; choose one on the family's watch page.",
        )
    return row.id, row.kind


def _surroundings(
    subject: Subject,
    points: list[Point],
    card: CheckpointCard | None,
    checkpoints: Mapping[int, CheckpointAt],
    characteristic: int,
) -> Surroundings:
    items = {point.item_id for point in points}
    joint = card.joint if card else next((one.joint for one in checkpoints.values() if one.joint), "")
    return Surroundings(
        fixtures=stored.texts_of(items, subject.fixture_ids) if subject.fixture_ids else {},
        welders=stored.welders_of_items(items, joint),
        reopened=stored.reopened_by(items, characteristic),
        replaced=stored.replaced_texts(points),
    )


def build(
    subject: Subject,
    card: CheckpointCard | None,
    points: Collection[Point],
    checkpoints: Mapping[int, CheckpointAt],
    around: Surroundings,
) -> Series:
    """The series of these points, with the released plan's limits or those of the newest point.

    Raises Invalid `not_charted` for a record.
    """
    newest = [checkpoints[point.checkpoint_id] for point in points][-1:]
    meant = card or (newest[0] if newest else None)
    if meant is None or meant.kind not in CHARTED:
        raise Invalid("not_charted", "A record is a text and has no chart; choose a checkpoint with numbers.")
    unit = getattr(meant.spec, "unit_of_measure", "")
    readings, left_out = _readings(points, checkpoints, around, meant.kind, unit)
    return Series(
        family_code=subject.family.code, family_name=subject.family.name, key=meant.key, number=meant.number,
        title=meant.title, kind=meant.kind, unit_of_measure=unit, decimals=getattr(meant.spec, "decimals", 0),
        limits_text=kind_of(meant.kind).describe_limits(meant.spec), band=getattr(meant.spec, "band", None),
        asked_for=getattr(meant.spec, "counts", 1), readings=readings, left_out=left_out,
        counted=getattr(meant.spec, "counted", None) or "", paired_with=meant.paired_with,
        characteristic_id=meant.characteristic_id,
    )  # fmt: skip


def _readings(
    points: Collection[Point],
    checkpoints: Mapping[int, CheckpointAt],
    around: Surroundings,
    kind: str,
    unit: str,
) -> tuple[tuple[Reading, ...], tuple[str, ...]]:
    readings, other_kind, other_unit = [], 0, 0
    bands: dict[int, Band | None] = {}
    for point in points:
        at = checkpoints[point.checkpoint_id]
        if at.kind != kind and not {at.kind, kind} <= {"measured", "derived"}:
            other_kind += 1
            continue
        try:
            if at.id not in bands:
                bands[at.id] = _band_in(at, unit)
            readings.append(_reading(point, at, around, unit, bands[at.id]))
        except QcError:
            other_unit += 1
    said = []
    if other_kind:
        said.append(f"{other_kind} answers of another kind, from an earlier plan revision, are left out.")
    if other_unit:
        said.append(f"{other_unit} values are left out: their unit of measure does not convert to {unit}.")
    return tuple(readings), tuple(said)


def _band_in(at: CheckpointAt, unit: str) -> Band | None:
    """The limits of that revision in the series' unit of measure, converted exactly. Raises Invalid."""
    band: Band | None = getattr(at.spec, "band", None)
    own = getattr(at.spec, "unit_of_measure", "")
    if band is None or own == unit:
        return band
    lower, upper, nominal = (
        None if n is None else convert(n, own, unit) for n in (band.lower, band.upper, band.nominal)
    )
    return Band(lower, upper, nominal, natural=band.natural, allow_outside_nominal=True)


def _reading(point: Point, at: CheckpointAt, around: Surroundings, unit: str, band: Band | None) -> Reading:
    answer = json.loads(point.answer)
    own = getattr(at.spec, "unit_of_measure", "")
    texts = [converted(text, own, unit) for text in numbers_of(answer, at.kind)]
    if at.kind == "derived":  # stored with two decimals more; zeros there say nothing
        texts = [written(Decimal(text), at.spec.decimals) for text in texts]
    values = tuple(float(text) for text in texts)
    text = ", ".join(texts)
    if at.kind == "attribute":
        values = (0.0 if answer["conforms"] else 1.0,)
        text = "conforms" if answer["conforms"] else "does not conform"
    return Reading(
        serial=point.serial, item_id=point.item_id, result_id=point.result_id, text=text,
        value=sum(values) / len(values), values=values, outcome=point.outcome, recorded_at=point.recorded_at,
        revision=at.revision_letter, band=band, gauge=point.gauge_number,
        fixture=around.fixtures.get(point.item_id, ""), welder=around.welders.get(point.item_id, ""),
        inspector=point.person_name, shift=shift_at(point.recorded_at), lot=around.lots.get(point.item_id, ""),
        marks=_marks(point, around),
    )  # fmt: skip


def _marks(point: Point, around: Surroundings) -> tuple[str, ...]:
    marks = []
    before = ", ".join(around.replaced.get(point.result_id, ()))
    instead = f", before: {before}" if before else ""
    if point.purpose == "correction":
        marks.append(CORRECTED + instead)
    if point.purpose == "repeat":
        marks.append(AGAIN + instead)
    if point.flags:
        marks.append(f"{FLAGGED}: {', '.join(str(flag).replace('_', ' ') for flag in point.flags)}")
    if sources := around.reopened.get(point.item_id):
        marks.append(f"{LATER}, {', '.join(dict.fromkeys(sources))}")
    return tuple(marks)


def _events(series: Series, calibrations: list[tuple[str, date, str]]) -> tuple[Event, ...]:
    """New plan revisions, and calibrations between the window's first and last day, where they lie."""
    events = []
    for place in range(1, len(series.readings)):
        now, earlier = series.readings[place].revision, series.readings[place - 1].revision
        if now != earlier:
            events.append(Event(place, "revision", f"plan revision {now}"))
    days = [site_day(reading.recorded_at) for reading in series.readings]
    for gauge, on, outcome in calibrations:
        if days and days[0] < on <= days[-1]:
            place = next(index for index, day in enumerate(days) if day >= on)
            events.append(Event(place, "calibration", f"{gauge} calibrated, {outcome}", on))
    return tuple(sorted(events, key=lambda event: event.place))
