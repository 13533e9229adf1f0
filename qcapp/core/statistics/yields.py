"""Yields of a process in stages. Definitions are common practice, no source."""

from __future__ import annotations

import math
from collections.abc import Iterable

from qcapp.core.errors import Invalid


def first_pass_yield(right_first_time: int, started: int) -> float:
    """Share of units that passed without rework, repair or a second round.

    Raises Invalid `count_not_possible` unless 0 <= right_first_time <= started and started >= 1.
    """
    if started < 1 or not 0 <= right_first_time <= started:
        raise Invalid(
            "count_not_possible",
            f"{right_first_time} units right first time out of {started} started is not possible; "
            "correct one of the two.",
        )
    return right_first_time / started


def rolled_throughput_yield(yields: Iterable[float]) -> float:
    """Probability of passing every stage without rework: the product of the stages' first-pass yields.

    Raises Invalid `fraction_out_of_range` for a yield outside 0…1, `no_stages` without any.
    """
    stages = list(yields)
    if not stages:
        raise Invalid("no_stages", "There is no stage to multiply; give the first-pass yield of each.")
    for stage in stages:
        if not 0.0 <= stage <= 1.0:
            raise Invalid("fraction_out_of_range", f"A yield of {stage} is not possible; give one from 0 to 1.")
    return math.prod(stages)


def defects_per_unit(defects: int, units: int) -> float:
    """Imperfections per unit. Raises Invalid `count_not_possible` for a count below 0 or no unit."""
    if defects < 0 or units < 1:
        raise Invalid("count_not_possible", "Give a count from 0 on, and at least one unit.")
    return defects / units


def defects_per_million(defects: int, units: int, opportunities_per_unit: int) -> float:
    """Imperfections per million opportunities. Raises Invalid `count_not_possible`; more imperfections than
    opportunities are refused too."""
    if opportunities_per_unit < 1:
        raise Invalid("count_not_possible", "A unit needs at least one opportunity for an imperfection.")
    rate = defects_per_unit(defects, units) / opportunities_per_unit
    if rate > 1.0:
        raise Invalid("count_not_possible", "There are more imperfections than opportunities; correct a count.")
    return rate * 1_000_000.0


def yield_from_defects_per_unit(per_unit: float) -> float:
    """Share of units without any imperfection when they fall independently (Poisson): exp(-defects per unit).

    Raises Invalid `count_not_possible` below 0.
    """
    if per_unit < 0:
        raise Invalid("count_not_possible", "Imperfections per unit cannot be below 0.")
    return math.exp(-per_unit)
