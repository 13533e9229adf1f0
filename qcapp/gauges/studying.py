"""Gauge studies: planned by metrology, read blind and in random order, computed once every reading is there.

Nobody sees a reading before the study is complete, the reader's own included: who remembers the last value repeats it.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from random import SystemRandom
from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction
from django.db.models import Count, Prefetch, Q

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotAllowed, NotFound, QcError, Refused
from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.quantities import parse_value
from qcapp.core.statistics.agreement import Appraiser, Kappa, appraisers_against_truth, fleiss_kappa
from qcapp.core.statistics.gauge_study import GaugeStudy, study
from qcapp.lib.plain_text import plain_text, shown
from qcapp.people.queries import people_by_badge
from qcapp.people.roles import Act
from qcapp.people.services import require

from .models import Study, StudyReading
from .queries import gauge_by_number

if TYPE_CHECKING:
    from qcapp.people.models import Person

PARTS, APPRAISERS, TRIALS = (2, 60), (2, 6), (2, 5)
RECENT = 40  # studies that are looked through for what somebody still has to read
_CHECKPOINT = re.compile(r"[A-Z0-9][A-Z0-9-]{0,19} [1-9][0-9]{0,5}")
WORDS = {"yes": True, "no": False}


@dataclass(frozen=True)
class Next:
    """What the person reads next: the part, and how far the person has come."""

    place: int
    part: int
    done: int
    of: int


@dataclass(frozen=True)
class ToRead:
    """A study in which a person has parts left to read."""

    id: int
    gauge_number: str
    title: str
    done: int
    of: int


@dataclass(frozen=True)
class StudyCard:
    """A study as far as it has come. `by_anova` and the others are None while readings are missing."""

    id: int
    gauge_number: str
    kind: str
    title: str
    unit_of_measure: str
    lower: Decimal | None
    upper: Decimal | None
    parts: int
    trials: int
    appraisers: tuple[str, ...]
    done: int
    of: int
    by_name: str
    at: datetime
    refusal: str = ""
    by_anova: GaugeStudy | None = None
    by_ranges: GaugeStudy | None = None
    agreement: dict[str, Appraiser] | None = None
    together: Kappa | None = None
    rows: tuple[tuple[str, int, tuple[str, ...]], ...] = ()
    checkpoint: str = ""
    truth: tuple[bool, ...] = ()  # of verdicts, once every reading is there

    @property
    def complete(self) -> bool:
        return self.done == self.of


def plan_study(
    *,
    by: Person,
    number: str,
    title: str,
    parts: int,
    trials: int,
    badges: Sequence[str],
    at: datetime,
    lower: Decimal | None = None,
    upper: Decimal | None = None,
    truth: Sequence[bool] = (),
    checkpoint: str = "",
) -> Study:
    """A study of this gauge: each of the people reads each part so many times, in an order drawn by chance.

    With `truth`, one for each part, it is a study of verdicts instead of values. `checkpoint` is the one that it is
    kept with, "FR-200 501". Raises NotAllowed, NotFound `gauge_unknown`, Invalid `study_size`, `study_people`,
    `study_truth`, `study_band`, `study_checkpoint` or of `plain_text`.
    """
    require(by, Act.KEEP_GAUGES, at)
    gauge = gauge_by_number(number, at)
    said = plain_text("What the study is for", title, longest=160)
    kept_with = _checkpoint(checkpoint)
    people = _appraisers(badges)
    _check_size(parts, trials, len(people))
    if truth and (len(truth) != parts or all(truth) or not any(truth)):
        raise Invalid("study_truth", f"Say of each of the {parts} parts whether it conforms; take good and bad ones.")
    if lower is not None and upper is not None and lower >= upper:
        raise Invalid("study_band", "The lower limit is not below the upper one; exchange them.")
    kind = Study.Kind.ATTRIBUTE if truth else Study.Kind.MEASURED
    order = _order([person.pk for person in people], parts, trials)
    with transaction.atomic():
        row = Study.objects.create(
            gauge_id=gauge.id, kind=kind, title=said, checkpoint=kept_with, unit_of_measure=gauge.unit_of_measure,
            lower=lower, upper=upper,
            parts=parts, trials=trials, truth=list(truth), order=order, by=by, at=at,
        )  # fmt: skip
        payload = {"title": said, "parts": parts, "trials": trials, "people": [person.badge for person in people]}
        subject = f"gauge {gauge.number}"
        audit.record(verb=Verb.GAUGE_STUDY_PLANNED, actor=by.uuid, subject=subject, at=at, payload=payload)
    return row


def _checkpoint(text: str) -> str:
    wanted = " ".join(text.upper().split())
    if wanted and not _CHECKPOINT.fullmatch(wanted):
        message = "Name the checkpoint by its family and number, such as FR-200 501, or leave it out."
        raise Invalid("study_checkpoint", message, field="checkpoint")
    return wanted


def _appraisers(badges: Sequence[str]) -> list[Person]:
    wanted = [badge.strip() for badge in badges if badge.strip()]
    known = people_by_badge(wanted)
    missing = [badge for badge in wanted if badge not in known]
    if missing:
        raise Invalid("study_people", f"No person has the badge {shown(missing[0])}. Check the badges.")
    found = list({known[badge].pk: known[badge] for badge in wanted}.values())
    if len(found) != len(wanted):
        raise Invalid("study_people", "Each person is named once.")
    return found


def _check_size(parts: int, trials: int, people: int) -> None:
    asked = (("parts", parts, PARTS), ("times", trials, TRIALS), ("people", people, APPRAISERS))
    for what, number, (least, most) in asked:
        if not least <= number <= most:
            raise Invalid("study_size", f"A study takes {least} to {most} {what}, not {number}.")


def _order(people: Sequence[int], parts: int, trials: int) -> list[list[int]]:
    """Round by round, each person through all parts in an order of its own."""
    chance = SystemRandom()
    order = []
    for _ in range(trials):
        for person in people:
            order += [[person, part] for part in chance.sample(range(1, parts + 1), parts)]
    return order


def next_reading(study_id: int, person: Person) -> Next | None:
    """What this person reads next; None when the person has read everything. Raises NotFound `study_unknown`,
    NotAllowed `study_not_yours`.
    """
    row = _study(study_id)
    own = [place for place, (key, _) in enumerate(row.order) if key == person.pk]
    if not own:
        raise NotAllowed("study_not_yours", "You are not one of the people who read in this study.")
    read = set(row.readings.values_list("place", flat=True))
    left = [place for place in own if place not in read]
    return Next(left[0], row.order[left[0]][1], len(own) - len(left), len(own)) if left else None


def studies_to_read(person: Person) -> list[ToRead]:
    """The studies in which this person has parts left to read, the latest first; one query."""
    mine = Count("readings", filter=Q(readings__by=person.pk))
    found = []
    for row in Study.objects.annotate(mine=mine).select_related("gauge").order_by("-id")[:RECENT]:
        own = sum(key == person.pk for key, _ in row.order)
        if row.mine < own:
            found.append(ToRead(row.pk, row.gauge.number, row.title, row.mine, own))
    return found


def record_reading(*, by: Person, study_id: int, place: int, value: str, at: datetime) -> None:
    """Keep the reading that is next for this person.

    Raises NotFound, NotAllowed as `next_reading`, Invalid `study_value`, Conflict `study_place` when another part is
    next, after a second tap for example.
    """
    require(by, Act.RECORD_RESULT, at)
    row = _study(study_id)
    text = _read(row, value)
    with transaction.atomic():
        found = next_reading(study_id, by)
        if found is None or found.place != place:
            raise Conflict("study_place", "That part was read already; look at what is next.")
        try:
            with transaction.atomic():
                StudyReading.objects.create(study=row, place=place, value=text, by=by, at=at)
        except IntegrityError:
            raise Conflict("study_place", "That part was read already; look at what is next.") from None
        if row.readings.count() == len(row.order):
            subject, payload = f"gauge {row.gauge.number}", {"title": row.title, "readings": len(row.order)}
            audit.record(verb=Verb.GAUGE_STUDY_READ, actor=by.uuid, subject=subject, at=at, payload=payload)


def _study(study_id: int) -> Study:
    row = Study.objects.select_related("gauge", "by").filter(pk=study_id).first()
    if row is None:
        raise NotFound("study_unknown", "There is no such gauge study; open it from its gauge.")
    return row


def _read(row: Study, value: str) -> str:
    if row.kind == Study.Kind.ATTRIBUTE:
        if value not in WORDS:
            raise Invalid("study_value", "Say whether the part conforms.")
        return value
    try:
        return format(parse_value(value), "f")
    except QcError as error:
        raise Invalid("study_value", error.message) from error


def studies_of(gauge_id: int) -> list[StudyCard]:
    """The studies of a gauge, the latest first; two queries, however many."""
    readings = Prefetch("readings", StudyReading.objects.select_related("by"))
    rows = Study.objects.filter(gauge=gauge_id).select_related("gauge", "by").prefetch_related(readings)
    return [_card(row, row.readings.all()) for row in rows.order_by("-id")]


def study_card(study_id: int) -> StudyCard:
    """The study; what it found once every reading is there. Raises NotFound `study_unknown`."""
    row = _study(study_id)
    return _card(row, row.readings.select_related("by"))


def studies_beside(numbers: Collection[str], checkpoint: str) -> tuple[list[StudyCard], list[StudyCard]]:
    """The latest complete study of measured values of each of these gauges, by number; and a checkpoint's own.

    The latter, "FR-200 501", are of any kind, the latest first. Two queries for both.
    """
    readings = Prefetch("readings", StudyReading.objects.select_related("by"))
    wanted = Q(gauge__number__in=numbers, kind=Study.Kind.MEASURED) | Q(checkpoint=checkpoint)
    rows = list(Study.objects.filter(wanted).select_related("gauge", "by").prefetch_related(readings).order_by("-id"))
    latest: dict[str, Study] = {}
    for row in rows:
        complete = len(row.readings.all()) == len(row.order)
        if complete and row.kind == Study.Kind.MEASURED and row.gauge.number in numbers:
            latest.setdefault(row.gauge.number, row)
    kept = [row for row in rows if row.checkpoint == checkpoint]
    of_gauges = [latest[number] for number in sorted(latest)]
    return [_card(row, row.readings.all()) for row in of_gauges], [_card(row, row.readings.all()) for row in kept]


def _card(row: Study, given: Iterable[StudyReading]) -> StudyCard:
    readings = {reading.place: reading for reading in given}
    names = {reading.by_id: reading.by.name for reading in readings.values()}
    keys = list(dict.fromkeys(key for key, _ in row.order))
    about = StudyCard(
        row.pk, row.gauge.number, row.kind, row.title, row.unit_of_measure, row.lower, row.upper, row.parts, row.trials,
        tuple(names.get(key, "not yet") for key in keys), len(readings), len(row.order), row.by.name, row.at,
        checkpoint=row.checkpoint,
    )  # fmt: skip
    return _found(about, row, {place: one.value for place, one in readings.items()}, names) if about.complete else about


def _found(about: StudyCard, row: Study, values: dict[int, str], names: dict[int, str]) -> StudyCard:
    cells: dict[tuple[str, int], list[str]] = defaultdict(list)
    for place, (key, part) in enumerate(row.order):
        cells[names[key], part].append(values[place])
    rows = tuple((name, part, tuple(some)) for (name, part), some in sorted(cells.items()))
    about = replace(about, rows=rows, truth=tuple(row.truth))
    try:
        if row.kind == Study.Kind.ATTRIBUTE:
            agreement, together = _agreement(cells, row)
            return replace(about, agreement=agreement, together=together)
        given = [(part, name, Decimal(value)) for (name, part), some in cells.items() for value in some]
        band = None if row.lower is None and row.upper is None else Band(row.lower, row.upper)
        return replace(
            about, by_anova=study(given, band=band), by_ranges=study(given, method="average_range", band=band)
        )
    except (Refused, Invalid) as refusal:
        return replace(about, refusal=refusal.message)


def _agreement(cells: dict[tuple[str, int], list[str]], row: Study) -> tuple[dict[str, Appraiser], Kappa]:
    names = sorted({name for name, _ in cells})
    verdicts = {
        name: [[WORDS[value] for value in cells[name, part]] for part in range(1, row.parts + 1)] for name in names
    }
    counts = []
    for part in range(1, row.parts + 1):
        said = [verdict for name in names for verdict in verdicts[name][part - 1]]
        counts.append([said.count(True), said.count(False)])
    return appraisers_against_truth(verdicts, row.truth), fleiss_kappa(counts)
