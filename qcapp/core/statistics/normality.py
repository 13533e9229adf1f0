"""Whether readings look as if they came from a normal distribution."""

from __future__ import annotations

from dataclasses import dataclass

import numpy

from qcapp.core.statistics.distributions import stats
from qcapp.core.statistics.moments import require_spread
from qcapp.core.statistics.readings import Values, as_floats

SIGNIFICANT = 0.05
LARGEST_TESTED = 5000  # the test's probabilities are tabulated up to there


@dataclass(frozen=True)
class Normality:
    """The test used, its statistic, and how often normal readings give one as extreme."""

    test: str
    statistic: float
    p_value: float

    @property
    def looks_normal(self) -> bool:
        return self.p_value >= SIGNIFICANT


def normality(values: Values) -> Normality:
    """Shapiro and Wilk's test; of more than LARGEST_TESTED readings every kth is taken, and the name says so.

    Raises Refused `too_few_readings` under three, `no_spread` when all are equal.
    """
    x = as_floats(values, least=3)
    every = -(-x.size // LARGEST_TESTED)
    tested = numpy.ascontiguousarray(x[::every])
    require_spread(float(tested.max() - tested.min()))
    found = stats().shapiro(tested)
    name = "Shapiro–Wilk" if every == 1 else f"Shapiro–Wilk on {tested.size} of {x.size} readings"
    return Normality(name, float(found.statistic), float(found.pvalue))
