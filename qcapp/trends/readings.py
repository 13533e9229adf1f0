"""A reading as charts see it, and the row of them over one window. Plain values; read by `queries`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from qcapp.core.checkpoints.counted import counted_numbers
from qcapp.core.metrology.quantities import as_text, convert

if TYPE_CHECKING:
    from qcapp.core.metrology.bands import Band

RULE = (
    "First round and first inspection only; after a correction or a repeat, the value that stands. A value that waits "
    "for its second inspection comes in when that is given."
)


@dataclass(frozen=True)
class Reading:
    """One unit's answer. `text` is exact, in the series' unit of measure; `values` are its numbers as floats.

    `value` is their mean (the one number where one was asked for), 1 or 0 for does not conform or conforms. `shift`,
    `welder`, `fixture`, `gauge` and `inspector` are empty where nothing was recorded, `lot` where it was not asked
    for. `marks` are words for the chart.
    """

    serial: str
    item_id: int
    result_id: int
    text: str
    value: float
    values: tuple[float, ...]
    outcome: str
    recorded_at: datetime
    revision: str
    band: Band | None
    gauge: str = ""
    fixture: str = ""
    welder: str = ""
    inspector: str = ""
    shift: str = ""
    lot: str = ""
    marks: tuple[str, ...] = ()


@dataclass(frozen=True)
class LeftOut:
    """A reading that a person left out of charts and of what is computed from them, with the reason."""

    reading: Reading
    reason: str
    by_name: str
    at: datetime


@dataclass(frozen=True)
class Event:
    """Something that may explain a step, in front of the reading at `place` (from 0)."""

    place: int
    kind: str  # revision | calibration
    words: str
    on: date | None = None


@dataclass(frozen=True)
class Series:
    """The readings of one characteristic over a window, the oldest first, with today's limits.

    `left_out` are sentences about answers that could not be used. `band` and `unit_of_measure` are those of the
    released plan, or of the newest reading where the plan no longer asks for the characteristic.
    """

    family_code: str
    family_name: str
    key: str
    number: int
    title: str
    kind: str
    unit_of_measure: str
    decimals: int
    limits_text: str
    band: Band | None
    asked_for: int
    readings: tuple[Reading, ...]
    events: tuple[Event, ...] = ()
    left_out: tuple[str, ...] = ()
    counted: str = ""
    paired_with: str = ""
    characteristic_id: int = 0
    excluded: tuple[LeftOut, ...] = ()

    @property
    def values(self) -> list[float]:
        return [reading.value for reading in self.readings]

    @property
    def noun(self) -> str:
        """What the units are called in a sentence, in the plural: the last word of the family's name."""
        word = self.family_name.split()[-1].lower() if self.family_name.split() else ""
        return f"{word}s" if word.isalpha() and not word.endswith("s") else "units"

    def number_text(self, value: float, extra: int = 0) -> str:
        """A computed number with the plan's decimals and `extra` more, without its unit."""
        text = f"{value:.{max(0, self.decimals + extra)}f}"
        return (text[1:] if float(text) == 0 and text.startswith("-") else text).replace("-", "−")


def converted(text: str, from_unit: str, to_unit: str) -> str:
    """The typed number in another unit of measure, exactly. Raises Invalid `unit_unknown`, `unit_mismatch`."""
    return text if from_unit == to_unit else as_text(convert(Decimal(text), from_unit, to_unit))


def numbers_of(answer: dict[str, Any], kind: str) -> list[str]:
    """The numbers of a stored answer as they count: as typed, or what the plan makes of them; none for a text."""
    if kind == "count":
        return [str(answer["count"])]
    if kind == "attribute":
        return []
    return counted_numbers(answer)


def step_of(series: Series) -> float:
    """The smallest step in which the values were typed; 1 for counts, 0 without values."""
    if series.kind not in {"measured", "derived"}:
        return 1.0
    texts = [text for reading in series.readings for text in reading.text.split(", ") if text]
    if not texts:
        return 0.0
    places = max(-int(Decimal(text).as_tuple().exponent) for text in texts)
    return float(10.0 ** -max(0, min(places, series.decimals + 3)))
