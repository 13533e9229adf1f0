"""Gauge studies against the published one of ten parts, three appraisers, three trials (grr_*), and nested
levels."""

from __future__ import annotations

import random
from typing import Any

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics import factors
from qcapp.core.statistics.gauge_levels import nested_spread
from qcapp.core.statistics.gauge_study import GaugeStudy, Reading, from_trial_rows, study
from tests.core.statistics.vectors import agrees, expected_in, limits, load

PUBLISHED = load("statistics_grr_aiag_10x3x3")  # readings partly from memory
READINGS = from_trial_rows(PUBLISHED["data_by_appraiser_trial_rows"])
PROBE = load("statistics_nested_gauge_nist_probe2362")  # level-2 value from memory
SEVERAL = settings(max_examples=20, deadline=None)


def test_splits_the_spread_by_analysis_of_variance_as_published() -> None:
    found = study(READINGS)
    table = {row.source: row for row in found.table}
    part, who, both, repeats = (table[name] for name in ("part", "appraiser", "appraiser and part", "repeats"))
    values = {
        "ss_appraiser": who.ss,
        "ss_parts": part.ss,
        "ss_appraiser_x_part": both.ss,
        "ss_equipment": repeats.ss,
        "ss_total": table["total"].ss,
        "ms_appraiser": who.ms,
        "ms_parts": part.ms,
        "ms_interaction": both.ms,
        "ms_equipment": repeats.ms,
        "F_interaction": both.f,
        # the source divides by repeats, others by the interaction; where the study counts the interaction
        # as repeatability it divides by both together
        "F_appraiser_vs_equipment": who.ms / repeats.ms,
        "F_parts_vs_equipment": part.ms / repeats.ms,
        "F_appraiser_vs_interaction": who.ms / both.ms,
        "F_parts_vs_interaction": part.ms / both.ms,
    }
    expected = expected_in(PUBLISHED["anova_table"])
    assert values.keys() == expected.keys()
    for name, value in values.items():
        assert value is not None
        assert agrees(value, expected[name]), name
    dof = PUBLISHED["degrees_of_freedom"]
    assert [row.dof for row in found.table] == [
        dof[name] for name in ("parts", "appraiser", "interaction", "equipment", "total")
    ]
    pooled = (both.ss + repeats.ss) / (both.dof + repeats.dof)
    assert who.f == pytest.approx(who.ms / pooled)


def test_finds_the_components_as_published() -> None:
    found = study(READINGS)
    expected = expected_in(PUBLISHED["anova_components_sd_interaction_pooled"])
    for name, value in components(found).items():
        assert agrees(value, expected[name]), name
    assert found.interaction == 0.0
    assert agrees(found.categories_exact, expected["ndc"])
    assert found.distinct_categories == 4


def components(found: GaugeStudy) -> dict[str, float]:
    return {
        "EV": found.repeatability,
        "AV": found.reproducibility,
        "GRR": found.gauge,
        "PV": found.part,
        "TV": found.total,
        "pct_EV": found.shares["repeatability"].percent_study,
        "pct_AV": found.shares["reproducibility"].percent_study,
        "pct_GRR": found.percent_study,
        "pct_PV": found.shares["part"].percent_study,
    }


def test_splits_the_spread_by_average_and_range_as_published() -> None:
    """The source multiplies by factors of four decimals (0.5908, 0.5231, 0.3146); the study uses them
    unrounded, which moves the fifth decimal. With the printed factors in their place its results are the
    printed ones."""
    found = study(READINGS, method="average_range")
    expected = expected_in(PUBLISHED["average_and_range"])
    repeats = found.repeatability * factors.d2(3) * 0.5908
    range_of_means = (found.reproducibility**2 + found.repeatability**2 / 30) ** 0.5 * factors.d2_star(3, 1)
    people = ((range_of_means * 0.5231) ** 2 - repeats**2 / 30) ** 0.5
    assert agrees(repeats, expected["EV_unrounded"])
    assert agrees(people, expected["AV_unrounded"])
    assert agrees((repeats**2 + people**2) ** 0.5, expected["GRR_unrounded"])
    assert agrees(round(found.part * factors.d2_star(10, 1), 3) * 0.3146, expected["PV"])
    for name, value in components(found).items():
        assert value == pytest.approx(expected[name]["value"], rel=4e-4), name
    assert found.categories_exact == pytest.approx(expected["ndc"]["value"], abs=2e-3)
    assert found.distinct_categories == 5
    assert found.interaction is None
    assert found.table == ()


def test_sums_up_the_sheet_as_published() -> None:
    expected = expected_in(PUBLISHED["average_and_range"])
    sheet = {who: numpy.array(rows) for who, rows in PUBLISHED["data_by_appraiser_trial_rows"].items()}
    for who, trials in sheet.items():
        assert agrees(float(numpy.ptp(trials, axis=0).mean()), expected[f"rbar_{who}"])
        assert agrees(float(trials.mean()), expected[f"xbar_{who}"])
    ranges = numpy.array([numpy.ptp(trials, axis=0) for trials in sheet.values()])
    assert agrees(float(ranges.mean()), expected["r_double_bar"])
    means = numpy.mean(list(sheet.values()), axis=(0, 1))
    assert agrees(float(numpy.ptp(means)), expected["R_p"])
    rounded = [round(float(trials.mean()), 4) for trials in sheet.values()]
    assert agrees(max(rounded) - min(rounded), expected["x_diff"])


def test_compares_the_spread_with_the_band() -> None:
    found = study(READINGS, band=limits(-4, 4))
    assert found.percent_band == pytest.approx(100 * 6 * found.gauge / 8)
    assert found.shares["part"].percent_band == pytest.approx(100 * 6 * found.part / 8)
    assert study(READINGS).percent_band is None


def test_says_why_it_cannot_compare_with_a_band_open_on_one_side() -> None:
    found = study(READINGS, band=limits(None, 4))
    assert found.percent_band is None
    assert any("open on one side" in warning for warning in found.warnings)


def simulated(part: float, who: float, both: float, repeat: float, shape: tuple[int, int, int]) -> list[Reading]:
    rng = numpy.random.default_rng(99)
    parts, people, trials = shape
    p, a = rng.normal(0, part, parts), rng.normal(0, who, people)
    ab = rng.normal(0, both, (parts, people))
    return [
        Reading(i, j, p[i] + a[j] + ab[i, j] + rng.normal(0, repeat))
        for i in range(parts)
        for j in range(people)
        for _ in range(trials)
    ]


def test_finds_the_components_that_readings_were_made_from() -> None:
    """Simulated with known standard deviations, a strong interaction among them; the interaction is kept."""
    found = study(simulated(3.0, 1.0, 0.6, 0.2, (150, 60, 2)))
    assert found.part == pytest.approx(3.0, rel=0.1)
    assert found.reproducibility == pytest.approx(1.0, rel=0.2)
    assert found.interaction == pytest.approx(0.6, rel=0.05)
    assert found.repeatability == pytest.approx(0.2, rel=0.05)
    assert found.gauge == pytest.approx((1.0 + 0.36 + 0.04) ** 0.5, rel=0.2)


def test_tests_against_the_interaction_where_it_is_kept() -> None:
    found = study(simulated(3.0, 1.0, 0.6, 0.2, (10, 3, 3)))
    table = {row.source: row for row in found.table}
    assert found.interaction is not None
    assert found.interaction > 0
    assert table["part"].f == pytest.approx(table["part"].ms / table["appraiser and part"].ms)
    squares = found.repeatability**2 + found.reproducibility**2 + found.interaction**2
    assert found.gauge == pytest.approx(squares**0.5)


@SEVERAL
@given(st.randoms(use_true_random=False))
def test_does_not_depend_on_the_order_of_readings(order: random.Random) -> None:
    mixed = list(READINGS)
    order.shuffle(mixed)
    for method in ("anova", "average_range"):
        one, other = study(READINGS, method=method), study(mixed, method=method)  # type: ignore[arg-type]
        assert other.gauge == pytest.approx(one.gauge, rel=1e-9)
        assert other.part == pytest.approx(one.part, rel=1e-9)


@SEVERAL
@given(st.integers(1, 1000), st.integers(-1000, 1000))
def test_does_not_depend_on_unit_or_origin(scale: int, shift: int) -> None:
    moved = [(part, who, float(value) * scale + shift) for part, who, value in READINGS]
    assert study(moved).percent_study == pytest.approx(study(READINGS).percent_study, rel=1e-6)


def test_refuses_an_unbalanced_study_and_lists_what_is_missing() -> None:
    short = [reading for reading in READINGS if (reading.part, reading.appraiser) != (3, "B")]
    with pytest.raises(Refused, match="part 3 by B: 0 of 3") as refusal:
        study(short)
    assert refusal.value.code == "unbalanced_study"
    assert refusal.value.details["missing"] == [{"part": 3, "appraiser": "B", "have": 0, "need": 3}]
    with pytest.raises(Refused, match="part 1 by A: 4 of 3"):
        study([*READINGS, Reading(1, "A", 0.3)])
    with pytest.raises(Refused, match="and 4 more"):
        study([reading for reading in READINGS if reading.appraiser != "C" or reading.part == 1])


REFUSALS: list[tuple[Any, str]] = [
    (lambda: study([]), "study_too_small"),
    (lambda: study([r for r in READINGS if r.appraiser == "A"]), "study_too_small"),
    (lambda: study([r for r in READINGS if r.part == 1]), "study_too_small"),
    (lambda: study([(p, a, p) for p in range(10) for a in "AB"]), "study_too_small"),
    (lambda: study([(p, a, p) for p in range(10) for a in "AB" for _ in range(2)]), "no_gauge_spread"),
    (lambda: study([(p, a, 1) for p in range(10) for a in "AB" for _ in range(2)]), "no_gauge_spread"),
    (lambda: study(READINGS, method="by eye"), "unknown_method"),  # type: ignore[arg-type]
    (lambda: study([*READINGS[:-1], Reading(10, "C", float("nan"))]), "reading_not_a_number"),
    (
        lambda: study([*READINGS[:-1], Reading(10, "C", float("nan"))], method="average_range"),
        "reading_not_a_number",
    ),
]


@pytest.mark.parametrize(("call", "code"), REFUSALS)
def test_refuses_studies_that_would_say_nothing(call: Any, code: str) -> None:
    with pytest.raises((Invalid, Refused)) as refusal:
        call()
    assert refusal.value.code == code


def test_warns_of_few_parts() -> None:
    few = study(simulated(3.0, 1.0, 0.0, 0.2, (5, 3, 2)))
    assert any("5 parts" in warning for warning in few.warnings)


def test_pools_the_levels_of_check_standards_as_published() -> None:
    means = [[run["mean"] for run in standard] for standard in PROBE["data"]]
    sigmas = [[run["sd"] for run in standard] for standard in PROBE["data"]]
    found = nested_spread(means, sigmas, readings_per_day=6)
    expected = expected_in(PROBE["expected"])
    for name, sigma in zip(PROBE["wafers"], found.runs_by_standard, strict=True):
        assert agrees(sigma, expected[f"level3_sd_{name}"])
    assert agrees(found.between_runs.sigma, expected["level3_pooled_5df"])
    assert agrees(found.between_days.sigma, expected["level2_pooled_50df"])
    assert agrees(found.within_day.sigma, expected["level1_pooled_300df"])
    assert (found.within_day.dof, found.between_days.dof, found.between_runs.dof) == (300, 50, 5)


def test_refuses_levels_that_are_not_nested_evenly() -> None:
    sigmas = [[[0.1, 0.1], [0.1, 0.1]]]
    for means, code in (
        ([[[1.0, 2.0], [1.0]]], "unbalanced_study"),
        ([[[1.0, 2.0]]], "unbalanced_study"),
        ([], "unbalanced_study"),
    ):
        with pytest.raises(Refused) as refusal:
            nested_spread(means, sigmas, readings_per_day=6)
        assert refusal.value.code == code
    with pytest.raises(Refused) as refusal:
        nested_spread([[[1.0, 2.0], [1.0, 2.0]]], sigmas, readings_per_day=1)
    assert refusal.value.code == "study_too_small"
