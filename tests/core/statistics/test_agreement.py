"""Kappa against published tables (kappa_*, attribute_effectiveness) and against statsmodels."""

from __future__ import annotations

from typing import Any

import numpy
import pytest
import statsmodels.stats.inter_rater
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics.agreement import (
    appraisers_against_truth,
    cohen_kappa,
    error_rates,
    fleiss_kappa,
    kappa_of_table,
)
from tests.core.statistics.vectors import agrees, expected_in, load

PAIRS = load("statistics_kappa_aiag_attribute")  # cell counts and kappas from memory
THREE = load("statistics_kappa_cohen_3x3")
FLEISS = load("statistics_kappa_fleiss_1971")
EFFECTIVENESS = load("statistics_attribute_effectiveness_aiag")  # from memory


@pytest.mark.parametrize("case", PAIRS["cases"], ids=lambda c: c["case"])
def test_finds_kappa_of_two_people_as_published(case: dict[str, Any]) -> None:
    found = kappa_of_table(case["table"])
    assert agrees(found.kappa, case["expected"][0])
    assert agrees(found.kappa, case["kappa_full"])
    assert found.n == case["n"]
    assert found.lower < found.kappa < found.upper


def test_finds_standard_errors_and_interval_as_published() -> None:
    for case in THREE["cases"]:
        found, expected = kappa_of_table(case["table"]), expected_in(case["expected"])
        values = {
            "kappa": found.kappa,
            "ase": found.standard_error,
            "lower": found.lower,
            "upper": found.upper,
            "ase0": found.standard_error_null,
            "z": found.z,
        }
        for name, value in values.items():
            assert agrees(value, expected[name]), name


def test_finds_kappa_of_several_people_as_published() -> None:
    found, expected = fleiss_kappa(FLEISS["counts"]), expected_in(FLEISS["expected"])
    assert agrees(found.kappa, expected["kappa"])
    assert agrees(found.kappa, expected["kappa_7_digits"])
    assert agrees(found.observed, expected["P_bar"])
    # printed from shares rounded to three decimals; unrounded 0.21994
    sums = FLEISS["column_sums"]
    assert agrees(sum(round(each / 180, 3) ** 2 for each in sums), expected["P_e"])
    assert found.expected == pytest.approx(sum((each / 180) ** 2 for each in sums))


@given(st.lists(st.lists(st.integers(0, 20), min_size=3, max_size=3), min_size=3, max_size=3))
def test_agrees_with_a_library_on_two_people(table: list[list[int]]) -> None:
    counts = numpy.array(table)
    if (counts.sum(axis=0) > 0).sum() < 2 or (counts.sum(axis=1) > 0).sum() < 2:
        return  # one category only is refused, and the library divides by zero
    for ours, theirs in ((None, None), ("linear", "linear"), ("quadratic", "quadratic")):
        found = kappa_of_table(table, weights=ours)  # type: ignore[arg-type]
        library = statsmodels.stats.inter_rater.cohens_kappa(counts, wt=theirs)
        assert found.kappa == pytest.approx(library.kappa, abs=1e-9)
        assert found.standard_error**2 == pytest.approx(max(0.0, library.var_kappa), abs=1e-9)
        assert found.standard_error_null**2 == pytest.approx(library.var_kappa0, abs=1e-9)


@given(st.lists(st.lists(st.integers(0, 2), min_size=4, max_size=4), min_size=5, max_size=30))
def test_agrees_with_a_library_on_several_people(verdicts: list[list[int]]) -> None:
    counts = numpy.array([[row.count(category) for category in range(3)] for row in verdicts])
    if (counts.sum(axis=0) > 0).sum() < 2:
        return
    library = statsmodels.stats.inter_rater.fleiss_kappa(counts)
    assert fleiss_kappa(counts).kappa == pytest.approx(library, abs=1e-9)


def test_gives_an_interval_of_several_people_that_leaving_out_parts_confirms() -> None:
    """The linearised standard error against the jackknife over the 30 subjects of Fleiss (1971)."""
    counts = FLEISS["counts"]
    found = fleiss_kappa(counts)
    without = [fleiss_kappa(counts[:at] + counts[at + 1 :]).kappa for at in range(len(counts))]
    n = len(counts)
    jackknife = ((n - 1) / n * sum((k - sum(without) / n) ** 2 for k in without)) ** 0.5
    assert found.standard_error == pytest.approx(jackknife, rel=0.03)


def test_knows_how_much_chance_scatters_kappa() -> None:
    """The standard error without agreement against 3,000 simulated tables of chance verdicts (fixed seed)."""
    rng = numpy.random.default_rng(17)
    kappas = []
    for _ in range(3000):
        verdicts = rng.choice(3, size=(40, 5), p=[0.5, 0.3, 0.2])
        counts = numpy.stack([(verdicts == category).sum(axis=1) for category in range(3)], axis=1)
        found = fleiss_kappa(counts)
        kappas.append(found.kappa)
    assert numpy.std(kappas) == pytest.approx(found.standard_error_null, rel=0.06)


def test_reads_verdicts_of_two_people() -> None:
    first = ["ok", "ok", "not ok", "not ok", "ok", "not ok"]
    second = ["ok", "not ok", "not ok", "not ok", "ok", "ok"]
    found = cohen_kappa(first, second)
    assert found.observed == pytest.approx(4 / 6)
    assert found.expected == pytest.approx(0.5)
    assert found.kappa == pytest.approx(1 / 3)
    assert cohen_kappa(first, first).kappa == 1.0
    opposite = [("ok" if verdict == "not ok" else "not ok") for verdict in first]
    assert cohen_kappa(first, opposite).kappa == pytest.approx(-1.0)


def test_counts_near_misses_less_where_verdicts_are_graded() -> None:
    order = ["good", "fair", "poor"]
    first = ["good", "good", "fair", "poor", "poor", "fair"]
    near = ["good", "fair", "fair", "fair", "poor", "fair"]
    far = ["good", "poor", "fair", "good", "poor", "fair"]
    plain = [cohen_kappa(first, other).observed for other in (near, far)]
    graded = [cohen_kappa(first, other, order=order, weights="linear").observed for other in (near, far)]
    assert plain[0] == plain[1]
    assert graded[0] > graded[1]


@pytest.mark.parametrize("case", EFFECTIVENESS["cases"], ids=lambda c: c["appraiser"])
def test_rates_appraisers_as_published(case: dict[str, Any]) -> None:
    verdicts, truth = rebuilt(case)
    found = appraisers_against_truth({case["appraiser"]: verdicts}, truth)[case["appraiser"]]
    expected = expected_in(case["expected"])
    assert found.miss_rate is not None
    assert found.false_alarm_rate is not None
    assert agrees(100 * found.effectiveness.estimate, expected["effectiveness_pct"])
    assert agrees(100 * found.effectiveness.lower, expected["ci95_lower_pct"])
    assert agrees(100 * found.effectiveness.upper, expected["ci95_upper_pct"])
    assert agrees(100 * found.miss_rate, expected["miss_rate_pct"])
    assert agrees(100 * found.false_alarm_rate, expected["false_alarm_rate_pct"])
    assert found.kappa.kappa == pytest.approx(kappa_of_table(case["reference_table"]).kappa)
    rates = (found.miss_rate, found.false_alarm_rate)
    assert error_rates(case["reference_table"]) == rates


def rebuilt(case: dict[str, Any]) -> tuple[list[list[bool]], list[bool]]:
    """Verdicts that add up to the published table: wrong ones spread over as many parts as were not right
    every time (the raw verdicts were not at hand). 16 bad and 34 good parts, three trials each."""
    truth = [False] * (EFFECTIVENESS["reference_bad"] // 3) + [True] * (EFFECTIVENESS["reference_good"] // 3)
    verdicts = [[true] * 3 for true in truth]
    missed, alarms = case["reference_table"][1][0], case["reference_table"][0][1]
    wrong_parts = case["parts"] - case["parts_right_every_time"]
    spread_out(verdicts, range(16), missed, min(missed, wrong_parts - 1))
    spread_out(verdicts, range(16, 50), alarms, wrong_parts - min(missed, wrong_parts - 1))
    return verdicts, truth


def spread_out(verdicts: list[list[bool]], parts: range, wrong: int, over: int) -> None:
    for at in range(wrong):
        trials = verdicts[parts[at % over]]
        trials[at // over] = not trials[at // over]


def test_has_no_rate_where_there_is_no_such_part() -> None:
    assert error_rates([[0, 1], [0, 9]]) == (None, 0.1)
    assert error_rates([[9, 0], [1, 0]]) == (0.1, None)


REFUSALS: list[tuple[Any, str]] = [
    (lambda: cohen_kappa(["a"], ["a", "b"]), "ratings_do_not_match"),
    (lambda: cohen_kappa(["a", "b"], ["a", "c"], order=["a", "b"]), "unknown_category"),
    (lambda: cohen_kappa(["a", "b"], ["a", "b"], weights="linear"), "order_missing"),
    (lambda: cohen_kappa(["a", "a"], ["a", "a"]), "one_category_only"),
    (lambda: cohen_kappa([], []), "too_few_ratings"),
    (lambda: kappa_of_table([[1, 2, 3], [4, 5, 6]]), "table_not_square"),
    (lambda: kappa_of_table([[1, -2], [4, 5]]), "table_not_square"),
    (lambda: kappa_of_table([[0, 0], [0, 0]]), "too_few_ratings"),
    (lambda: kappa_of_table([[1, 2], [3, 4]], confidence=1.0), "confidence_out_of_range"),
    (lambda: fleiss_kappa([[3, 0], [2, 0]]), "ratings_do_not_match"),
    (lambda: fleiss_kappa([[3, 0]]), "too_few_ratings"),
    (lambda: fleiss_kappa([[1, 0], [0, 1]]), "too_few_ratings"),
    (lambda: fleiss_kappa([[3, 0], [3, 0]]), "one_category_only"),
    (lambda: appraisers_against_truth({"A": [[True]]}, [True, False]), "ratings_do_not_match"),
    (lambda: appraisers_against_truth({"A": [[True], []]}, [True, False]), "ratings_do_not_match"),
]


@pytest.mark.parametrize(("call", "code"), REFUSALS)
def test_refuses_verdicts_that_cannot_be_compared(call: Any, code: str) -> None:
    with pytest.raises((Invalid, Refused)) as refusal:
        call()
    assert refusal.value.code == code
