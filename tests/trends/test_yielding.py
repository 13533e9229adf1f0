"""Yields with their intervals, of a stage, of a family and of a week."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from scipy.stats import chi2

from qcapp.inspections.queries.passes import StagePass
from qcapp.trends.yielding import family_yield, week_name

MONDAY = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
WEEKS = [week_name((MONDAY + timedelta(weeks=place)).date()) for place in range(3)]


def passes() -> list[StagePass]:
    """Ten units through two stages in the first week, five of stage 1 in the second, none in the third."""
    found = [
        StagePass(unit, stage, f"Stage {stage}", MONDAY, 20, 2 if (unit, stage) == (0, 1) else 0)
        for unit in range(10)
        for stage in (1, 2)
    ]
    later = MONDAY + timedelta(weeks=1)
    return found + [StagePass(10 + unit, 1, "Stage 1", later, 20, int(unit < 2)) for unit in range(5)]


def test_gives_each_week_of_a_family_with_its_intervals() -> None:
    """By hand: 9 of 10 and all 10 give 0.9, then 3 of 5; 2 defects on 10 units and 400 answers, then 2 on 5 and 100."""
    found = family_yield(passes(), WEEKS)
    assert found is not None
    first, second = found.by_week  # the third week counted nothing
    assert (first.units, first.defects, second.units, second.defects) == (10, 2, 5, 2)
    assert (first.rolled.estimate, second.rolled.estimate) == pytest.approx((0.9, 0.6))
    assert (first.per_unit.estimate, second.per_unit.estimate) == pytest.approx((0.2, 0.4))
    assert first.per_million is not None
    assert second.per_million is not None
    assert (first.per_million.estimate, second.per_million.estimate) == pytest.approx((5000, 20000))
    for week in found.by_week:
        for interval in (week.rolled, week.per_unit, week.per_million):
            assert interval is not None
            assert interval.lower < interval.estimate < interval.upper


def test_takes_the_exact_interval_of_garwood() -> None:
    """Garwood (1936): chi-square quantiles over two, here from scipy, for 4 defects on 15 units and 500 answers."""
    found = family_yield(passes(), WEEKS)
    assert found is not None
    low, high = chi2.ppf(0.025, 2 * 4) / 2, chi2.ppf(0.975, 2 * 4 + 2) / 2
    assert (found.per_unit_interval.lower, found.per_unit_interval.upper) == pytest.approx((low / 15, high / 15))
    per_million = found.per_million_interval
    assert per_million is not None
    assert (per_million.lower, per_million.upper) == pytest.approx((low * 2000, high * 2000))


def test_says_nothing_of_a_million_without_an_answer() -> None:
    found = family_yield([StagePass(1, 1, "Stage 1", MONDAY, 0, 0)], WEEKS)
    assert found is not None
    assert found.per_million_interval is None
    assert found.by_week[0].per_million is None
    assert found.stages[0].per_million_interval is None
