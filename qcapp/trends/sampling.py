"""What one point of a chart of attributes stands for, and a window that is counted in such points.

A sample is so many units in a row, the pieces drawn from a lot, a day or a week of the site. A chart of samples needs
twenty or so of them, however many answers each has: its window is counted in samples.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from qcapp.core.errors import Invalid
from qcapp.lib.site_days import site_day

if TYPE_CHECKING:
    from datetime import datetime

    from .readings import Reading

Group = Literal["units", "lots", "days", "weeks"]
GROUPS: dict[Group, str] = {"units": "units in a row", "lots": "one lot", "days": "one day", "weeks": "one week"}
SAMPLE_SIZE = 10  # units of one sample on a chart of attributes
FEWEST_SAMPLES, USUAL_SAMPLES, MOST_SAMPLES = 2, 25, 100
MOST_ANSWERS = 5000  # of one page: a hundred samples of fifty


@dataclass(frozen=True)
class Sampled:
    """A window of the last `samples` points; `size` units make one where they are taken in a row."""

    samples: int = USUAL_SAMPLES
    group: Group = "units"
    size: int = SAMPLE_SIZE

    @property
    def answers(self) -> int:
        """How many answers the samples take at most."""
        return self.samples * self.size if self.group == "units" else MOST_ANSWERS

    def check(self) -> None:
        """Raises Invalid `window_out_of_range`."""
        if not FEWEST_SAMPLES <= self.samples <= MOST_SAMPLES:
            said = f"Choose from {FEWEST_SAMPLES} to {MOST_SAMPLES} samples for one page."
            raise Invalid("window_out_of_range", said, samples=self.samples)
        if self.answers > MOST_ANSWERS:
            said = f"One page takes {MOST_ANSWERS:,} answers; choose fewer samples, or smaller ones."
            raise Invalid("window_out_of_range", said, samples=self.samples, size=self.size)


WIDEST = Sampled(MOST_SAMPLES, "units", MOST_ANSWERS // MOST_SAMPLES)  # every answer that a page can show


def most_samples(size: int) -> int:
    """How many samples of so many units one page takes."""
    return max(FEWEST_SAMPLES, min(MOST_SAMPLES, MOST_ANSWERS // max(1, size)))


def is_sampled(kind: str, group: Group) -> bool:
    """Whether a point of such a chart stands for several answers."""
    return kind == "attribute" or (kind == "count" and group != "units")


def day_of(at: datetime) -> str:
    """The site's day, such as 2026-03-17."""
    return site_day(at).isoformat()


def week_of(at: datetime) -> str:
    """The site's week by ISO 8601, such as 2026-W12."""
    year, week, _ = site_day(at).isocalendar()
    return f"{year}-W{week:02}"


NAMED: dict[Group, Callable[[Reading], str]] = {
    "lots": lambda reading: reading.lot,
    "days": lambda reading: day_of(reading.recorded_at),
    "weeks": lambda reading: week_of(reading.recorded_at),
}


def samples_by(readings: Sequence[Reading], group: Group) -> list[tuple[str, list[Reading]]]:
    """The readings of each lot, day or week under its name, in the order in which they begin.

    What was not drawn from a lot is in none.
    """
    found: dict[str, list[Reading]] = {}
    for reading in readings:
        found.setdefault(NAMED[group](reading), []).append(reading)
    return [(name, some) for name, some in found.items() if name]
