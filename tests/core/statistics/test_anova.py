"""Analysis of variance against NIST StRD and handbook examples, and against statsmodels and scipy."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

import numpy
import pandas
import pytest
import scipy.stats
import statsmodels.formula.api
import statsmodels.stats.anova
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics.anova import compare_shares, compare_spreads, one_way, two_way
from tests.core.statistics.vectors import agrees, expected_in, load

CERTIFIED = [load(f"statistics_nist_strd_anova_{name}") for name in ("sirstv", "smls01")]
MACHINES = load("statistics_anova_nist_machines")  # printed sums of squares from memory
GEAR = load("statistics_variance_tests_nist_gear")  # printed results from memory


@pytest.mark.parametrize("case", CERTIFIED, ids=lambda c: str(c["dataset"]))
def test_keeps_the_certified_digits(case: dict[str, Any]) -> None:
    found = one_way(case["data_groups"])
    expected = expected_in(case["expected"])
    assert (found.dof_between, found.dof_within) == (case["df_between"], case["df_within"])
    assert agrees(found.ss_between, expected["ss_between"])
    assert agrees(found.ss_within, expected["ss_within"])
    assert agrees(found.f, expected["F"])
    assert agrees(found.r_squared, expected["R2"])
    assert agrees(found.residual_sd, expected["residual_sd"])


@pytest.mark.parametrize("leading", ["1000000", "1000000000000"])
def test_keeps_the_certified_digits_behind_many_constant_ones(leading: str) -> None:
    """As the harder StRD sets do: the same readings with 7 and 13 constant leading digits."""
    groups = [[float(f"{leading}.{str(x)[2:]}") for x in group] for group in CERTIFIED[1]["data_groups"]]
    found = one_way(groups)
    assert found.f == pytest.approx(21.0, rel=1e-14)
    assert found.residual_sd == pytest.approx(0.1, rel=1e-14)


def test_compares_machines_as_published() -> None:
    found = one_way(MACHINES["data_groups"])
    expected = expected_in(MACHINES["expected"])
    assert agrees(found.ss_between, expected["ss_machine"])
    assert agrees(found.ss_within, expected["ss_residual"])
    assert agrees(found.f, expected["F"])
    assert agrees(found.p_value, expected["p_value"])
    # the handbook prints 4.86, from mean squares rounded to six decimals; the unrounded 5.206 is followed
    rounded = [round(ss / dof, 6) for ss, dof in ((found.ss_between, 4), (found.ss_within, 20))]
    assert agrees(rounded[0] / rounded[1], expected["F_from_rounded_ms"])


def test_compares_batches_of_gears_as_published() -> None:
    """Printed Bartlett and Levene values are off in the fifth decimal (single precision); tolerances allow
    it."""
    groups = GEAR["data_groups"]
    found, expected = one_way(groups), expected_in(GEAR["expected"])
    assert agrees(float(numpy.mean(groups)), expected["grand_mean"])
    assert agrees(found.ss_between, expected["ss_batch"])
    assert agrees(found.ss_within, expected["ss_residual"])
    assert agrees(found.f, expected["F_anova"])
    bartlett, levene = compare_spreads(groups, normal=True), compare_spreads(groups)
    assert agrees(bartlett.statistic, expected["bartlett_T"])
    assert agrees(levene.statistic, expected["levene_W_median"])
    assert levene.p_value > 0.05 > bartlett.p_value


@given(st.lists(st.lists(st.integers(-50, 50), min_size=2, max_size=6), min_size=2, max_size=5))
def test_agrees_with_a_library_on_one_way(groups: list[list[int]]) -> None:
    if all(len(set(group)) == 1 for group in groups):
        return  # no spread within: the library divides by zero there
    found = one_way(groups)
    f, p_value = scipy.stats.f_oneway(*groups)
    assert found.f == pytest.approx(f, rel=1e-9, abs=1e-12)
    if found.f > 0:  # the library has no probability for equal means
        assert found.p_value == pytest.approx(p_value, rel=1e-7, abs=1e-12)
    else:
        assert found.p_value == 1.0
    assert 0.0 <= found.r_squared <= 1.0


def test_agrees_with_a_library_on_two_ways() -> None:
    rng = numpy.random.default_rng(3)
    table = rng.normal(50, 2, (4, 3, 5)).round(2)
    found = two_way(table.tolist())
    frame = pandas.DataFrame(
        [(a, b, table[a, b, r]) for a in range(4) for b in range(3) for r in range(5)],
        columns=["a", "b", "y"],
    )
    fitted = statsmodels.formula.api.ols("y ~ C(a) * C(b)", frame).fit()
    library = statsmodels.stats.anova.anova_lm(fitted)
    sums = [found.ss_a, found.ss_b, found.ss_interaction, found.ss_repeats]
    assert sums == pytest.approx(library["sum_sq"].tolist(), rel=1e-9)
    dof = [found.dof_a, found.dof_b, found.dof_interaction, found.dof_repeats]
    assert dof == library["df"].tolist()
    assert found.ss_total == pytest.approx(((table - table.mean()) ** 2).sum(), rel=1e-12)


def test_keeps_its_digits_in_large_sets_too() -> None:
    groups = [numpy.tile([1.0, 2.0, 3.0], 4000) / 8 + 1e6 + shift for shift in (0.0, 0.125)]
    found = one_way(groups)
    assert found.ss_between == pytest.approx(24_000 * 0.0625**2, rel=1e-12)
    assert found.ss_within == pytest.approx(24_000 * 2 / 3 / 64, rel=1e-12)


def test_sees_a_perfect_separation_as_infinite() -> None:
    found = one_way([[Decimal("1.0"), Decimal("1.0")], [Decimal("2.0"), Decimal("2.0")]])
    assert (found.f, found.p_value, found.r_squared) == (math.inf, 0.0, 1.0)


def test_compares_shares_as_a_library_does() -> None:
    from statsmodels.stats.proportion import proportions_ztest

    found = compare_shares((12, 200), (25, 180))
    z, p_value = proportions_ztest([12, 25], [200, 180])
    assert found.statistic == pytest.approx(z)
    assert found.p_value == pytest.approx(p_value)


REFUSALS: list[tuple[Any, str]] = [
    (lambda: one_way([[1, 2, 3]]), "too_few_groups"),
    (lambda: one_way([[1, 2, 3], []]), "too_few_groups"),
    (lambda: one_way([]), "too_few_groups"),
    (lambda: one_way([[1], [2]]), "no_repeats"),
    (lambda: one_way([[1, 1], [1, 1]]), "no_spread"),
    (lambda: one_way([[1, float("nan")], [1, 1]]), "reading_not_a_number"),
    (lambda: two_way([[[1, 2], [1, 2]], [[1, 2], [1]]]), "unbalanced"),
    (lambda: two_way([[[1, 2], [1, 2]], [[1, 2]]]), "unbalanced"),
    (lambda: two_way([[[1], [1]], [[1], [1]]]), "too_few_groups"),
    (lambda: two_way([]), "too_few_groups"),
    (lambda: compare_spreads([[1, 2]]), "too_few_groups"),
    (lambda: compare_spreads([[1, 2], [1, 1]]), "no_spread"),
    (lambda: compare_shares((5, 4), (1, 2)), "count_not_possible"),
    (lambda: compare_shares((0, 4), (0, 2)), "no_spread"),
]


@pytest.mark.parametrize(("call", "code"), REFUSALS)
def test_refuses_what_cannot_be_compared(call: Any, code: str) -> None:
    with pytest.raises((Invalid, Refused)) as refusal:
        call()
    assert refusal.value.code == code
