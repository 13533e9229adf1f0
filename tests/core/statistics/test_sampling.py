"""Plans for checking lots by attributes against MIL-STD-105E (acceptance_milstd105e_*, plan_lookups,
zero_acceptance).

Normal and tightened tables agree with second copies for AQL 0.65 to 15; the rest, and the reduced table,
are from memory, held together by their structure, which is tested here too.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.errors import Invalid
from qcapp.core.statistics.operating import acceptance_probability
from qcapp.core.statistics.sampling import (
    SamplingPlan,
    code_letter,
    decide_lot,
    plan_for_letter,
    single_plan,
    zero_acceptance,
)
from qcapp.core.statistics.sampling_tables import acceptance_levels, cells, sample_sizes
from tests.core.statistics.vectors import load, rows

MASTER = rows("acceptance_milstd105e_single_sampling")
META = load("acceptance_milstd105e_single_sampling_meta")
LETTERS = rows("acceptance_milstd105e_table1_code_letters")
ARROWS = {"↓": "down", "↑": "up"}


def test_holds_every_cell_of_the_master_tables() -> None:
    seen = 0
    for row in MASTER:
        cell = cells(row["inspection"])[(row["code_letter"], Decimal(row["aql"]))]
        if row["arrow"]:
            assert ARROWS[cell] == row["arrow"], row
        else:
            accept, _, reject = cell.partition("/")
            assert accept == row["ac"], row
            assert (reject or str(int(accept) + 1)) == row["re"], row
        assert sample_sizes(row["inspection"])[row["code_letter"]] == int(row["sample_size"])
        seen += 1
    assert seen == sum(len(cells(severity)) for severity in ("normal", "tightened", "reduced")) == 1249


def test_follows_every_arrow_to_its_plan() -> None:
    for row in MASTER:
        if row["code_letter"] == "S":
            continue  # only reached from R, which the row of R checks
        plan = plan_for_letter(row["code_letter"], aql=row["aql"], severity=row["inspection"])
        found = (plan.code_letter, plan.sample_size, plan.accept, plan.reject)
        wanted = [int(row[f"resolved_{name}"]) for name in ("sample_size", "ac", "re")]
        assert found == (row["resolved_letter"], *wanted), row
        assert plan.lot_letter == row["code_letter"]


def test_reaches_letter_s_from_r_only() -> None:
    plan = plan_for_letter("R", aql="0.025", severity="tightened")
    assert (plan.code_letter, plan.sample_size, plan.accept) == ("S", 3150, 1)


@pytest.mark.parametrize("row", LETTERS, ids=lambda r: r["lot_min"])
def test_finds_the_code_letter_at_both_ends_of_each_row(row: dict[str, str]) -> None:
    ends = [int(row["lot_min"]), int(row["lot_max"] or 10_000_000)]
    for level in ("S-1", "S-2", "S-3", "S-4", "I", "II", "III"):
        assert [code_letter(size, level=level) for size in ends] == [row[level]] * 2


@pytest.mark.parametrize("row", rows("acceptance_plan_lookups"), ids=lambda r: r["id"])
def test_looks_plans_up_as_published(row: dict[str, str]) -> None:
    if row["lot_size"]:
        plan = single_plan(int(row["lot_size"]), level=row["level"], aql=row["aql"], severity=row["inspection"])
    else:
        plan = plan_for_letter(row["code_letter"], aql=row["aql"], severity=row["inspection"])
    assert plan.code_letter == row["code_letter"]
    assert (plan.sample_size, plan.accept, plan.reject) == (int(row["n"]), int(row["ac"]), int(row["re"]))


def test_checks_the_whole_lot_where_the_plan_asks_for_as_many_pieces() -> None:
    small = single_plan(20, aql="0.65")
    assert (small.sample_size, small.accept, small.whole_lot) == (20, 0, True)
    tiny = single_plan(8, aql="0.65")
    assert (tiny.sample_size, tiny.code_letter, tiny.lot_letter) == (8, "F", "A")
    assert "every piece" in tiny.source
    larger = single_plan(21, aql="0.65")
    assert (larger.sample_size, larger.whole_lot) == (20, False)


@pytest.mark.parametrize("aql", ["1.0", "1", 1, 1.0, Decimal("1.00")])
def test_reads_an_aql_however_it_is_written(aql: Any) -> None:
    plan = single_plan(100, aql=aql)
    assert (plan.code_letter, plan.lot_letter, plan.sample_size, plan.accept) == ("E", "F", 13, 0)
    assert plan.source == "MIL-STD-105E:1989 Table II-A"


@pytest.mark.parametrize("severity", ["normal", "tightened"])
def test_keeps_sample_size_times_aql_constant_for_each_acceptance_number(severity: str) -> None:
    """The structure of the tables: n·AQL/100 stays within preferred-number rounding along each diagonal."""
    for accept, (low, high) in META["checks"]["n*AQL per Ac value constant within preferred-number rounding"][
        severity
    ].items():
        for (letter, aql), cell in cells(severity).items():
            rounded_row = letter in "ABCDE" and aql > 100  # small samples at large AQLs leave the diagonal
            if cell == accept and not rounded_row:
                product = float(aql) * sample_sizes(severity)[letter] / 100
                assert low <= round(product, 3) <= high or letter == "S", (letter, aql)


@given(
    st.integers(2, 1_000_000),
    st.sampled_from(["S-1", "S-2", "S-3", "S-4", "I", "II", "III"]),
    st.sampled_from([str(aql) for aql in acceptance_levels() if aql <= 10]),
)
def test_is_never_easier_when_tightened(lot: int, level: str, aql: str) -> None:
    normal = single_plan(lot, level=level, aql=aql)
    tightened = single_plan(lot, level=level, aql=aql, severity="tightened")
    if not (normal.whole_lot or tightened.whole_lot):
        at_aql = [acceptance_probability(plan, float(aql) / 100, model="binomial") for plan in (normal, tightened)]
        assert at_aql[1] <= at_aql[0] + 1e-12
    assert normal.reject == normal.accept + 1


def test_decides_a_lot_by_the_count() -> None:
    plan = single_plan(2000, aql="0.65")
    assert (plan.accept, plan.reject) == (2, 3)
    assert [decide_lot(plan, found).accepted for found in range(5)] == [True, True, True, False, False]


def test_accepts_between_the_numbers_of_a_reduced_plan_and_goes_back_to_normal() -> None:
    plan = plan_for_letter("K", aql="1.0", severity="reduced")
    assert (plan.accept, plan.reject) == (1, 4)
    decisions = [decide_lot(plan, found) for found in range(6)]
    assert [decision.accepted for decision in decisions] == [True] * 4 + [False] * 2
    assert [decision.back_to_normal for decision in decisions] == [False] * 2 + [True] * 4


@pytest.mark.parametrize("found", [-1, 14])
def test_refuses_a_count_that_is_not_possible(found: int) -> None:
    with pytest.raises(Invalid) as refusal:
        decide_lot(single_plan(100, aql=1), found)
    assert refusal.value.code == "count_not_possible"


def test_counts_imperfections_above_the_sample_size_for_large_aqls() -> None:
    plan = single_plan(100, aql="100")
    assert plan.counts_imperfections
    assert not decide_lot(plan, plan.sample_size + 40).accepted


@pytest.mark.parametrize("row", rows("acceptance_zero_acceptance"), ids=lambda r: r["id"])
def test_finds_the_smallest_clean_sample_as_published(row: dict[str, str]) -> None:
    risk = round(1 - float(row["confidence_C"]), 10)
    if row["model"] == "binomial":
        plan = zero_acceptance(None, round(1 - float(row["reliability_R"]), 10), risk)
    else:
        lot = int(row["lot_size_N"])
        plan = zero_acceptance(lot, int(row["defectives_D_in_lot"]) / lot, risk)
    assert plan.sample_size == int(row["published"]) == int(row["computed"])
    assert (plan.accept, plan.reject) == (0, 1)


@given(
    st.integers(2, 150).flatmap(lambda lot: st.tuples(st.just(lot), st.integers(1, lot - 1))),
    st.sampled_from([0.01, 0.05, 0.1, 0.2]),
)
def test_is_the_smallest_sample_that_a_library_allows(case: tuple[int, int], risk: float) -> None:
    lot, bad = case
    size = zero_acceptance(lot, bad / lot, risk).sample_size
    assert scipy.stats.hypergeom.pmf(0, lot, bad, size) <= risk * (1 + 1e-9)
    assert scipy.stats.hypergeom.pmf(0, lot, bad, size - 1) > risk * (1 - 1e-9)


def test_meets_a_risk_exactly_where_it_can() -> None:
    assert zero_acceptance(None, 0.5, 0.125).sample_size == 3
    assert zero_acceptance(20, 0.05, 0.05).sample_size == 19
    assert zero_acceptance(10, 0.001, 0.05).sample_size == 10  # less than one piece means at least one
    assert zero_acceptance(10, 0.001, 0.05).whole_lot


REFUSALS: list[tuple[Any, str]] = [
    (lambda: single_plan(1, aql=1), "lot_too_small"),
    (lambda: single_plan(-5, aql=1), "lot_too_small"),
    (lambda: single_plan(100, aql="0.7"), "unknown_aql"),
    (lambda: single_plan(100, aql="one"), "unknown_aql"),
    (lambda: single_plan(100, aql=float("nan")), "unknown_aql"),
    (lambda: single_plan(100, aql=1, level="IV"), "unknown_inspection_level"),
    (lambda: single_plan(100, aql=1, severity="strict"), "unknown_severity"),
    (lambda: plan_for_letter("I", aql=1), "unknown_code_letter"),
    (lambda: plan_for_letter("S", aql="0.025", severity="tightened"), "unknown_code_letter"),
    (lambda: zero_acceptance(100, 5, 0.05), "limiting_quality_out_of_range"),
    (lambda: zero_acceptance(100, 0.0, 0.05), "limiting_quality_out_of_range"),
    (lambda: zero_acceptance(100, 0.05, 0.0), "risk_out_of_range"),
    (lambda: zero_acceptance(0, 0.05, 0.1), "lot_too_small"),
]


@pytest.mark.parametrize(("call", "code"), REFUSALS)
def test_refuses_plans_that_the_tables_do_not_hold(call: Any, code: str) -> None:
    with pytest.raises(Invalid) as refusal:
        call()
    assert refusal.value.code == code


def test_lists_the_aqls_when_it_refuses_one() -> None:
    with pytest.raises(Invalid, match=r"0\.010, 0\.015, .*1000"):
        single_plan(100, aql="0.7")


def test_describes_a_plan_that_was_computed() -> None:
    assert zero_acceptance(100, 0.05, 0.05) == SamplingPlan(
        None, 45, 0, 1, source="zero acceptance number, hypergeometric"
    )
