"""Run rules: their definitions, what they see, and how often chance breaks them (run_rules_*.json)."""

from __future__ import annotations

import itertools
import math

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.errors import Invalid
from qcapp.core.statistics.distributions import binomial_at_least, normal_above
from qcapp.core.statistics.run_length import rules_run_length
from qcapp.core.statistics.run_rules import (
    ALL_RULES,
    RULES,
    USUAL_RULES,
    Pattern,
    Rule,
    Signal,
    find_rules,
    run_rules,
)
from tests.core.statistics.vectors import agrees, expected_in, load, rows

DEFINITIONS = load("statistics_run_rules_definitions")
BY_REFERENCE = {
    "WE1": "beyond_limits",
    "WE2": "two_of_three_far_out",
    "WE3": "four_of_five_off_centre",
    "WE4": "eight_on_one_side",
    "N1": "beyond_limits",
    "N2": "nine_on_one_side",
    "N3": "six_rising_or_falling",
    "N4": "fourteen_up_and_down",
    "N5": "two_of_three_far_out",
    "N6": "four_of_five_off_centre",
    "N7": "fifteen_close_to_centre",
    "N8": "eight_away_from_centre",
}
BY_NUMBER = dict(zip("1234", USUAL_RULES, strict=True))


def broken(points: list[float], rule: str | Rule) -> tuple[int, ...]:
    """Positions at which the rule is broken, for points counted in standard deviations from the centre."""
    signals = run_rules(points, 0.0, 1.0, [rule])
    return signals[0].points if signals else ()


@pytest.mark.parametrize(
    "definition",
    DEFINITIONS["western_electric"]["rules"] + DEFINITIONS["nelson"]["rules"],
    ids=lambda d: d["id"],
)
def test_is_defined_as_in_the_literature(definition: dict[str, object]) -> None:
    rule = RULES[BY_REFERENCE[str(definition["id"])]]
    assert rule.of == definition.get("of", definition.get("points"))
    assert rule.count == definition.get("run", definition.get("points"))
    assert rule.distance == definition.get("beyond_sigma", definition.get("within_sigma", 0))
    sides = {
        "same": Pattern.BEYOND_ONE_SIDE,
        "any": Pattern.BEYOND_ONE_SIDE,
        "either": Pattern.BEYOND_EITHER_SIDE,
    }
    patterns = {"monotone": Pattern.STEADY, "alternating": Pattern.ALTERNATING, "within": Pattern.WITHIN}
    named = patterns.get(str(definition.get("pattern"))) or sides[str(definition["side"])]
    assert rule.pattern is named


@pytest.mark.parametrize("entry", DEFINITIONS["window_probability"], ids=lambda e: e["quantity"])
def test_breaks_by_chance_in_a_window_as_often_as_computed(entry: dict[str, float]) -> None:
    rule = RULES[BY_REFERENCE[str(entry["quantity"])]]
    assert agrees(window_probability(rule), entry)


def window_probability(rule: Rule) -> float:
    match rule.pattern:
        case Pattern.BEYOND_ONE_SIDE:
            return 2 * binomial_at_least(rule.count, rule.of, normal_above(rule.distance))
        case Pattern.BEYOND_EITHER_SIDE:
            return binomial_at_least(rule.count, rule.of, 2 * normal_above(rule.distance))
        case Pattern.WITHIN:
            return float((1 - 2 * normal_above(rule.distance)) ** rule.of)
        case Pattern.STEADY:
            return 2 / math.factorial(rule.of)
        case Pattern.ALTERNATING:
            return 2 * zigzags(rule.of) / math.factorial(rule.of)


def zigzags(n: int) -> int:
    """Permutations of n that go up first and then alternate (Euler's zigzag numbers, by Entringer's
    triangle)."""
    row = [1]
    for _ in range(n - 1):
        row = list(itertools.accumulate(reversed(row), initial=0))
    return sum(row)


@pytest.mark.parametrize(
    ("rule", "orders"),
    [
        (Rule("steady", "", Pattern.STEADY, 6, 6), 2),
        (Rule("turns", "", Pattern.ALTERNATING, 6, 6), 2 * 61),
    ],
)
def test_counts_every_order_of_six_points_rightly(rule: Rule, orders: int) -> None:
    """Of all 720 orders 2 rise or fall steadily and 122 alternate (zigzag number 61)."""
    seen = sum(bool(broken(list(map(float, order)), rule)) for order in itertools.permutations(range(6)))
    assert seen == orders
    assert zigzags(6) == 61


@pytest.mark.parametrize("row", rows("statistics_run_rules_arl"), ids=lambda r: f"{r['rule_set']}@{r['shift_sigma']}")
def test_runs_as_long_as_published(row: dict[str, str]) -> None:
    """Champ and Woodall (1987), Table 1, from memory; unpublished rows against an independent Markov
    chain."""
    found = rules_run_length([BY_NUMBER[n] for n in row["rules"].split("+")], shift=float(row["shift_sigma"]))
    assert found == pytest.approx(float(row["computed_arl"]), abs=6e-5)
    if row["published_arl"]:
        assert abs(found - float(row["published_arl"])) <= 0.0051


def test_runs_as_long_as_computed_for_single_rules() -> None:
    expected = expected_in(DEFINITIONS["exact_in_control_arl"])
    expected["WE4"] = expected.pop("WE4_alone")
    for name, entry in expected.items():
        assert agrees(rules_run_length([BY_REFERENCE[name]]), entry), name


def test_sees_in_simulated_points_what_the_run_length_promises() -> None:
    """200,000 points from a fixed seed: shares of completed patterns near their window probabilities."""
    points = numpy.random.default_rng(20).standard_normal(200_000)
    for key in ("beyond_limits", "six_rising_or_falling", "fourteen_up_and_down", "fifteen_close_to_centre"):
        (signal,) = run_rules(points, 0.0, 1.0, [key])
        expected = window_probability(RULES[key]) * points.size
        assert abs(len(signal.points) - expected) < 6 * math.sqrt(expected), key


SEEN = [
    ("beyond_limits", [0, 3.1, 0, -3.2], (1, 3)),
    ("beyond_limits", [3.0, -3.0, 0], ()),  # on the limit is not beyond it
    ("two_of_three_far_out", [2.1, 0, 2.1], (2,)),
    ("two_of_three_far_out", [2.1, 0, -2.1], ()),
    ("two_of_three_far_out", [2.1, 0, 0, 2.1], ()),
    ("two_of_three_far_out", [2.1, 2.1], (1,)),
    ("two_of_three_far_out", [2.1, 2.1, 0], (1,)),  # the third point did not complete anything
    ("two_of_three_far_out", [-2.1, -2.5, 0, -2.2], (1, 3)),
    ("two_of_three_far_out", [2.0, 2.0, 2.0], ()),
    ("four_of_five_off_centre", [1.1, 1.2, 0, 1.3, 1.4], (4,)),
    ("four_of_five_off_centre", [1.1, 1.2, 0, 0, 1.3, 1.4], ()),
    ("eight_on_one_side", [0.1] * 9, (7, 8)),
    ("eight_on_one_side", [0.1] * 4 + [0.0] + [0.1] * 7, ()),  # the centre belongs to neither side
    ("eight_on_one_side", [-0.1] * 8, (7,)),
    ("nine_on_one_side", [-0.1] * 8, ()),
    ("nine_on_one_side", [-0.1] * 9, (8,)),
    ("six_rising_or_falling", [0, 0.1, 0.2, 0.3, 0.4, 0.5], (5,)),
    ("six_rising_or_falling", [0, 0.1, 0.2, 0.3, 0.4], ()),
    ("six_rising_or_falling", [0, 0.1, 0.2, 0.2, 0.3, 0.4, 0.5], ()),
    ("six_rising_or_falling", [1, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4], (5, 6)),
    ("fourteen_up_and_down", [0, 1] * 7, (13,)),
    ("fourteen_up_and_down", [0, 1] * 6 + [0], ()),
    ("fourteen_up_and_down", [0, 1, 0, 1, 1, 0] + [1, 0] * 5, ()),
    ("fifteen_close_to_centre", [0.9, -0.9, 0] * 5, (14,)),
    ("fifteen_close_to_centre", [0.5] * 14 + [1.0], ()),
    ("eight_away_from_centre", [1.1, -1.2] * 4, (7,)),
    ("eight_away_from_centre", [1.1, -1.2] * 3 + [1.0, 1.1], ()),
]


@pytest.mark.parametrize(("rule", "points", "expected"), SEEN)
def test_marks_the_points_that_complete_a_pattern(rule: str, points: list[float], expected: tuple[int, ...]) -> None:
    assert broken(points, rule) == expected


@given(st.lists(st.sampled_from([-3.5, -2.5, -1.5, -0.5, 0.5, 1.5, 2.5, 3.5]), min_size=1, max_size=30))
def test_agrees_with_looking_at_every_window_by_hand(points: list[float]) -> None:
    for key in (*USUAL_RULES, "nine_on_one_side", "fifteen_close_to_centre", "eight_away_from_centre"):
        assert broken(points, key) == tuple(at for at in range(len(points)) if complete(RULES[key], points, at))


def complete(rule: Rule, points: list[float], at: int) -> bool:
    window = points[max(0, at - rule.of + 1) : at + 1]
    tests = {
        Pattern.BEYOND_ONE_SIDE: (lambda z: z > rule.distance, lambda z: z < -rule.distance),
        Pattern.BEYOND_EITHER_SIDE: (lambda z: abs(z) > rule.distance,),
        Pattern.WITHIN: (lambda z: abs(z) < rule.distance,),
    }[rule.pattern]
    return any(hit(points[at]) and sum(map(hit, window)) >= rule.count for hit in tests)


def test_uses_the_standard_deviation_of_each_point() -> None:
    points, sigma = numpy.array([11.0, 11.0]), numpy.array([1.0, 0.3])
    (signal,) = run_rules(points, 10.0, sigma, ["beyond_limits"])
    assert signal.points == (1,)


def test_does_not_change_the_callers_points() -> None:
    points = numpy.array([1.0, 2.0, 3.0])
    run_rules(points, 2.0, 0.5)
    assert points.tolist() == [1.0, 2.0, 3.0]


def test_lists_rules_in_the_order_asked_and_leaves_out_those_that_hold() -> None:
    points = [4.0, *[0.5] * 8]
    asked = ["eight_on_one_side", "two_of_three_far_out", "beyond_limits"]
    assert [signal.rule for signal in run_rules(points, 0.0, 1.0, asked)] == [
        "eight_on_one_side",
        "beyond_limits",
    ]


def test_shades_all_points_of_a_pattern() -> None:
    assert Signal("two_of_three_far_out", "", (2, 7), 3).involved == (0, 1, 2, 5, 6, 7)


def test_says_what_is_seen_in_plain_words() -> None:
    assert RULES["eight_on_one_side"].words == "eight in a row on one side of the centre"
    for rule in RULES.values():
        assert rule.words[0].islower()
        assert not any(letter.isdigit() for letter in rule.words), "numbers are spelled, rule numbers are absent"
    assert set(ALL_RULES) == set(RULES) - {"nine_on_one_side"}


def test_takes_rules_of_the_callers_own_making() -> None:
    own = Rule("three_low", "three in a row below", Pattern.BEYOND_ONE_SIDE, 3, 3, 0.0)
    assert broken([-1, -1, -1], own) == (2,)
    assert find_rules([own]) == (own,)


def test_refuses_an_unknown_rule_and_says_which_exist() -> None:
    with pytest.raises(Invalid, match="eight_on_one_side") as refusal:
        run_rules([1.0, 2.0], 0.0, 1.0, ["seven_green"])
    assert refusal.value.code == "unknown_run_rule"


@pytest.mark.parametrize("sigma", [0.0, -1.0, float("nan"), numpy.array([1.0, 0.0])])
def test_refuses_a_standard_deviation_that_is_none(sigma: float) -> None:
    with pytest.raises(Invalid) as refusal:
        run_rules([1.0, 2.0], 0.0, sigma)
    assert refusal.value.code == "sigma_not_positive"


def test_refuses_the_run_length_of_rules_about_neighbours() -> None:
    with pytest.raises(Invalid) as refusal:
        rules_run_length(["six_rising_or_falling"])
    assert refusal.value.code == "rule_not_by_zone"
