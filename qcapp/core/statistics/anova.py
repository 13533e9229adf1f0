"""Splitting the spread of readings by its sources, and comparing spreads and shares between groups.

Sums of squares are exact fractions for up to EXACT_UP_TO readings (see `moments`), so groups that differ in
the last of many digits keep all of it; above that they are computed about the overall mean. Checked against
NIST StRD.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain

import numpy

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics.distributions import f_above, normal_above, stats
from qcapp.core.statistics.moments import EXACT_UP_TO, Scaled, root, scaled
from qcapp.core.statistics.readings import Values, as_floats


@dataclass(frozen=True)
class OneWay:
    """One-way analysis of variance; `p_value` is the probability of so large an F among equal means."""

    ss_between: float
    ss_within: float
    dof_between: int
    dof_within: int
    f: float
    p_value: float
    r_squared: float
    residual_sd: float


def one_way(groups: Sequence[Values]) -> OneWay:
    """Whether the means of groups differ more than their spread explains; groups may differ in size.

    Raises Refused `too_few_groups` (under two, or an empty one), `no_repeats` (one reading in each),
    `no_spread`.
    """
    split = exact_groups(groups)
    sizes = [len(group) for group in split.groups]
    if len(sizes) < 2 or min(sizes) < 1:
        raise Refused("too_few_groups", "Comparing means takes two or more groups with readings in each.")
    n, dof_between = sum(sizes), len(sizes) - 1
    if n == len(sizes):
        raise Refused("no_repeats", "Each group holds one reading; take a second one in at least one group.")
    totals = [sum(group) for group in split.groups]
    middle = Fraction(sum(totals)) ** 2 / n
    between = sum(Fraction(t) ** 2 / size for t, size in zip(totals, sizes, strict=True)) - middle
    total = sum(Fraction(x) ** 2 for x in chain.from_iterable(split.groups)) - middle
    return _one_way_of(between, total - between, dof_between, n - len(sizes), split.step)


def _one_way_of(between: Fraction, within: Fraction, dof_between: int, dof_within: int, step: Fraction) -> OneWay:
    if between + within == 0:
        raise Refused("no_spread", "All readings are equal, so there is nothing to compare.")
    f = float(between / dof_between / (within / dof_within)) if within else math.inf
    return OneWay(
        float(between * step**2),
        float(within * step**2),
        dof_between,
        dof_within,
        f,
        f_above(f, dof_between, dof_within),
        float(between / (between + within)),
        root(within / dof_within * step**2),
    )


@dataclass(frozen=True)
class Split:
    """Groups of exact numbers; a reading is number × step (plus an offset that sums of squares do not
    feel)."""

    groups: list[list[Fraction]]
    step: Fraction


def exact_groups(groups: Sequence[Values]) -> Split:
    """The groups as exact numbers of one step. Raises Invalid `reading_not_a_number`."""
    sizes = [len(group) for group in groups]
    everything = list(chain.from_iterable(groups))
    if not everything:
        raise Refused("too_few_groups", "There are no readings; give two or more groups.")
    together = scaled(everything) if len(everything) <= EXACT_UP_TO else _centred(everything)
    numbers = iter(together.whole)
    return Split([[Fraction(next(numbers)) for _ in range(size)] for size in sizes], together.step)


def _centred(values: Values) -> Scaled:
    """Large sets: distances from the first mean in steps of 2^-k of the largest, with 60 binary digits."""
    x = as_floats(values)
    x = x - x.mean()
    largest = float(numpy.abs(x).max()) or 1.0
    step = Fraction(2) ** (math.frexp(largest)[1] - 60)
    return Scaled([round(Fraction(value) / step) for value in x.tolist()], step)


@dataclass(frozen=True)
class TwoWay:
    """Sums of squares of a crossed, balanced layout with repeats: factor a, factor b, both together,
    repeats."""

    ss_a: float
    ss_b: float
    ss_interaction: float
    ss_repeats: float
    dof_a: int
    dof_b: int
    dof_interaction: int
    dof_repeats: int

    @property
    def ss_total(self) -> float:
        return self.ss_a + self.ss_b + self.ss_interaction + self.ss_repeats


def two_way(table: Sequence[Sequence[Values]]) -> TwoWay:
    """Two-way analysis of `table[a][b]`, each cell holding the same number of repeats (two or more).

    Raises Refused `unbalanced` when cells differ in size, `too_few_groups` under two by two by two.
    """
    rows, columns = len(table), len(table[0]) if table else 0
    repeats = len(table[0][0]) if columns else 0
    if any(len(row) != columns for row in table) or any(len(cell) != repeats for row in table for cell in row):
        raise Refused("unbalanced", "Every cell must hold the same number of readings; complete the table.")
    if min(rows, columns, repeats) < 2:
        raise Refused("too_few_groups", "Two ways take at least two rows, two columns and two readings in each.")
    split = exact_groups([cell for row in table for cell in row])
    return _two_way_of(split, rows, columns, repeats)


def _two_way_of(split: Split, rows: int, columns: int, repeats: int) -> TwoWay:
    cells = [sum(group) for group in split.groups]
    by_row = [sum(cells[r * columns : (r + 1) * columns]) for r in range(rows)]
    by_column = [sum(cells[c::columns]) for c in range(columns)]
    middle = Fraction(sum(cells)) ** 2 / (rows * columns * repeats)
    a = _squares(by_row) / (columns * repeats) - middle
    b = _squares(by_column) / (rows * repeats) - middle
    both = _squares(cells) / repeats - middle - a - b
    within = _squares(list(chain.from_iterable(split.groups))) - _squares(cells) / repeats
    square = split.step**2
    return TwoWay(
        ss_a=float(a * square),
        ss_b=float(b * square),
        ss_interaction=float(both * square),
        ss_repeats=float(within * square),
        dof_a=rows - 1,
        dof_b=columns - 1,
        dof_interaction=(rows - 1) * (columns - 1),
        dof_repeats=rows * columns * (repeats - 1),
    )


def _squares(numbers: Sequence[Fraction | int]) -> Fraction:
    return sum((Fraction(number) ** 2 for number in numbers), Fraction(0))


@dataclass(frozen=True)
class Comparison:
    """A test: its name, its statistic and the probability of one as large when nothing differs."""

    test: str
    statistic: float
    p_value: float


def compare_spreads(groups: Sequence[Values], *, normal: bool = False) -> Comparison:
    """Whether groups spread equally: Levene's test about the medians, or Bartlett's when the readings are
    `normal`.

    Raises Refused `too_few_groups` under two groups of two, `no_spread` when some group does not vary at all.
    """
    arrays = [as_floats(group) for group in groups]
    if len(arrays) < 2 or min(array.size for array in arrays) < 2:
        raise Refused("too_few_groups", "Comparing spreads takes two or more groups of two or more readings.")
    if any(float(array.max()) == float(array.min()) for array in arrays):
        raise Refused("no_spread", "A group does not vary at all, so spreads cannot be compared.")
    if normal:
        found = stats().bartlett(*arrays)
        return Comparison("Bartlett", float(found.statistic), float(found.pvalue))
    found = stats().levene(*arrays, center="median")
    return Comparison("Levene, about the medians", float(found.statistic), float(found.pvalue))


def compare_shares(first: tuple[int, int], second: tuple[int, int]) -> Comparison:
    """Whether two shares (found, of) differ: difference over its pooled standard error, two-sided.

    Source: NIST/SEMATECH e-Handbook 7.3.3. Raises Invalid `count_not_possible`; Refused `no_spread` when both
    shares are 0 or both 1.
    """
    for found, of in (first, second):
        if not 0 <= found <= of or of < 1:
            raise Invalid("count_not_possible", f"{found} out of {of} is not possible; correct one of the two.")
    pooled = (first[0] + second[0]) / (first[1] + second[1])
    if pooled in (0.0, 1.0):
        raise Refused("no_spread", "Both shares are the same extreme, so there is nothing to compare.")
    error = math.sqrt(pooled * (1.0 - pooled) * (1.0 / first[1] + 1.0 / second[1]))
    z = (first[0] / first[1] - second[0] / second[1]) / error
    return Comparison("two shares, pooled", z, 2.0 * normal_above(abs(z)))
