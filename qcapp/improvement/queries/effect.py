"""Whether a corrective action helped: units before its date against units after it, without those that triggered it.

A unit counts with its first inspection of the first round, as on the charts; an answer that waits for a second
inspection does not count yet. The units whose reports the action answers are left out on both sides: they were chosen
because they failed, and a rate that holds them falls by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from qcapp.core.checkpoints.kinds import Outcome, passes
from qcapp.core.errors import QcError
from qcapp.core.statistics.comparison import Counted, MeanChange, ShareChange, mean_change, share_change
from qcapp.inspections.queries import adopted, series
from qcapp.lib.site_days import site_day
from qcapp.plans.queries import CheckpointCard
from qcapp.production.queries import units_of_items

from ..models import CorrectiveAction, ReportPlace
from ..words import percent
from .actions import action_row

LONGEST = 1000  # results of a characteristic, or units of a family, that are looked at
SURE = 0.05  # a change that chance makes less often than this counts as one
FIXTURE_KEY = "fixture"


@dataclass(frozen=True)
class UnitSeen:
    """One unit as it counts: when, whether it was out of band, and its value where there is one."""

    item_id: int
    serial: str
    at: datetime
    failed: bool
    value: float | None = None


@dataclass(frozen=True)
class Effect:
    """What the comparison says. `code` is better, worse, not_told, not_enough or not_counted."""

    code: str
    sentence: str
    since: date
    before: Counted
    after: Counted
    wanted: int
    left_out: int
    shares: ShareChange | None = None
    means: MeanChange | None = None
    means_sentence: str = ""
    unit_of_measure: str = ""
    decimals: int = 0
    values_before: tuple[float, ...] = ()
    values_after: tuple[float, ...] = ()


def effect_of(number: str) -> Effect | None:
    """The effect of an action so far; None before it has a date. Raises NotFound `action_unknown`."""
    row = action_row(number)
    since = row.status.effective_on
    if since is None:
        return None
    seen, card = _units(row)
    left_out = set(row.reports.values_list("report__item_id", flat=True))
    counted = [one for one in seen if one.item_id not in left_out]
    before = [one for one in counted if site_day(one.at) < since]
    after = [one for one in counted if site_day(one.at) >= since]
    return _judged(row, since, before, after, len(seen) - len(counted), card)


def _judged(
    row: CorrectiveAction,
    since: date,
    before: list[UnitSeen],
    after: list[UnitSeen],
    left_out: int,
    card: CheckpointCard | None,
) -> Effect:
    wanted = row.status.units_wanted
    one, two = _counted(before), _counted(after)
    shares = share_change(one, two) if one.of and two.of else None
    code, sentence = _verdict(row, one, two, wanted, shares)
    values = tuple(tuple(u.value for u in some if u.value is not None) for some in (before, after))
    means = _means(*values)
    measure = str(getattr(card.spec, "unit_of_measure", "")) if card else ""
    decimals = int(getattr(card.spec, "decimals", 0)) if card else 0
    return Effect(
        code, sentence, since, one, two, wanted, left_out, shares, means, _said(means, measure, decimals), measure,
        decimals, *values,
    )  # fmt: skip


def _verdict(
    row: CorrectiveAction, before: Counted, after: Counted, wanted: int, shares: ShareChange | None
) -> tuple[str, str]:
    """The code and the sentence; a rate is compared only when enough units were made."""
    if row.basis == "supplier":
        return "not_counted", "Units cannot be counted for a supplier; judge by the deliveries taken in since."
    if after.of < wanted:
        return "not_enough", f"Not enough units yet: {after.of} of {wanted}."
    if shares is None:
        return "not_enough", "No unit from before the date is left to compare with, besides those that triggered it."
    said = (
        f"Out of band: {before.found} of {before.of} before ({percent(before.share)}), {after.found} of {after.of} "
        f"since ({percent(after.share)})."
    )
    chance = f"Chance alone does as much in {percent(shares.p_value)} of such cases."
    if shares.p_value >= SURE:
        return "not_told", f"{said} {chance} That cannot be told from chance."
    return ("better" if after.share < before.share else "worse"), f"{said} {chance}"


def _counted(units: list[UnitSeen]) -> Counted:
    return Counted(sum(one.failed for one in units), len(units))


def _means(before: tuple[float, ...], after: tuple[float, ...]) -> MeanChange | None:
    try:
        return mean_change(before, after)
    except QcError:  # fewer than two on a side, or all the same
        return None


def _said(means: MeanChange | None, measure: str, decimals: int) -> str:
    if means is None:
        return ""
    places = decimals + 1
    change = means.change
    unit = f" {measure}" if measure else ""
    surely = "changed" if means.p_value < SURE else "did not surely change"
    return (
        f"The mean {surely}: {means.before.mean:.{places}f} before, {means.after.mean:.{places}f}{unit} since; the "
        f"change of {change.estimate:+.{places}f} lies between {change.lower:+.{places}f} and "
        f"{change.upper:+.{places}f}{unit}, and chance alone does as much in {percent(means.p_value)} of such cases."
    )


# ------------------------------------------------------------------------------------------------- counting units


def _units(row: CorrectiveAction) -> tuple[list[UnitSeen], CheckpointCard | None]:
    """Every unit that counts for this action, and the checkpoint where there is one with values."""
    counters: dict[str, Callable[[CorrectiveAction], list[UnitSeen]]] = {
        "joint": _of_joint,
        "fixture": lambda one: _of_family(one, fixture=one.value),
        "cause": lambda one: _of_family(one, cause=one.value),
    }
    if row.basis == "checkpoint":
        return _of_checkpoint(row)
    return counters.get(row.basis, lambda one: [])(row), None


def _of_checkpoint(row: CorrectiveAction) -> tuple[list[UnitSeen], CheckpointCard | None]:
    card = next((one for one in _cards(row) if one.characteristic_id == row.characteristic_id), None)
    measured = card is not None and card.kind in {"measured", "derived"}
    points = series.last_points(row.characteristic_id or 0, LONGEST)
    seen = [
        UnitSeen(p.item_id, p.serial, p.recorded_at, _failed(p.outcome), p.plot if measured else None) for p in points
    ]
    return seen, card if measured else None


def _of_joint(row: CorrectiveAction) -> list[UnitSeen]:
    """A unit is out where any checkpoint of the joint was."""
    wanted = [one.characteristic_id for one in _cards(row) if one.joint == row.value]
    items = series.newest_items(row.family_id or 0, LONGEST)
    by_item: dict[int, list[Any]] = {}
    for points in series.points_of_items(items, wanted).points.values():
        for point in points:
            by_item.setdefault(point.item_id, []).append(point)
    seen = [
        UnitSeen(item, some[0].serial, max(p.recorded_at for p in some), any(_failed(p.outcome) for p in some))
        for item, some in by_item.items()
    ]
    return sorted(seen, key=lambda one: (one.at, one.item_id))


def _of_family(row: CorrectiveAction, *, fixture: str = "", cause: str = "") -> list[UnitSeen]:
    """Units of the family by the day they were opened; out where a report of this fixture or cause is about them."""
    items = series.newest_items(row.family_id or 0, LONGEST)
    if fixture:
        keys = [one.characteristic_id for one in _cards(row) if one.key == FIXTURE_KEY and one.kind == "record"]
        built_in = series.texts_of(items, keys) if keys else {}
        items = [item for item in items if built_in.get(item) == fixture]
    failed = _reported(items, fixture, cause)
    cards = units_of_items(items).values()
    seen = [UnitSeen(one.item_id, one.serial, one.opened_at, one.item_id in failed) for one in cards]
    return sorted(seen, key=lambda one: (one.at, one.item_id))


def _reported(items: Collection[int], fixture: str, cause: str) -> set[int]:
    rows = ReportPlace.objects.filter(report__item__in=items).exclude(report__status__state="withdrawn")
    rows = rows.filter(report__status__cause=cause) if cause else rows.filter(fixture=fixture)
    return set(rows.values_list("report__item_id", flat=True))


def _failed(outcome: str) -> bool:
    return not passes(Outcome(outcome))


def _cards(row: CorrectiveAction) -> list[CheckpointCard]:
    """The checkpoints of the plan that the family's newest unit is inspected to."""
    newest = series.newest_items(row.family_id or 0, 1)
    return list(adopted(newest[0]).checkpoints) if newest else []
