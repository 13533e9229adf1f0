"""Whether the recording is believable: hints to look, by checkpoint and gauge, never about a person.

Many tests are made on one page, so what is listed is controlled as a whole: of the hints shown at most one in twenty is
expected to be chance (Benjamini and Hochberg 1995, "Controlling the false discovery rate", Journal of the Royal
Statistical Society B 57; computed by scipy). Each hint names the innocent reasons that make the same pattern.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from itertools import pairwise

from scipy.stats import false_discovery_control

from qcapp.core.errors import QcError
from qcapp.core.metrology.bands import Band
from qcapp.core.statistics.plausibility import (
    Hint,
    answered_too_fast,
    heaping_inside_limit,
    last_digit_preference,
    repeated_values,
)

CHANCE = 0.05  # of what is listed, how much may be chance
SHORTEST = {"measured": 3.0, "attribute": 1.0, "count": 1.0}  # seconds for a quick check; our choice, no source
LONGEST_GAP = 1800.0  # seconds between two answers; more is a break and tells nothing

INNOCENT = {
    "last_digit_preference": (
        "A scale or display whose marks favour some digits, a coarse gauge, or a drawing whose nominal is hit exactly."
    ),
    "heaping_inside_lower_limit": "A part worked until it just fits heaps at its limit honestly; ask how it is made.",
    "heaping_inside_upper_limit": "A part worked until it just fits heaps at its limit honestly; ask how it is made.",
    "repeated_values": "A gauge coarser than the spread of the parts, or a process that is very steady.",
    "copied_unit": "A part made twice in one clamping, or values typed from one sheet for both; ask for the sheets.",
    "answered_too_fast": "Several checks read at one set-up and answered together, or a sheet of paper keyed in later.",
}
NAMES = {
    "last_digit_preference": "Last digits are not even",
    "heaping_inside_lower_limit": "Values heap just inside the lower limit",
    "heaping_inside_upper_limit": "Values heap just inside the upper limit",
    "repeated_values": "The same value follows itself too often",
    "copied_unit": "Values like those of the unit before",
    "answered_too_fast": "Answers faster than the check can be done",
}


@dataclass(frozen=True)
class Typed:
    """One answer as it was typed: its number where it has one, with what, and when; `seconds` since the answer before
    it on the same unit by the same person, None for a first answer or after a break."""

    key: str
    kind: str
    value: Decimal | None
    gauge: str
    seconds: float | None


@dataclass(frozen=True)
class Doubt:
    """One hint that chance does not explain. `adjusted` is the share of chance among hints as strong as this one.

    About a checkpoint, or about a whole unit (`serial`).
    """

    key: str
    number: int
    title: str
    gauge: str
    hint: Hint
    adjusted: float
    serial: str = ""

    @property
    def name(self) -> str:
        return NAMES[self.hint.kind]

    @property
    def chance(self) -> str:
        """The probability as a shop says it."""
        p = self.hint.p_value
        if p >= 1e-3:
            return f"1 in {round(1 / p):,}".replace(",", " ")
        return f"1 in {10 ** int(-math.log10(max(p, 1e-12))):,} or less".replace(",", " ")

    @property
    def innocent(self) -> str:
        return INNOCENT[self.hint.kind]


@dataclass(frozen=True)
class Checked:
    """A checkpoint as the page knows it."""

    key: str
    number: int
    title: str
    kind: str
    band: Band | None


@dataclass(frozen=True)
class Believability:
    """What stands out, the strongest first, of so many tests on so many answers."""

    doubts: tuple[Doubt, ...]
    tests: int
    answers: int


def seconds_between(order: Sequence[tuple[str, int, datetime]]) -> list[float | None]:
    """For answers (person, item, time): seconds since the same person's answer before it on the same item, in order."""
    places = sorted(range(len(order)), key=lambda place: (order[place][:2], order[place][2]))
    found: list[float | None] = [None] * len(order)
    for earlier, later in pairwise(places):
        if order[earlier][:2] == order[later][:2]:
            gap = (order[later][2] - order[earlier][2]).total_seconds()
            found[later] = gap if gap <= LONGEST_GAP else None
    return found


def believability_of(
    answers: Sequence[Typed], checked: Mapping[str, Checked], units: Sequence[tuple[str, Hint]] = ()
) -> Believability:
    """Every hint of every checkpoint and gauge, and of every unit, that chance does not explain."""
    found: list[tuple[Checked | None, str, Hint]] = list(_hints(answers, checked))
    found += [(None, serial, hint) for serial, hint in units]
    if not found:
        return Believability((), 0, len(answers))
    adjusted = false_discovery_control([max(hint.p_value, 0.0) for _, _, hint in found], method="bh")
    doubts = [_doubt(*one, float(share)) for one, share in zip(found, adjusted, strict=True) if share < CHANCE]
    ordered = sorted(doubts, key=lambda doubt: (doubt.adjusted, doubt.number, doubt.gauge))
    return Believability(tuple(ordered), len(found), len(answers))


def _doubt(one: Checked | None, where: str, hint: Hint, share: float) -> Doubt:
    if one is None:
        return Doubt("", 0, where, "", hint, share, serial=where)
    return Doubt(one.key, one.number, one.title, where, hint, share)


def _hints(answers: Sequence[Typed], checked: Mapping[str, Checked]) -> Iterable[tuple[Checked, str, Hint]]:
    by_gauge: dict[tuple[str, str], list[Decimal]] = defaultdict(list)
    gaps: dict[str, list[float]] = defaultdict(list)
    for answer in answers:
        if answer.value is not None:
            by_gauge[answer.key, answer.gauge].append(answer.value)
        if answer.seconds is not None:
            gaps[answer.key].append(answer.seconds)
    for (key, gauge), values in sorted(by_gauge.items()):
        for hint in _of_values(values, checked[key]):
            yield checked[key], gauge, hint
    for key, seconds in sorted(gaps.items()):
        shortest = SHORTEST.get(checked[key].kind)
        if shortest is not None:
            yield checked[key], "", answered_too_fast(seconds, shortest=shortest)


def _of_values(values: Sequence[Decimal], one: Checked) -> Iterable[Hint]:
    """The tests that these values allow; one that needs more of them is left out."""
    if one.kind != "measured":
        return
    tests: list[Callable[[], Iterable[Hint]]] = [
        lambda: [last_digit_preference(values)],
        lambda: [repeated_values(values)],
    ]
    if one.band is not None:
        band = one.band
        tests.append(lambda: heaping_inside_limit(values, band))
    for test in tests:
        try:
            yield from test()
        except QcError:
            continue
