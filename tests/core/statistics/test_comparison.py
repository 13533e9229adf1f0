"""Fisher's exact test, Newcombe's interval and Welch's test against the books and against scipy."""

from __future__ import annotations

import warnings

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as some
from scipy import stats

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics.comparison import Counted, fisher_exact, mean_change, share_change

from .vectors import load

COUNTED = some.integers(0, 40).flatmap(lambda of: some.integers(0, of).map(lambda found: Counted(found, of)))


def test_tastes_tea_as_fisher_did() -> None:
    """The Design of Experiments (1935), chapter II: eight cups, four of each kind.

    All four right happens to one in 70 by chance; three or more right to 17 in 70.
    """
    assert fisher_exact(Counted(0, 4), Counted(4, 4), "more") == pytest.approx(1 / 70)
    assert fisher_exact(Counted(1, 4), Counted(3, 4), "more") == pytest.approx(17 / 70)
    assert fisher_exact(Counted(1, 4), Counted(3, 4)) == pytest.approx(34 / 70)


@given(before=COUNTED, after=COUNTED)
def test_agrees_with_scipy(before: Counted, after: Counted) -> None:
    table = [[after.found, after.of - after.found], [before.found, before.of - before.found]]
    for ours, theirs in (("both", "two-sided"), ("fewer", "less"), ("more", "greater")):
        expected = stats.fisher_exact(table, alternative=theirs).pvalue
        assert fisher_exact(before, after, ours) == pytest.approx(expected, rel=1e-8, abs=1e-14)  # type: ignore[arg-type]


@pytest.mark.parametrize("line", load("comparison_of_shares")["lines"])
def test_gives_newcombe_s_intervals(line: dict[str, list[float]]) -> None:
    (one, of_one), (two, of_two) = line["first"], line["second"]
    found = share_change(Counted(int(two), int(of_two)), Counted(int(one), int(of_one)))
    assert [round(found.change.lower, 4), round(found.change.upper, 4)] == line["method 10"]


def test_gives_the_handbook_s_test_of_two_means() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.3, AUTO83B.DAT, from its printed summary: unequal variances."""
    vector = load("comparison_of_means")
    made = [_with_moments(**vector[name]) for name in ("sample 1", "sample 2")]
    found = mean_change(made[1], made[0])
    assert found.t == pytest.approx(vector["t"], abs=5e-4)
    assert found.dof == pytest.approx(vector["dof"], abs=5e-3)


def _with_moments(n: int, mean: float, sd: float) -> list[float]:
    """Readings with exactly these moments."""
    raw = numpy.arange(n, dtype=float)
    return list((raw - raw.mean()) / raw.std(ddof=1) * sd + mean)


VALUES = some.lists(some.floats(-50, 50).map(lambda x: round(x, 2)), min_size=2, max_size=30)


@given(before=VALUES, after=VALUES)
def test_agrees_with_scipy_on_means(before: list[float], after: list[float]) -> None:
    if len(set(before)) == len(set(after)) == 1:
        with pytest.raises(Invalid, match="no spread"):
            mean_change(before, after)
        return
    found = mean_change(before, after)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # scipy's, about values that are all the same on one side
        expected = stats.ttest_ind(after, before, equal_var=False)
    assert found.t == pytest.approx(expected.statistic, rel=1e-6, abs=1e-9)
    assert found.p_value == pytest.approx(expected.pvalue, rel=1e-6, abs=1e-12)
    interval = expected.confidence_interval(0.95)
    assert (found.change.lower, found.change.upper) == pytest.approx((interval.low, interval.high), rel=1e-6, abs=1e-9)


def test_refuses_what_cannot_be() -> None:
    for before, after in ((Counted(3, 2), Counted(0, 1)), (Counted(0, 1), Counted(-1, 2))):
        with pytest.raises(Invalid) as caught:
            fisher_exact(before, after)
        assert caught.value.code == "count_not_possible"
    with pytest.raises(Invalid):
        share_change(Counted(0, 0), Counted(1, 2))
    with pytest.raises(Refused):
        mean_change([1.0], [1.0, 2.0])
