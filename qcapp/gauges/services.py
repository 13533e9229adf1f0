"""The writers of gauges. A gauge is added once and never deleted; what happens to it is written beside it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotFound, Refused
from qcapp.core.metrology.quantities import as_text
from qcapp.lib.plain_text import plain_text, shown
from qcapp.lib.site_days import months_later, site_day
from qcapp.people.roles import Act
from qcapp.people.services import require

from .models import Calibration, CalibrationPoint, Gauge, GaugeBudget, GaugeKind, GaugeUse
from .points import Point, check_points, passed
from .queries import GaugeCard, KindCard, gauge_by_number, kind_card
from .usual_kinds import USUAL_KINDS, profile_of

if TYPE_CHECKING:
    from qcapp.people.models import Person

_NUMBER = re.compile(r"[A-Za-z0-9][A-Za-z0-9.-]{0,19}")  # no slash: the number stands in addresses
_KEY = re.compile(r"[a-z][a-z0-9_-]{0,39}")


def add_kind(*, by: Person, key: str, name: str, at: datetime) -> KindCard:
    """A new kind of gauge.

    Raises Invalid `gauge_kind_key`, a code of `plain_text`, Conflict `gauge_kind_taken`.
    """
    require(by, Act.KEEP_GAUGES, at)
    if not _KEY.fullmatch(key):
        raise Invalid(
            "gauge_kind_key",
            f"“{shown(key)}” is no key; use small letters, digits, - and _, like bore_gauge.",
        )
    name = plain_text("The name", name, longest=80)
    with transaction.atomic():
        try:
            with transaction.atomic():
                kind = GaugeKind.objects.create(key=key, name=name)
        except IntegrityError:
            raise Conflict("gauge_kind_taken", f"There is a kind of gauge “{key}” already; use it.", key=key) from None
        audit.record(
            verb=Verb.GAUGE_ADDED,
            actor=by.uuid,
            subject=f"gauge kind {key}",
            at=at,
            payload={"key": key, "name": name},
        )
    return kind_card(kind.key, kind.name)


@transaction.atomic
def add_usual_kinds(*, by: Person, at: datetime) -> list[KindCard]:
    """Those of USUAL_KINDS that are not there yet, added as by hand; gives them. Raises NotAllowed `not_permitted`."""
    require(by, Act.KEEP_GAUGES, at)
    there = set(GaugeKind.objects.values_list("key", flat=True))
    return [add_kind(by=by, key=key, name=name, at=at) for key, name in USUAL_KINDS.items() if key not in there]


def add_gauge(
    *,
    by: Person,
    number: str,
    kind_key: str,
    at: datetime,
    description: str = "",
    unit_of_measure: str = "",
    range_lower: Decimal | None = None,
    range_upper: Decimal | None = None,
    resolution: Decimal | None = None,
    interval_months: int = 12,
    needs_calibration: bool = True,
) -> GaugeCard:
    """A new gauge under the number on its label.

    Raises Invalid `gauge_number`, `gauge_range`, `gauge_resolution`, `gauge_interval`, a code of
    `plain_text`, NotFound `gauge_kind_unknown`, Conflict `gauge_number_taken` (also when only the case
    differs).
    """
    require(by, Act.KEEP_GAUGES, at)
    if not _NUMBER.fullmatch(number):
        message = f"“{shown(number)}” is no gauge number; use letters, digits, - and . only, like HG-07."
        raise Invalid("gauge_number", message)
    _check_measures(range_lower, range_upper, resolution, interval_months)
    details: dict[str, object] = {
        "description": plain_text("The description", description, longest=120, needed=False),
        "unit_of_measure": plain_text("The unit of measure", unit_of_measure, longest=12, needed=False),
        "range_lower": range_lower,
        "range_upper": range_upper,
        "resolution": resolution,
        "interval_months": interval_months,
        "needs_calibration": needs_calibration,
    }
    with transaction.atomic():
        _insert_gauge(number, _kind(kind_key), details)
        payload = {"number": number, "kind": kind_key} | {name: _plain(value) for name, value in details.items()}
        audit.record(verb=Verb.GAUGE_ADDED, actor=by.uuid, subject=f"gauge {number}", at=at, payload=payload)
    return gauge_by_number(number, at)


def _kind(key: str) -> GaugeKind:
    kind = None if "\0" in key else GaugeKind.objects.filter(key=key).first()
    if kind is None:
        raise NotFound("gauge_kind_unknown", f"There is no kind of gauge “{shown(key)}”; add the kind first.")
    return kind


def _insert_gauge(number: str, kind: GaugeKind, details: dict[str, object]) -> None:
    try:
        with transaction.atomic():
            Gauge.objects.create(number=number, kind=kind, **details)
    except IntegrityError:
        message = f"There is a gauge {number} already; give this one a number of its own."
        raise Conflict("gauge_number_taken", message, number=number) from None


def _check_measures(
    lower: Decimal | None, upper: Decimal | None, resolution: Decimal | None, interval_months: int
) -> None:
    numbers = [number for number in (lower, upper, resolution) if number is not None]
    if not all(number.is_finite() and len(as_text(number)) <= 40 for number in numbers):
        raise Invalid("gauge_range", "Range and resolution are plain numbers such as 0.01; correct them.")
    if lower is not None and upper is not None and lower >= upper:
        raise Invalid("gauge_range", "The range ends below its beginning; exchange the two ends.")
    if resolution is not None and resolution <= 0:
        raise Invalid("gauge_resolution", "The resolution must be above zero, for example 0.01.")
    if not 1 <= interval_months <= 120:
        raise Invalid("gauge_interval", "The calibration interval is 1 to 120 months.")


def record_calibration(
    *,
    by: Person,
    number: str,
    done_on: date,
    done_by: str,
    at: datetime,
    outcome: str = "",
    due_on: date | None = None,
    expanded_uncertainty: Decimal | None = None,
    certificate: str = "",
    points: Sequence[Point] = (),
    looked_at: Mapping[str, bool] | None = None,
) -> GaugeCard:
    """A calibration of a gauge; without `due_on` it is due again after the gauge's interval.

    Without `expanded_uncertainty` that of the gauge's budget counts. `looked_at` answers questions of its kind. With
    `points`, or a question answered by no, the outcome is computed, and one that says otherwise is refused. Raises
    NotFound `gauge_unknown`, Refused `gauge_retired`, Invalid `calibration_in_future`, `calibration_due_date`,
    `calibration_outcome`, `calibration_uncertainty`, `calibration_question`, `calibration_series`, a code of
    `check_points` or `plain_text`.
    """
    require(by, Act.KEEP_GAUGES, at)
    check_points(points)
    answers = dict(looked_at or {})
    outcome = _outcome(outcome, points, answers)
    if expanded_uncertainty is not None and not (expanded_uncertainty.is_finite() and expanded_uncertainty >= 0):
        raise Invalid("calibration_uncertainty", "The expanded uncertainty is a number from zero up, for example 0.02.")
    done_by = plain_text("Who calibrated it", done_by, longest=120)
    certificate = plain_text("The certificate's number", certificate, longest=60, needed=False)
    with transaction.atomic():
        gauge = _locked(number)
        _check_own_questions(gauge, points, answers)
        if expanded_uncertainty is None:
            expanded_uncertainty = _budgeted(gauge)
        due_on = due_on or months_later(done_on, gauge.interval_months)
        _check_days(done_on, due_on, site_day(at))
        row = Calibration.objects.create(
            gauge=gauge, done_on=done_on, due_on=due_on, outcome=outcome, certificate=certificate,
            expanded_uncertainty=expanded_uncertainty, done_by=done_by, looked_at=list(answers.items()),
            recorded_by_id=by.pk, recorded_at=at,
        )  # fmt: skip
        CalibrationPoint.objects.bulk_create(
            CalibrationPoint(calibration=row, position=place, **asdict(point)) for place, point in enumerate(points, 1)
        )
        payload = _calibration_told(row, points)
        audit.record(verb=Verb.GAUGE_CALIBRATED, actor=by.uuid, subject=f"gauge {gauge.number}", at=at, payload=payload)
    return gauge_by_number(gauge.number, at)


def _budgeted(gauge: Gauge) -> Decimal | None:
    rows = GaugeBudget.objects.filter(gauge=gauge).order_by("-id")
    return rows.values_list("expanded", flat=True).first()


def _calibration_told(row: Calibration, points: Sequence[Point]) -> dict[str, object]:
    return {
        "done_on": row.done_on.isoformat(), "due_on": row.due_on.isoformat(), "outcome": str(row.outcome),
        "expanded_uncertainty": _plain(row.expanded_uncertainty), "certificate": row.certificate,
        "done_by": row.done_by,
        "points": [{name: _plain(value) for name, value in asdict(point).items()} for point in points],
        "looked_at": dict(row.looked_at),
    }  # fmt: skip


def _check_own_questions(gauge: Gauge, points: Sequence[Point], answers: Mapping[str, bool]) -> None:
    """Raises Refused `gauge_retired`, Invalid `calibration_question`, `calibration_series`."""
    _refuse_retired(gauge)
    profile = profile_of(gauge.kind.key)
    strange = [question for question in answers if question not in profile.questions]
    if strange:
        message = f"“{shown(strange[0])}” is not asked of a {gauge.kind.name}; answer its own questions."
        raise Invalid("calibration_question", message)
    wrong = [point.series for point in points if point.series and point.series not in profile.series]
    if wrong:
        known = ", ".join(profile.series) or "none"
        message = f"A {gauge.kind.name} has no “{shown(wrong[0])}”; its points are taken on: {known}."
        raise Invalid("calibration_series", message)


def _outcome(said: str, points: Sequence[Point], answers: Mapping[str, bool]) -> str:
    """What the points and answers say, or what was said where they leave it open."""
    if not all(answers.values()):
        if said == Calibration.Outcome.PASSED:
            bad = next(question for question, good in answers.items() if not good)
            message = f"“{bad}” was answered by no, so it has not passed; correct the answer or the word."
            raise Invalid("calibration_outcome", message)
        return Calibration.Outcome.FAILED.value
    if not points:
        if said not in Calibration.Outcome.values:
            raise Invalid("calibration_outcome", "A calibration has passed or failed; choose one of the two.")
        return said
    computed = Calibration.Outcome.PASSED if passed(points) else Calibration.Outcome.FAILED
    if said and said != computed:
        message = f"By its points it has {computed.label}, not {shown(said)}; correct the points or the word."
        raise Invalid("calibration_outcome", message)
    return computed.value


def _check_days(done_on: date, due_on: date, today: date) -> None:
    if done_on > today:
        raise Invalid("calibration_in_future", "The calibration is dated in the future; write the day it was done.")
    if due_on <= done_on:
        raise Invalid("calibration_due_date", "The due date is not after the calibration; correct one of the two.")


def retire(*, by: Person, number: str, reason: str, at: datetime) -> GaugeCard:
    """The gauge is gone for good: worn out, lost, sold. Its number stays taken and everything it measured stays.

    Raises NotFound `gauge_unknown`, Refused `gauge_retired`, Invalid with a code of `plain_text`.
    """
    return _use(GaugeUse.Kind.RETIRED, Verb.GAUGE_RETIRED, by=by, number=number, reason=reason, at=at)


def take_out_of_use(*, by: Person, number: str, reason: str, at: datetime) -> GaugeCard:
    """From now on nobody may measure with this gauge.

    Raises NotFound `gauge_unknown`, Refused `gauge_already_out_of_use`, `gauge_retired`, Invalid with a code of
    `plain_text`.
    """
    return _use(GaugeUse.Kind.OUT, Verb.GAUGE_TAKEN_OUT_OF_USE, by=by, number=number, reason=reason, at=at)


def put_back_in_use(*, by: Person, number: str, reason: str, at: datetime) -> GaugeCard:
    """A gauge that was out of use may be measured with again, if its calibration stands.

    Raises NotFound `gauge_unknown`, Refused `gauge_not_out_of_use`, `gauge_retired`, Invalid with a code of
    `plain_text`.
    """
    return _use(GaugeUse.Kind.BACK, Verb.GAUGE_PUT_BACK_IN_USE, by=by, number=number, reason=reason, at=at)


def set_aside(*, by: Person, number: str, reason: str, at: datetime) -> GaugeCard:
    """A dropped or doubtful gauge, out of use from now on by whoever has it in hand. One that is out already stays so.

    Raises NotAllowed `not_permitted`, NotFound `gauge_unknown`, Invalid with a code of `plain_text`.
    """
    require(by, Act.DOUBT_GAUGE, at)
    reason = plain_text("The reason", reason, longest=200)
    with transaction.atomic():
        gauge = _locked(number)
        last = gauge.uses.order_by("-at", "-id").first()
        if last is None or last.kind == GaugeUse.Kind.BACK:
            GaugeUse.objects.create(gauge=gauge, kind=GaugeUse.Kind.OUT, reason=reason, by_id=by.pk, at=at)
            subject, payload = f"gauge {gauge.number}", {"reason": reason, "from": "the bench"}
            audit.record(verb=Verb.GAUGE_TAKEN_OUT_OF_USE, actor=by.uuid, subject=subject, at=at, payload=payload)
    return gauge_by_number(gauge.number, at)


def _use(kind: GaugeUse.Kind, verb: Verb, *, by: Person, number: str, reason: str, at: datetime) -> GaugeCard:
    require(by, Act.KEEP_GAUGES, at)
    reason = plain_text("The reason", reason, longest=200)
    with transaction.atomic():
        gauge = _locked(number)
        last = gauge.uses.order_by("-at", "-id").first()
        _refuse_retired(gauge)
        is_out = last is not None and last.kind == GaugeUse.Kind.OUT
        if kind == GaugeUse.Kind.OUT and is_out:
            raise Refused("gauge_already_out_of_use", f"Gauge {gauge.number} is out of use already.")
        if kind == GaugeUse.Kind.BACK and not is_out:
            raise Refused("gauge_not_out_of_use", f"Gauge {gauge.number} is not out of use; nothing to put back.")
        GaugeUse.objects.create(gauge=gauge, kind=kind, reason=reason, by_id=by.pk, at=at)
        audit.record(verb=verb, actor=by.uuid, subject=f"gauge {gauge.number}", at=at, payload={"reason": reason})
    return gauge_by_number(gauge.number, at)


def _refuse_retired(gauge: Gauge) -> None:
    last = gauge.uses.order_by("-at", "-id").first()
    if last is not None and last.kind == GaugeUse.Kind.RETIRED:
        message = f"Gauge {gauge.number} is retired; nothing more is done with it. Use another one."
        raise Refused("gauge_retired", message)


def _locked(number: str) -> Gauge:
    """The gauge's row, locked until the transaction ends, so that two acts on one gauge follow each other."""
    return Gauge.objects.select_for_update().get(pk=gauge_by_number(number).id)


def _plain(value: object) -> object:
    return as_text(value) if isinstance(value, Decimal) else value
