"""GUM and JCGM 106 worked examples; their sources and origins stand in tests/vectors/uncertainty.json."""

from __future__ import annotations

import math
from contextlib import suppress
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.uncertainty import (
    Component,
    capability_index,
    combine,
    conformance_probability,
    coverage_factor,
    decision_risks,
    dof_from_reliability,
    from_expanded,
    from_half_width,
    from_resolution,
    guard_for,
    reliability_of_deviation,
    type_a,
)
from tests.core.metrology.refusals import refusal
from tests.core.metrology.vectors import load

UNHURRIED = settings(deadline=None)  # machines are busy, and a first call may load a library
VECTORS = load("uncertainty.json")
GUM = {case["id"]: case for case in VECTORS["gum"]}
CONFORMITY = {case["id"]: case for case in VECTORS["conformity"]}

PLAIN = Band(Decimal("24.8"), Decimal("25.2"))
AT_MOST = Band(None, Decimal(10))


def inputs(case: dict[str, Any]) -> dict[str, float]:
    """The numbers among the inputs."""
    numbers = {}
    for key, value in case["inputs"].items():
        with suppress(TypeError, ValueError):
            numbers[key] = float(value)
    return numbers


def agrees(found: float, case: dict[str, Any], name: str) -> bool:
    """Within half a unit of the last printed digit, or the tolerance that the reference names."""
    published = Decimal(case["published"][name])
    half_a_digit = float(Decimal(1).scaleb(int(published.as_tuple().exponent)) / 2)
    tolerance = float(case.get("tolerance_used", {}).get(name, half_a_digit))
    return abs(found - float(published)) <= tolerance * (1 + 1e-9)


def recomputed(case: dict[str, Any], name: str) -> Any:
    return pytest.approx(float(case["recomputed"][name]), rel=5e-6)


# --- GUM ---


def test_reads_a_standard_uncertainty_from_a_certificate() -> None:
    mass, resistor = GUM["4.3.3-mass"], GUM["4.3.4-resistor"]
    assert agrees(from_expanded(mass["inputs"]["U"], mass["inputs"]["k"]), mass, "u")
    assert agrees(from_expanded(resistor["inputs"]["U"], Decimal(resistor["inputs"]["factor"])), resistor, "u")


@pytest.mark.parametrize("name", ["4.3.7-copper", "4.4.5-rectangular"])
def test_reads_a_standard_uncertainty_from_limits(name: str) -> None:
    case = GUM[name]
    found = from_half_width(inputs(case)["half_width"])
    assert agrees(found, case, "u")
    assert found == recomputed(case, "u")


def test_knows_the_triangular_and_the_u_shaped_distribution() -> None:
    """GUM 4.3.9: a/sqrt(6); arcsine distribution: a/sqrt(2), from memory. Checked against scipy."""
    assert from_half_width(1, "triangular") == pytest.approx(stats.triang(0.5, -1, 2).std())
    assert from_half_width(1, "u_shaped") == pytest.approx(stats.arcsine(-1, 2).std())
    assert from_half_width(1) == pytest.approx(stats.uniform(-1, 2).std())


def test_reads_a_standard_uncertainty_from_a_display_step() -> None:
    case = GUM["F.2.2.1-resolution"]
    assert agrees(from_resolution(case["inputs"]["resolution"]), case, "u")


def test_combines_the_voltmeter_example() -> None:
    case, given_ = GUM["4.3.7-voltmeter"], inputs(GUM["4.3.7-voltmeter"])
    half_width = given_["ppm_of_reading"] * given_["reading_V"] + given_["ppm_of_range"] * given_["range_V"]
    type_b = from_half_width(half_width)
    combined = combine([Component(given_["type_A_u_uV"]), Component(type_b)])
    assert agrees(half_width, case, "half_width_uV")
    assert agrees(type_b, case, "u_B_uV")
    assert agrees(combined.standard, case, "u_c_uV")
    # The text carries the rounded 8.7 on; the code does not round on the way.
    assert combine([Component(12), Component(8.7)]).standard == recomputed(case, "u_c_uV")


def test_evaluates_repeated_readings() -> None:
    case = GUM["4.4.3-type-A"]
    found = type_a([Decimal(str(value)) for value in case["inputs"]["observations"]])
    assert agrees(found.mean, case, "mean")
    assert agrees(found.standard_deviation, case, "s")
    assert agrees(found.standard_uncertainty, case, "u_mean")
    assert found.degrees_of_freedom == 19


@pytest.mark.parametrize("name", ["G.4.2-reliability-0.25", "G.4.2-reliability-0.5"])
def test_turns_reliability_into_degrees_of_freedom(name: str) -> None:
    assert agrees(dof_from_reliability(inputs(GUM[name])["relative_uncertainty_of_u"]), GUM[name], "nu")


def end_gauge() -> list[Component]:
    """The budget of GUM Table H.1 in nanometres."""
    length, alpha, theta = 50.000623e6, 11.5e-6, -0.1
    return [
        Component(75 / 3, 18, name="standard"),
        Component(13 / math.sqrt(5), 24, name="repeated readings"),
        Component(10 / 2.57, 5, name="comparator, random"),
        Component(20 / 3, 8, name="comparator, systematic"),
        Component(1e-6 / math.sqrt(3), 50, sensitivity=length * theta, name="difference of expansion"),
        Component(0.05 / math.sqrt(3), 2, sensitivity=length * alpha, name="difference of temperature"),
    ]


def test_reproduces_the_end_gauge_calibration() -> None:
    case, budget = GUM["H.1-end-gauge"], end_gauge()
    difference = combine(budget[1:4])
    total = combine(budget, confidence=0.99)
    assert agrees(budget[0].contribution, case, "u_lS_nm")
    assert agrees(budget[1].contribution, case, "u_dbar_nm")
    assert agrees(budget[2].contribution, case, "u_d1_nm")
    assert agrees(budget[3].contribution, case, "u_d2_nm")
    assert agrees(difference.standard, case, "u_d_nm")
    assert agrees(difference.effective_dof, case, "nu_eff_d")
    assert agrees(budget[4].contribution, case, "component_delta_alpha_nm")
    assert agrees(budget[5].contribution, case, "component_delta_theta_nm")
    assert agrees(total.standard**2, case, "u_c_squared_nm2")
    assert agrees(total.standard, case, "u_c_nm")
    assert agrees(total.effective_dof, case, "nu_eff")
    assert math.floor(total.effective_dof) == int(case["published"]["nu_used"])
    assert agrees(total.coverage_factor, case, "t99")
    assert agrees(total.expanded, case, "U99_nm")
    assert sum(total.shares) == pytest.approx(1)


def test_gives_the_same_degrees_of_freedom_in_one_step_as_in_two() -> None:
    budget = end_gauge()
    difference = combine(budget[1:4])
    nested = combine([budget[0], Component(difference.standard, difference.effective_dof), *budget[4:]])
    assert nested.effective_dof == pytest.approx(combine(budget).effective_dof)


@pytest.mark.parametrize("name", [name for name in GUM if name.startswith("E.1")])
def test_knows_how_well_a_standard_deviation_is_known(name: str) -> None:
    found = 100 * reliability_of_deviation(GUM[name]["inputs"]["n"])
    assert agrees(found, GUM[name], "percent")
    assert found == recomputed(GUM[name], "percent")


@pytest.mark.parametrize("name", [name for name in GUM if name.startswith("t-")])
def test_reads_students_factor(name: str) -> None:
    case, given_ = GUM[name], inputs(GUM[name])
    found = coverage_factor(given_["dof"], given_["level_percent"] / 100)
    assert agrees(found, case, "t")
    assert found == pytest.approx(stats.t.ppf((1 + given_["level_percent"] / 100) / 2, given_["dof"]), rel=1e-12)


def test_uses_k_2_without_a_stated_confidence() -> None:
    assert combine([Component(3), Component(4)]).expanded == pytest.approx(10, rel=1e-12)


def test_cuts_degrees_of_freedom_to_whole_ones() -> None:
    assert coverage_factor(16.9, 0.99) == coverage_factor(16, 0.99)
    assert coverage_factor(17 - 1e-12, 0.99) == coverage_factor(17, 0.99)


def test_adds_fully_correlated_components_straight() -> None:
    """GUM 5.2.2 note 1: with all correlations +1 the uncertainties add; its example is ten resistors."""
    assert combine([Component(3), Component(4)], correlations=[(0, 1, 1.0)]).standard == pytest.approx(7)
    assert combine([Component(3), Component(4)], correlations=[(0, 1, -1.0)]).standard == pytest.approx(1)
    pairs = [(i, j, 1.0) for i in range(10) for j in range(i)]
    assert combine([Component(0.1)] * 10, correlations=pairs).standard == pytest.approx(1.0)


def test_accepts_a_budget_of_zeros() -> None:
    combined = combine([Component(0.0, 5)])
    assert (combined.standard, combined.expanded, combined.shares) == (0.0, 0.0, (0.0,))
    assert math.isinf(combined.effective_dof)


COMPONENTS = st.builds(
    Component,
    st.floats(1e-9, 1e6),
    st.one_of(st.just(math.inf), st.integers(1, 200).map(float)),
    st.floats(-1e3, 1e3).filter(lambda sensitivity: abs(sensitivity) > 1e-3),
)


@UNHURRIED
@given(st.lists(COMPONENTS, min_size=1, max_size=6), COMPONENTS)
def test_never_shrinks_when_a_component_is_added(components: list[Component], more: Component) -> None:
    before, after = combine(components), combine([*components, more])
    assert after.standard >= before.standard * (1 - 1e-12)
    assert after.standard >= more.contribution * (1 - 1e-12)


@UNHURRIED
@given(st.lists(COMPONENTS, min_size=1, max_size=6))
def test_has_at_least_the_smallest_degrees_of_freedom(components: list[Component]) -> None:
    combined = combine(components)
    smallest = min(component.degrees_of_freedom for component in components)
    assert combined.effective_dof >= smallest * (1 - 1e-9)
    assert combined.standard <= sum(component.contribution for component in components) * (1 + 1e-12)


def test_refuses_budgets_that_say_nothing() -> None:
    refusal("components_missing", combine, [])
    refusal("uncertainty_negative", Component, -0.1)
    refusal("uncertainty_not_positive", Component, math.inf)
    refusal("number_not_plain", Component, math.nan)
    refusal("number_not_plain", Component, "0.1")
    refusal("number_not_plain", Component, 0.1, 5, math.inf)
    refusal("dof_not_positive", Component, 0.1, 0)
    refusal("confidence_invalid", combine, [Component(0.1)], confidence=1.0)
    refusal("dof_below_one", combine, [Component(0.1, 0.5)])
    refusal("readings_too_few", type_a, [Decimal(1)])
    refusal("readings_too_few", reliability_of_deviation, 1)
    refusal("shape_unknown", from_half_width, 1, "square")
    refusal("factor_invalid", from_expanded, 1, 0)
    refusal("number_not_positive", dof_from_reliability, 0)


def test_refuses_correlations_it_cannot_use() -> None:
    many = [Component(0.1), Component(0.2)]
    for pair in ((0, 2, 0.5), (0, 0, 0.5), (0, 1, 1.1), (-1, 1, 0.5)):
        refusal("correlation_invalid", combine, many, correlations=[pair])
    refusal("dof_with_correlation", combine, [Component(0.1, 5), Component(0.2)], correlations=[(0, 1, 0.5)])


# --- JCGM 106 ---


@pytest.mark.parametrize("name", [name for name in CONFORMITY if name.startswith("table1")])
def test_places_the_guard_for_a_conformance_probability(name: str) -> None:
    case, probability = CONFORMITY[name], inputs(CONFORMITY[name])["conformance_probability"]
    z = guard_for(1, probability)
    assert agrees(z, case, "z")
    assert z == recomputed(case, "z")
    assert conformance_probability(10 - z, 1, AT_MOST) == pytest.approx(probability, rel=1e-12)


@pytest.mark.parametrize("name", ["zener", "container"])
def test_gives_the_probability_of_conformity_at_one_limit(name: str) -> None:
    case, given_ = CONFORMITY[name], CONFORMITY[name]["inputs"]
    lower, upper = given_.get("T_L"), given_.get("T_U")
    band = Band(None if lower is None else Decimal(lower), None if upper is None else Decimal(upper))
    found = conformance_probability(Decimal(given_["y"]), Decimal(given_["u"]), band)
    assert agrees(found, case, "pc")
    assert found == recomputed(case, "pc")


@pytest.mark.parametrize("name", ["coverage-k1", "coverage-k2"])
def test_gives_the_probability_between_two_limits(name: str) -> None:
    case, k = CONFORMITY[name], Decimal(CONFORMITY[name]["inputs"]["k"])
    assert agrees(100 * conformance_probability(0, 1, Band(-k, k)), case, "percent")


@pytest.mark.parametrize("name", ["guard-2u", "ilac-w0", "ilac-w1", "ilac-w1.5"])
def test_bounds_false_acceptance_by_the_guard(name: str) -> None:
    """At the acceptance limit a guard of w leaves 1 - P(conforms); w = r·U, U = 2 u (1.5: from memory)."""
    case = CONFORMITY[name]
    w = Decimal(str(case["inputs"]["w_over_U"])) * 2
    found = 100 * (1 - conformance_probability(10 - w, 1, AT_MOST))
    if "specific_false_accept_percent_below" in case["published"]:
        assert found <= float(case["published"]["specific_false_accept_percent_below"])
        assert found == recomputed(case, "specific_false_accept_percent")
    else:
        assert agrees(found, case, "max_probability_false_accept_percent")


def test_rejects_a_speed_only_beyond_reasonable_doubt() -> None:
    case, given_ = CONFORMITY["speed-limit"], inputs(CONFORMITY["speed-limit"])
    limit = Band(None, Decimal(int(given_["v0"])))
    speed = float(case["recomputed"]["v_max"])
    assert agrees(speed, case, "v_max")
    assert conformance_probability(speed, speed * given_["relative_u"], limit) == pytest.approx(0.001, rel=2e-3)


def test_gives_the_measurement_capability() -> None:
    case = CONFORMITY["cm-3"]
    largest_error = Decimal("0.3")
    u = largest_error / 3 / 2
    assert agrees(capability_index(Band(-largest_error, largest_error), u), case, "Cm")


@pytest.mark.parametrize("name", ["resistors", "figure17-Cm2", "deaver-4to1", "deaver-2.5"])
def test_gives_the_global_risks(name: str) -> None:
    case = CONFORMITY[name]
    band, process, u = RISK_INPUTS[name]
    risks = decision_risks(band, process_mean=process[0], process_deviation=process[1], standard_uncertainty=u)
    assert agrees(100 * risks.consumer, case, "consumer_risk_percent")
    assert 100 * risks.consumer == recomputed(case, "consumer_risk_percent")
    if "producer_risk_percent" in case["published"]:
        assert agrees(100 * risks.producer, case, "producer_risk_percent")
    assert 100 * risks.producer == recomputed(case, "producer_risk_percent")
    if name == "resistors":
        assert agrees(100 * risks.conforming, case, "process_conforming_percent")
        assert agrees(100 * risks.accepted, case, "of_100_accepted")


RISK_INPUTS: dict[str, tuple[Band, tuple[Decimal, Decimal], Decimal]] = {
    "resistors": (
        Band(Decimal("1499.8"), Decimal("1500.2"), guard=Decimal("0.02")),
        (Decimal(1500), Decimal("0.12")),
        Decimal("0.04"),
    ),
    # T = 6 so that u0 = T/6 = 1 and u = T/(4·C_m) = 0.75
    "figure17-Cm2": (Band(Decimal(-3), Decimal(3)), (Decimal(0), Decimal(1)), Decimal("0.75")),
    "deaver-4to1": (Band(Decimal(-2), Decimal(2)), (Decimal(0), Decimal(1)), Decimal("0.25")),
    "deaver-2.5": (Band(Decimal("-2.5"), Decimal("2.5")), (Decimal(0), Decimal(1)), Decimal("0.25")),
}


def test_agrees_with_the_bivariate_normal_of_scipy() -> None:
    band = Band(None, Decimal(2), guard=Decimal("0.1"))
    risks = decision_risks(band, process_mean=0, process_deviation=1, standard_uncertainty=Decimal("0.25"))
    together = stats.multivariate_normal([0, 0], [[1, 1], [1, 1.0625]])
    both = together.cdf([2, 1.9])
    assert risks.consumer == pytest.approx(stats.norm(0, math.sqrt(1.0625)).cdf(1.9) - both, abs=1e-6)
    assert risks.producer == pytest.approx(stats.norm.cdf(2) - both, abs=1e-6)


def test_lets_a_natural_boundary_take_nothing_away() -> None:
    flat = Band(Decimal(0), Decimal("0.1"), natural=frozenset({"lower"}))
    assert conformance_probability(0, Decimal("0.01"), flat) == pytest.approx(1)
    assert conformance_probability(0, Decimal("0.01"), Band(Decimal(0), Decimal("0.1"))) == pytest.approx(0.5)
    risks = decision_risks(flat, process_mean=0, process_deviation=Decimal("0.01"), standard_uncertainty=0.01)
    assert risks.conforming == pytest.approx(1)


def test_keeps_its_digits_far_outside_a_limit() -> None:
    assert conformance_probability(30, 1, AT_MOST) == pytest.approx(stats.norm.cdf(-20), rel=1e-10)
    between = stats.norm.cdf(-4.8) - stats.norm.cdf(-5.2)
    assert conformance_probability(20, 1, PLAIN) == pytest.approx(between, rel=1e-10)
    assert conformance_probability(30, 1, PLAIN) == pytest.approx(between, rel=1e-10)


@UNHURRIED
@given(st.floats(0, 3), st.floats(0, 3), st.floats(0.01, 1))
def test_is_less_sure_of_a_value_nearer_the_limit(one: float, other: float, u: float) -> None:
    near, far = sorted((one, other))
    assert conformance_probability(10 - near, u, AT_MOST) <= conformance_probability(10 - far, u, AT_MOST)


@UNHURRIED
@given(st.floats(0, 0.99))
def test_trades_the_consumers_risk_for_the_producers(share: float) -> None:
    guard = Decimal(str(round(share, 6)))
    inputs_ = {"process_mean": 0, "process_deviation": 1, "standard_uncertainty": Decimal("0.25")}
    plain = decision_risks(Band(Decimal(-2), Decimal(2)), **inputs_)
    guarded = decision_risks(Band(Decimal(-2), Decimal(2), guard=guard), **inputs_)
    assert guarded.consumer <= plain.consumer + 1e-9
    assert guarded.producer >= plain.producer - 1e-9


def test_refuses_probabilities_without_an_uncertainty() -> None:
    refusal("uncertainty_not_positive", conformance_probability, 25, 0, PLAIN)
    refusal("uncertainty_negative", conformance_probability, 25, -1, PLAIN)
    refusal("number_not_plain", conformance_probability, math.nan, 1, PLAIN)
    refusal("band_open", capability_index, AT_MOST, 1)
    for probability in (0.4, 1.0):
        refusal("confidence_invalid", guard_for, 1, probability)
    process = {"process_mean": 0, "standard_uncertainty": 1}
    refusal("number_not_positive", decision_risks, PLAIN, process_deviation=0, **process)
