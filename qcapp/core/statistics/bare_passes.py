"""The numpy passes that capability and a chart of individuals cannot do without, for the benchmark's ratios.

Bare work on a clean float array: no check of the input, no warnings, no result objects. What the product
adds on top (refusals, correction of the mean, normality, names of the rules) is measured against this.
"""

from __future__ import annotations

import numpy

from qcapp.core.statistics.readings import FloatArray

CAPABILITY_PASSES = (
    "mean",
    "deviations from it",
    "sum of their squares",
    "differences of neighbours",
    "their absolute values",
    "mean of these",
    "two comparisons with the control limits and their count",
)
INDIVIDUALS_PASSES = (
    "mean",
    "differences of neighbours",
    "their absolute values",
    "mean of these",
    "points in standard deviations",
    "eight comparisons with the lines at 0, 1, 2 and 3 on both sides and the places beyond",
    "one comparison of the moving ranges with their limit and the places beyond",
)


def capability_passes(x: FloatArray) -> tuple[float, float, float, int]:
    """Mean, overall and short-term standard deviation, and the number of points outside the control
    limits."""
    mean = x.mean()
    deviations = x - mean
    overall = numpy.sqrt(deviations @ deviations / (x.size - 1))
    within = _short_term(numpy.diff(x))
    outside = numpy.count_nonzero((x > mean + 3.0 * within) | (x < mean - 3.0 * within))
    return float(mean), float(overall), within, int(outside)


def individuals_passes(x: FloatArray) -> tuple[float, float, int, int]:
    """Mean, short-term standard deviation, points beyond the upper limit, and ranges beyond theirs."""
    mean = x.mean()
    ranges = numpy.diff(x)
    sigma = _short_term(ranges)
    z = (x - mean) / sigma
    places = [numpy.flatnonzero(z > line) for line in (3.0, 2.0, 1.0, 0.0)]
    places += [numpy.flatnonzero(z < -line) for line in (3.0, 2.0, 1.0, 0.0)]
    wide = numpy.flatnonzero(ranges > 3.6859 * sigma)
    return float(mean), sigma, places[0].size, wide.size


def _short_term(steps: FloatArray) -> float:
    numpy.abs(steps, out=steps)
    return float(steps.mean()) / 1.1283791670955126
