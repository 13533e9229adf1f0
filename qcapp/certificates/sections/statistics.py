"""What the family's last units measured at the same checkpoints. Off unless chosen: it tells about other units."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import fmean, stdev
from typing import TYPE_CHECKING

from qcapp.trends.characteristic import MEASURING
from qcapp.trends.queries.watching import watch_of

from .record import Record

if TYPE_CHECKING:
    from qcapp.trends.watch import Watched

FEWEST = 2  # readings of which a spread can be told
MEAN_DECIMALS, SPREAD_DECIMALS = 1, 2  # more than the plan's


@dataclass(frozen=True)
class Spread:
    """One checkpoint. Numbers are text; `capability` is Ppk with its 95 % interval, empty where none can be given."""

    number: int
    title: str
    unit_of_measure: str
    units: int
    mean: str
    spread: str
    lowest: str
    highest: str
    capability: str


@dataclass(frozen=True)
class Statistics:
    """The measured checkpoints in the plan's order, over at most `units` of the family's last units."""

    shown: bool
    units: int
    lines: tuple[Spread, ...]


def build(record: Record) -> Statistics:
    """The family as it stood at issue."""
    if not record.choice.statistics:
        return Statistics(False, 0, ())
    asked = {one.card.key for one in record.standing.due}
    found = watch_of(record.standing.inspection.unit.family_code, until=record.issued_at)
    chosen = [one for one in found.entries if _tells(one) and one.series.key in asked]
    return Statistics(True, found.units, tuple(_line(one) for one in sorted(chosen, key=lambda one: one.series.number)))


def _tells(one: Watched) -> bool:
    return one.series.kind in MEASURING and len(one.series.readings) >= FEWEST


def _line(one: Watched) -> Spread:
    series = one.series
    return Spread(
        number=series.number,
        title=series.title,
        unit_of_measure=series.unit_of_measure,
        units=len(series.readings),
        mean=_text(fmean(series.values), series.decimals + MEAN_DECIMALS),
        spread=_text(stdev(series.values), series.decimals + SPREAD_DECIMALS),
        lowest=_text(min(series.values), series.decimals),
        highest=_text(max(series.values), series.decimals),
        capability=_capability(one),
    )


def _text(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def _capability(one: Watched) -> str:
    index = one.fitness.deciding if one.fitness else None
    return "" if index is None else f"{index.estimate:.2f} ({index.lower:.2f} to {index.upper:.2f})"
