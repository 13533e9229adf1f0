"""The short-term standard deviation of a process, and how many degrees of freedom it is worth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy

from qcapp.core.errors import Refused
from qcapp.core.statistics.factors import c4, d2, d3
from qcapp.core.statistics.readings import FloatArray

LARGEST_FOR_RANGES = 10  # above that a range wastes readings and the pooled standard deviation is used


@dataclass(frozen=True)
class ShortTerm:
    """`how` names the estimate for a person; `dof` may be a fraction (an equivalent chi-square)."""

    sigma: float
    dof: float
    how: str


def from_moving_ranges(x: FloatArray) -> ShortTerm:
    """Average moving range of two readings over d2(2).

    The ranges overlap, so their average varies more than that of independent ones: its relative variance is
    about 0.826/(n - 1), worked out in `_overlap`.
    """
    steps = numpy.diff(x)
    numpy.abs(steps, out=steps)
    sigma = float(steps.mean()) / d2(2)
    return ShortTerm(sigma, _equivalent_dof(_overlap() / steps.size), "moving ranges of two")


def _overlap() -> float:
    """Relative variance of one moving range plus twice its covariance with the next.

    Neighbouring differences of independent normal readings correlate by -1/2; for correlation r of two normal
    values with unit variance E|uv| = 2/π·(√(1 - r²) + r·asin r).
    """
    square, mean_square = 2.0, 4.0 / math.pi
    product = 2.0 * 2.0 / math.pi * (math.sqrt(0.75) - 0.5 * math.asin(-0.5))
    return (square - mean_square + 2.0 * (product - mean_square)) / mean_square


def from_subgroups(groups: Sequence[FloatArray]) -> ShortTerm:
    """Average range over d2 for equal subgroups of up to ten, pooled standard deviation over c4 otherwise.

    Raises Refused `subgroups_without_repeats` when no subgroup holds two readings.
    """
    sizes = {group.size for group in groups}
    if len(sizes) == 1 and 2 <= min(sizes) <= LARGEST_FOR_RANGES:
        return _from_ranges(groups, min(sizes))
    return _pooled(groups)


def _from_ranges(groups: Sequence[FloatArray], size: int) -> ShortTerm:
    table = numpy.stack(list(groups))
    ranges = table.max(axis=1) - table.min(axis=1)
    relative_variance = (d3(size) / d2(size)) ** 2 / len(groups)
    return ShortTerm(float(ranges.mean()) / d2(size), _equivalent_dof(relative_variance), "subgroup ranges")


def _pooled(groups: Sequence[FloatArray]) -> ShortTerm:
    dof = sum(group.size - 1 for group in groups)
    if dof < 1:
        raise Refused(
            "subgroups_without_repeats",
            "No subgroup holds two readings, so there is no spread within; give no subgroups.",
        )
    squares = math.fsum(float(((group - group.mean()) ** 2).sum()) for group in groups)
    return ShortTerm(math.sqrt(squares / dof) / c4(dof + 1), float(dof), "pooled standard deviation")


def _equivalent_dof(relative_variance: float) -> float:
    """Degrees of freedom of the chi whose relative variance is the same: 1/(2v) + 1/4 (Patnaik 1950)."""
    return 1.0 / (2.0 * relative_variance) + 0.25
