"""Spread of a gauge over time on check standards: within a day, from day to day, from run to run.

Nested layout: each standard is read on several days in each of several runs. Source: NIST/SEMATECH
e-Handbook of Statistical Methods 2.4.4.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from qcapp.core.errors import Refused
from qcapp.core.statistics.moments import standard_deviation
from qcapp.core.statistics.readings import Values


@dataclass(frozen=True)
class Level:
    """A pooled standard deviation with its degrees of freedom."""

    sigma: float
    dof: int


@dataclass(frozen=True)
class NestedSpread:
    """`within_day` is repeatability, `between_days` the spread of day means in a run, `between_runs` that
    of run means; `runs_by_standard` gives the last one for each check standard."""

    within_day: Level
    between_days: Level
    between_runs: Level
    runs_by_standard: tuple[float, ...]


def nested_spread(
    day_means: Sequence[Sequence[Values]], day_sigmas: Sequence[Sequence[Values]], *, readings_per_day: int
) -> NestedSpread:
    """Spread by level from `day_means[standard][run]` (one mean per day) and the standard deviations beside
    them.

    Raises Refused `study_too_small` under two runs, two days or two readings a day, `unbalanced_study` when
    means and standard deviations do not match or runs differ in days.
    """
    shapes = {(len(runs), len(run)) for runs in day_means for run in runs}
    beside = [[len(run) for run in runs] for runs in day_sigmas]
    if len(shapes) != 1 or beside != [[len(run) for run in runs] for runs in day_means]:
        raise Refused("unbalanced_study", "Every standard needs the same runs and days; complete the readings.")
    runs, days = next(iter(shapes))
    if min(runs, days, readings_per_day) < 2:
        raise Refused("study_too_small", "Take at least two runs, two days in each and two readings a day.")
    sigmas = [float(sigma) for standard in day_sigmas for run in standard for sigma in run]
    by_day = [standard_deviation(run) for standard in day_means for run in standard]
    by_run = [
        standard_deviation([math.fsum(float(day) for day in run) / days for run in standard]) for standard in day_means
    ]
    return NestedSpread(
        Level(_pooled(sigmas), len(sigmas) * (readings_per_day - 1)),
        Level(_pooled(by_day), len(by_day) * (days - 1)),
        Level(_pooled(by_run), len(by_run) * (runs - 1)),
        tuple(by_run),
    )


def _pooled(sigmas: Sequence[float]) -> float:
    """Root mean square; every standard deviation here has the same degrees of freedom."""
    return math.sqrt(math.fsum(sigma * sigma for sigma in sigmas) / len(sigmas))
