"""Control charts of counts: nonconforming units (`p`, `np`) and imperfections (`c`, `u`).

Limits are three standard deviations of the binomial or Poisson distribution from the average and never
leave the possible range. `center` takes the average of a base period in place of the data's own. Formulas:
NIST/SEMATECH e-Handbook of Statistical Methods 6.3.3.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy

from qcapp.core.errors import Invalid
from qcapp.core.statistics.control_chart import ControlChart, Line, chart_of, preliminary, require_points
from qcapp.core.statistics.readings import FloatArray, Values, as_floats, require_fraction
from qcapp.core.statistics.run_rules import LIMITS_ONLY, Rule


def p(
    nonconforming: Values,
    sizes: int | Values,
    *,
    center: float | None = None,
    rules: Iterable[str | Rule] = LIMITS_ONLY,
) -> ControlChart:
    """Chart of the share nonconforming; `sizes` is one sample size or one per sample, then limits follow it.

    Raises Refused `too_few_points`, `no_spread` (none or all nonconforming); Invalid `counts_not_whole`,
    `sizes_do_not_match`, `more_than_the_sample`.
    """
    counts = _counts(nonconforming)
    n = _sizes(sizes, counts.size)
    _within_the_sample(counts, n)
    average = _average(counts, n, center, "samples")
    require_fraction(average, "average share nonconforming")
    sigma = _line(numpy.sqrt(average * (1.0 - average) / n))
    return chart_of(counts / n, average, sigma, rules, floor=0.0, ceiling=1.0, warnings=_few(counts.size, center))


def np(
    nonconforming: Values,
    size: int,
    *,
    center: float | None = None,
    rules: Iterable[str | Rule] = LIMITS_ONLY,
) -> ControlChart:
    """Chart of the number nonconforming in samples of one size; `center` is the average number of a base
    period.

    Raises as `p`; Invalid `sizes_vary` when `size` is more than one number.
    """
    if not isinstance(size, int):
        raise Invalid("sizes_vary", "A chart of numbers needs samples of one size; chart the shares instead.")
    counts = _counts(nonconforming)
    _within_the_sample(counts, _sizes(size, counts.size))
    average = _average(counts, numpy.ones(counts.size), center, "samples")
    require_fraction(average / size, "average share nonconforming")
    sigma = math.sqrt(average * (1.0 - average / size))
    return chart_of(counts, average, sigma, rules, floor=0.0, ceiling=float(size), warnings=_few(counts.size, center))


def c(counts: Values, *, center: float | None = None, rules: Iterable[str | Rule] = LIMITS_ONLY) -> ControlChart:
    """Chart of the number of imperfections per equal opportunity (one frame, one metre of weld).

    Raises Refused `too_few_points`, `no_spread` (no imperfection at all); Invalid `counts_not_whole`.
    """
    found = _counts(counts)
    average = _average(found, numpy.ones(found.size), center, "counts")
    return chart_of(found, average, math.sqrt(average), rules, floor=0.0, warnings=_few(found.size, center))


def u(
    counts: Values,
    sizes: float | Values,
    *,
    center: float | None = None,
    rules: Iterable[str | Rule] = LIMITS_ONLY,
) -> ControlChart:
    """Chart of imperfections per unit of size (units, metres, square metres); limits follow varying sizes.

    Raises as `c`, and Invalid `sizes_do_not_match`.
    """
    found = _counts(counts)
    n = _sizes(sizes, found.size)
    average = _average(found, n, center, "counts")
    sigma = _line(numpy.sqrt(average / n))
    return chart_of(found / n, average, sigma, rules, floor=0.0, warnings=_few(found.size, center))


def _counts(values: Values) -> FloatArray:
    counts = as_floats(values, what="counts")
    if numpy.any(counts < 0) or numpy.any(counts != numpy.floor(counts)):
        raise Invalid("counts_not_whole", "Counts must be whole numbers from 0 on; correct the entry.")
    return counts


def _sizes(sizes: float | Values, points: int) -> FloatArray:
    given = [sizes] * points if isinstance(sizes, int | float) else sizes
    n = as_floats(given, what="sizes")
    if n.size != points:
        raise Invalid("sizes_do_not_match", f"There are {points} counts and {n.size} sizes; give one size for each.")
    if numpy.any(n <= 0):
        raise Invalid("sizes_do_not_match", "A sample size of zero or less cannot be charted; leave that sample out.")
    return n


def _within_the_sample(counts: FloatArray, n: FloatArray) -> None:
    places = numpy.flatnonzero(counts > n)
    if places.size:
        raise Invalid(
            "more_than_the_sample",
            f"Sample {places[0] + 1} counts more nonconforming units than it holds; correct one of the two.",
            place=int(places[0]) + 1,
        )


def _average(counts: FloatArray, n: FloatArray, center: float | None, what: str) -> float:
    if center is not None:
        return center
    require_points(counts.size, what)
    return float(counts.sum() / n.sum())


def _few(points: int, center: float | None) -> tuple[str, ...]:
    return preliminary(points) if center is None else ()


def _line(values: FloatArray) -> Line:
    return float(values[0]) if numpy.all(values == values[0]) else values
