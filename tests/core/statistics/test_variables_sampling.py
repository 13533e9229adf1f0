"""Checking lots by variables against MIL-STD-414 (acceptance_milstd414_*, variables_examples)."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

import numpy
import pytest

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics.variables_sampling import (
    decide_by_variables,
    estimated_percent,
    variables_acceptance_probability,
    variables_plan_k,
)
from tests.core.statistics.vectors import limits, load, rows

TABLE = rows("acceptance_milstd414_k_and_M")  # k seen in a stored copy; M from memory
LETTERS = rows("acceptance_milstd414_table_a2_code_letters")
EXAMPLES = load("acceptance_variables_examples")["cases"]  # from memory; letter and k seen
LEVELS = ("I", "II", "III", "IV", "V")


def lot_for(letter: str) -> int:
    """The largest lot that needs this letter at level IV; it is larger than the sample."""
    return max(int(row["lot_max"]) for row in LETTERS if row["IV"] == letter)


def test_holds_every_k_and_m_of_the_tables() -> None:
    for row in TABLE:
        plan = variables_plan_k(lot_for(row["code_letter"]), aql=row["aql"])
        assert (plan.code_letter, plan.sample_size) == (row["code_letter"], int(row["n"])), row
        assert plan.k == float(row["k_table_B1"]), row
        if row["M_percent_table_B3"]:
            assert plan.max_percent == float(row["M_percent_table_B3"]), row
        else:
            assert plan.max_percent == estimated_percent(plan.k, plan.sample_size), row


def test_computes_the_m_that_is_printed_from_k_as_far_as_k_is_printed() -> None:
    """k has three figures: the printed M lies between those of k half a unit to either side (from memory,
    so the width is taken a little larger)."""
    for row in TABLE:
        k, n, printed = float(row["k_table_B1"]), int(row["n"]), row["M_percent_table_B3"]
        step = 0.005 if k >= 1 else 0.0005
        if printed:
            looser, stricter = (estimated_percent(k + by, n) for by in (-1.6 * step, 1.6 * step))
            assert stricter - 0.02 <= float(printed) <= looser + 0.02, row


@pytest.mark.parametrize("row", LETTERS, ids=lambda r: r["lot_min"])
def test_finds_the_code_letter_at_both_ends_of_each_row(row: dict[str, str]) -> None:
    for level in LEVELS:
        for size in (int(row["lot_min"]), int(row["lot_max"] or 9_999_999)):
            if row[level] <= "L":
                assert variables_plan_k(size, level=level, aql="4.0").lot_letter == row[level]
            else:
                with pytest.raises(Invalid, match=f"code letter {row[level]}") as refusal:
                    variables_plan_k(size, level=level, aql="4.0")
                assert refusal.value.code == "code_letter_not_covered"


def test_follows_arrows_to_a_larger_sample() -> None:
    plan = variables_plan_k(30, level="III", aql="0.65")
    assert (plan.lot_letter, plan.code_letter, plan.sample_size, plan.k) == ("B", "D", 5, 1.65)
    whole = variables_plan_k(5, aql="0.04")
    assert (whole.code_letter, whole.sample_size, whole.whole_lot) == ("G", 5, True)


@pytest.mark.parametrize("case", EXAMPLES, ids=lambda c: c["id"])
def test_decides_a_lot_as_published(case: dict[str, Any]) -> None:
    """The source prints s = 8.81; the square root of its own 77.5 is 8.803, which is followed."""
    plan = variables_plan_k(case["lot_size"], level=case["inspection_level"], aql=case["aql"])
    found = decide_by_variables(case["sample"], limits(None, case["upper_limit"]), plan)
    printed = case["published"]
    assert plan.sample_size == case["n"]
    assert found.quality_upper == pytest.approx(float(printed["quality_index_U"]), abs=0.005)
    assert found.accepted == (printed["decision"] == "accept")
    if "k" in printed:
        assert (plan.code_letter, plan.k) == (case["code_letter"], float(printed["k"]))
        assert found.mean == printed["mean"]
        assert found.standard_deviation**2 == pytest.approx(printed["variance"])
    else:
        assert plan.max_percent == float(printed["M_percent"])
        rounded = estimated_percent(float(printed["quality_index_U"]), plan.sample_size)
        assert rounded == pytest.approx(float(printed["p_U_percent"]), abs=0.005)
        assert found.percent_upper == pytest.approx(2.1823, abs=5e-5)


def test_adds_both_sides_for_a_band_with_two_limits() -> None:
    plan = variables_plan_k(40, aql="1.0")
    sample = EXAMPLES[0]["sample"]
    wide, narrow = (decide_by_variables(sample, limits(low, 209), plan) for low in (170, 184))
    assert wide.percent == wide.percent_lower + wide.percent_upper
    assert wide.accepted
    assert narrow.percent > plan.max_percent
    assert not narrow.accepted
    assert narrow.quality_lower == pytest.approx((195 - 184) / 77.5**0.5)


def test_decides_alike_for_a_lower_limit() -> None:
    plan = variables_plan_k(40, aql="1.0")
    sample = [Decimal(value) for value in EXAMPLES[0]["sample"]]
    upper = decide_by_variables(sample, limits(None, 209), plan)
    mirrored = decide_by_variables([-value for value in sample], limits(-209, None), plan)
    assert mirrored.quality_lower == pytest.approx(upper.quality_upper)
    assert mirrored.accepted == upper.accepted


def test_estimates_a_share_without_bias() -> None:
    """20,000 simulated samples of seven (fixed seed): the mean estimate is the true 5 % beyond the limit."""
    x = numpy.random.default_rng(41).standard_normal((20_000, 7))
    quality = (1.6448536 - x.mean(axis=1)) / x.std(axis=1, ddof=1)
    assert numpy.mean([estimated_percent(q, 7) for q in quality]) == pytest.approx(5.0, abs=0.15)


def test_reaches_its_ends_where_a_limit_is_far_away() -> None:
    assert estimated_percent(10.0, 5) == 0.0
    assert estimated_percent(-10.0, 5) == 100.0
    assert estimated_percent(0.0, 5) == pytest.approx(50.0)
    assert estimated_percent(1.0, 4) == pytest.approx(100 * (0.5 - 1 / 3))  # even distribution for four


def test_accepts_as_often_as_simulated() -> None:
    x = numpy.random.default_rng(43).standard_normal((20_000, 10))
    limit = 1.7506861  # 4 percent lie beyond it
    share = ((limit - x.mean(axis=1)) / x.std(axis=1, ddof=1) >= 1.23).mean()
    assert variables_acceptance_probability(10, 1.23, 0.04) == pytest.approx(share, abs=0.01)


def test_accepts_good_lots_nearly_always_at_the_aql() -> None:
    """A plan keeps lots at its AQL with a probability of about 0.9 or more (the standard's curves)."""
    for row in TABLE:
        n, k, aql = int(row["n"]), float(row["k_table_B1"]), float(row["aql"]) / 100
        assert variables_acceptance_probability(n, k, aql) > 0.85
        assert variables_acceptance_probability(n, k, min(0.9, 10 * aql)) < 0.75


PLAN = variables_plan_k(40, aql="1.0")
REFUSALS: list[tuple[Any, str]] = [
    (lambda: variables_plan_k(2, aql="1.0"), "lot_too_small"),
    (lambda: variables_plan_k(40, aql="0.01"), "unknown_aql"),
    (lambda: variables_plan_k(40, aql="?"), "unknown_aql"),
    (lambda: variables_plan_k(40, level="S-1", aql="1.0"), "unknown_inspection_level"),
    (lambda: estimated_percent(1.0, 2), "sample_too_small"),
    (lambda: decide_by_variables([1, 2, 3], limits(None, 5), PLAN), "sample_not_as_planned"),
    (lambda: decide_by_variables([1, 1, 1, 1, 1], limits(None, 5), PLAN), "no_spread"),
    (lambda: decide_by_variables([1, 2, 3, 4, 5], limits(None, None), PLAN), "band_without_limits"),
    (lambda: variables_acceptance_probability(5, 1.5, 0.0), "fraction_out_of_range"),
]


@pytest.mark.parametrize(("call", "code"), REFUSALS)
def test_refuses_lots_it_cannot_decide(call: Any, code: str) -> None:
    with pytest.raises((Invalid, Refused)) as refusal:
        call()
    assert refusal.value.code == code


def test_gives_a_finite_answer_for_every_sample_size() -> None:
    assert all(math.isfinite(estimated_percent(1.5, n)) for n in range(3, 60))
