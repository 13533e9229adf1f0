"""Units of measure in formulas: what goes together, what does not, and where nothing is claimed."""

from __future__ import annotations

import pytest

from qcapp.core.checkpoints.formula_units import check_units

UNITS = {
    "left": "mm",
    "right": "mm",
    "inches": "in",
    "metres": "m",
    "angle": "°",
    "angle_deg": "deg",
    "force": "N",
    "hardness": "HRC",
    "ratio": "",
}


def mismatches(expression: str, stated: str) -> list[str]:
    findings = check_units({"x": expression}, {**UNITS, "x": stated})
    assert {(finding.code, finding.place) for finding in findings} <= {("unit_mismatch", "x")}
    return [finding.message for finding in findings]


@pytest.mark.parametrize(
    ("expression", "stated"),
    [
        ("left - right", "mm"),
        ("left - 0.5", "mm"),
        ("(left + right) / 2", "mm"),
        ("max(left, right) - min(left, right)", "mm"),
        ("sqrt(left * left + right * right)", "mm"),
        ("left * right", "mm²"),
        ("left * right", "mm*mm"),
        ("left * left * left", "mm³"),
        ("left / right", ""),
        ("left / right * 100", "%"),
        ("left / 1000", "m"),
        ("left / 1000 + metres", "m"),
        ("force * left / 1000", "N·m"),
        ("force * metres", "N·m"),
        ("force / left", "N/mm"),
        ("left * sin(angle)", "mm"),
        ("left * sin(30)", "mm"),
        ("tan(angle_deg)", ""),
        ("atan2(left, right)", "°"),
        ("atan2(left, right) - angle_deg", "deg"),
        ("sin(atan2(left, right))", ""),
        ("ratio * left", "mm"),
        ("abs(-left)", "mm"),
    ],
)
def test_accepts_units_that_go_together(expression: str, stated: str) -> None:
    assert mismatches(expression, stated) == []


@pytest.mark.parametrize(
    ("expression", "stated", "told"),
    [
        ("left + inches", "mm", "puts mm and in together"),
        ("left + angle", "mm", "puts mm and ° together"),
        ("mean(left, right, angle)", "mm", "puts mm and ° together"),
        ("left + force * left", "mm", "puts mm and N·mm together"),
        ("left + ratio", "mm", "puts mm and a plain number together"),
        ("left - right", "°", "gives mm, the checkpoint states °"),
        ("(left + right) / 2", "°", "gives mm, the checkpoint states °"),
        ("left", "m", "gives mm, the checkpoint states m"),
        ("force * left", "N·m", "gives N·mm, the checkpoint states N·m"),
        ("left / right", "%", "gives a plain number, the checkpoint states %"),
        ("left * right", "", "gives mm², the checkpoint states a plain number"),
        ("sin(left)", "", "sin takes degrees, not mm"),
        ("cos(ratio)", "", "cos takes degrees, not a plain number"),
        ("atan2(left, inches)", "°", "puts mm and in together"),
        ("atan2(left, right)", "mm", "gives °, the checkpoint states mm"),
    ],
)
def test_finds_units_that_do_not_go_together(expression: str, stated: str, told: str) -> None:
    (message,) = mismatches(expression, stated)
    assert told in message


@pytest.mark.parametrize(
    ("expression", "stated"),
    [
        ("hardness - left", "HRC"),
        ("left + unknown", "mm"),
        ("left +", "mm"),
        ("2 * 3", "mm"),
        ("sqrt(left)", "mm"),
        ("left * unknown", "mm"),
        ("unknown / left", "mm"),
        ("left * left * left * left", "mm"),
    ],
)
def test_claims_nothing_where_nothing_is_known(expression: str, stated: str) -> None:
    assert mismatches(expression, stated) == []


def test_leaves_a_checkpoint_without_a_unit_alone() -> None:
    assert check_units({"x": "left"}, {"left": "mm"}) == []


def test_follows_units_through_other_derived_checkpoints() -> None:
    expressions = {"area": "left * right", "wrong": "area + left"}
    (finding,) = check_units(expressions, {**UNITS, "area": "mm²", "wrong": "mm"})
    assert finding.place == "wrong"
