"""Carbon equivalents of a joint and the sentence about cracking."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from qcapp.core.errors import Invalid
from qcapp.plans.calculators.carbon import ELEMENTS, Joint, joint
from tests.core.metrology.vectors import load

CASES = load("materials.json")["carbon_equivalents"]
LOW_ALLOY = {"C": Decimal("0.31"), "Mn": Decimal("0.52"), "Cr": Decimal("0.98"), "Mo": Decimal("0.19")}


def of(first: dict[str, Decimal] | None = None, second: dict[str, Decimal] | None = None, **options: Any) -> Joint:
    chosen = {"thickness": Decimal(2), "formula": "IIW"} | options
    return joint(("4130", first or {}), ("1020", second or {}), **chosen)


@pytest.mark.parametrize("row", CASES, ids=lambda row: f"{row['case']} {row['formula']}")
def test_gives_the_published_equivalents_in_its_table(row: dict[str, str]) -> None:
    """Published and recomputed results, source row by row in materials.json."""
    analysis = {element: Decimal(row[element]) for element in ELEMENTS if row.get(element)}
    table = {name: first for name, first, _ in of(analysis).table}
    assert float(table[row["formula"].removeprefix("CE_")]) == pytest.approx(float(row["result_pct"]), abs=1e-5)


def test_counts_the_upper_limits_of_a_grade_without_analysis() -> None:
    """0.33 + 0.60/6 + (1.10 + 0.25)/5 = 0.70 and 0.23 + 0.60/6 = 0.33, worked by hand from the grade's limits."""
    answer = of()
    assert [f"{side.found.value:.2f}" for side in answer.sides] == ["0.70", "0.33"]
    assert [side.basis for side in answer.sides] == ["upper limits of the grade"] * 2
    assert (answer.headline, answer.governing.grade) == ("0.70 %", "4130")


def test_leads_with_cracking_and_ends_with_who_decides() -> None:
    answer = of()
    assert "hydrogen cracking must be expected" in answer.warning
    assert "responsible weld engineer" in answer.caution
    assert "cracks can open a day later" in answer.caution
    assert any("cracks more readily than mild to mild" in remark for remark in answer.remarks)
    assert answer.copy_text == " ".join(answer.sentences)


@pytest.mark.parametrize(("carbon", "part"), [("0.10", "hardens little"), ("0.40", "hydrogen cracking is possible")])
def test_warns_by_the_governing_side(carbon: str, part: str) -> None:
    mild = {"C": Decimal("0.10"), "Mn": Decimal("0.40")}
    assert part in of({"C": Decimal(carbon), "Mn": Decimal("0.40")}, mild).warning


def test_says_that_formulas_without_a_threshold_only_compare() -> None:
    assert "No common threshold" in of(formula="CET").warning


def test_shows_an_analysis_that_is_not_that_of_the_grade() -> None:
    first, second = of({**LOW_ALLOY, "C": Decimal("0.40")}, {"C": Decimal("0.20"), "Mn": Decimal("0.45")}).sides
    assert any("C 0.40 % is too high" in sentence for sentence in first.findings)
    assert second.findings == ()  # what is not reported is missing on the certificate, not wrong


def test_takes_a_steel_outside_the_table_by_its_analysis_only() -> None:
    answer = joint(("other", LOW_ALLOY), ("1020", {}), thickness=Decimal(2), formula="IIW")
    assert any("nothing is said about the pair" in remark for remark in answer.remarks)
    with pytest.raises(Invalid) as caught:
        joint(("other", {}), ("1020", {}), thickness=Decimal(2), formula="IIW")
    assert caught.value.code == "grade_unknown"


def test_refuses_an_analysis_without_carbon() -> None:
    with pytest.raises(Invalid) as caught:
        of({"Cr": Decimal("0.98")})
    assert caught.value.code == "element_missing"
