"""Weld limits, the three levels side by side."""

from __future__ import annotations

from decimal import Decimal

import pytest

from qcapp.core.errors import Invalid
from qcapp.plans.calculators.weld_limits import dimensions_of, names, weld_limits
from tests.core.metrology.vectors import load

PLAIN = [row for row in load("welds.json")["cases"] if not row["other_dims_mm"]]


@pytest.mark.parametrize(
    "row", PLAIN, ids=lambda row: f"{row['imperfection']} {row['level']} {row['t_mm']} {row['measured_mm']}"
)
def test_judges_the_worked_cases(row: dict[str, str]) -> None:
    """ISO 5817:2014 Table 1, worked cases with their source row by row in welds.json."""
    answer = weld_limits(
        row["imperfection"], row["level"], thickness=Decimal(row["t_mm"]), measured=Decimal(row["measured_mm"] or 0)
    )
    accepted = answer.outcome in ("conforms", "near_limit")
    assert accepted == (row["verdict"] != "reject")


def test_shows_the_levels_from_stringent_to_moderate() -> None:
    """ISO 5817:2014 Table 1 no. 1.7: thin tube permits no undercut at level B."""
    answer = weld_limits("undercut", "C", thickness=Decimal(2))
    assert [level.text for level in answer.levels] == ["not permitted", "max 0.2 mm", "max 0.4 mm"]
    assert answer.headline == "max 0.2 mm"
    assert answer.drawn
    assert "short imperfections only" in answer.copy_text


@pytest.mark.parametrize(
    ("imperfection", "text"),
    [
        ("crack", "not permitted"),
        ("spatter", "by agreement"),
        ("weld toe angle, butt", "min 110 °"),
        ("porosity area, single layer", "max 1.5 %"),
    ],
)
def test_says_what_is_no_length(imperfection: str, text: str) -> None:
    answer = weld_limits(imperfection, "C", thickness=Decimal(2))
    assert (answer.headline, answer.drawn) == (text, False)


def test_says_that_there_is_no_limit() -> None:
    answer = weld_limits("excessive throat thickness", "D", thickness=Decimal(2), throat=Decimal(2))
    assert answer.headline == "no limit"


@pytest.mark.parametrize(
    ("imperfection", "needed"),
    [
        ("undercut", ()),
        ("excess weld metal, butt", ("width",)),
        ("surface pore, fillet", ("throat",)),
        ("surface pore, butt", ("weld_thickness",)),
    ],
)
def test_knows_which_sizes_a_limit_depends_on(imperfection: str, needed: tuple[str, ...]) -> None:
    assert dimensions_of(imperfection) == needed


@pytest.mark.parametrize("imperfection", names())
def test_needs_no_other_size_for_any_imperfection(imperfection: str) -> None:
    sizes = dict.fromkeys(dimensions_of(imperfection), Decimal(3))
    assert weld_limits(imperfection, "D", thickness=Decimal(4), **sizes).headline


def test_asks_for_the_size_that_a_limit_depends_on() -> None:
    with pytest.raises(Invalid) as caught:
        weld_limits("excess weld metal, butt", "C", thickness=Decimal(2))
    assert caught.value.code == "dimension_missing"


@pytest.mark.parametrize(
    ("measured", "sentence"),
    [
        ("0.2", "0.2 mm conforms only as short imperfections."),
        ("0.21", "0.21 mm does not conform."),
        ("0", "0 mm conforms."),
    ],
)
def test_says_what_a_measured_imperfection_comes_to(measured: str, sentence: str) -> None:
    assert weld_limits("undercut", "C", thickness=Decimal(2), measured=Decimal(measured)).verdict_sentence == sentence
