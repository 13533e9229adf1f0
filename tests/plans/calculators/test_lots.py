"""The sampling plan of a lot and what it is worth."""

from __future__ import annotations

from itertools import pairwise, product

import pytest

from qcapp.core.errors import Invalid
from qcapp.plans.calculators.lots import AQLS, SEVERITIES, lot_plan
from tests.core.statistics.vectors import last_digit, rows

LOT_OF_LETTER = {"F": 100, "K": 2000}  # level II, MIL-STD-105E Table I
PRINTED = [row for row in rows("acceptance_oc_quantiles_milstd105e") if row["aql"] in AQLS]
SHOWN = {"99.0", "95.0", "90.0", "50.0", "10.0", "5.0"}


@pytest.mark.parametrize("row", [row for row in PRINTED if row["pa_percent"] in SHOWN], ids=lambda row: row["id"])
def test_gives_the_qualities_that_the_standard_prints(row: dict[str, str]) -> None:
    """MIL-STD-105E (1989), Table X, code letters F and K, as printed; the vector names binomial or Poisson."""
    lot = lot_plan(LOT_OF_LETTER[row["code_letter"]], aql=row["aql"])
    if lot.plan.code_letter != row["code_letter"]:
        pytest.fail(f"the arrow leads away from {row['code_letter']}, so the row cannot be compared")
    found = next(each.quality for each in lot.qualities if each.probability == float(row["pa_percent"]))
    assert lot.model == row["distribution"]
    assert found == pytest.approx(float(row["published_p_percent"]), abs=last_digit(row["published_p_percent"], 0.6))


def test_says_what_to_check_and_where_the_plan_is_from() -> None:
    """MIL-STD-105E Tables I and II-A: lot 100, level II is letter F; at AQL 1.0 its arrow leads up to E."""
    lot = lot_plan(100, aql="1.0")
    assert lot.headline == "Check 13 of 100"
    assert lot.copy_text.endswith("check 13, accept 0, reject 1 (MIL-STD-105E:1989 Table II-A)")
    assert lot.notes == ("The table's arrow leads from code letter F to E, with a sample of 13.",)


def test_says_what_a_count_between_the_numbers_of_a_reduced_plan_means() -> None:
    lot = lot_plan(2000, aql="2.5", severity="reduced")
    assert lot.plan.reject > lot.plan.accept + 1
    assert "inspect the next lot normally" in lot.sentence
    assert any("ISO 2859-1:1999 has another reduced table" in note for note in lot.notes)


def test_checks_every_piece_of_a_lot_no_larger_than_the_sample() -> None:
    lot = lot_plan(10, aql="0.65")
    assert lot.headline == "Check 10 of 10"
    assert "every piece is checked" in lot.notes[0]
    assert [count.probability for count in lot.counts] == pytest.approx([100.0, 0.0])


def test_counts_imperfections_above_an_aql_of_ten() -> None:
    lot = lot_plan(100, aql="65")
    assert lot.measure == "imperfections per 100 units"
    assert (lot.model, lot.counts) == ("poisson", ())


def test_tells_how_often_this_very_lot_passes() -> None:
    """One nonconforming piece among 100 escapes a sample of 13 with 87 %: (100 - 13)/100, drawn without return."""
    lot = lot_plan(100, aql="1.0")
    assert [(count.nonconforming, round(count.probability, 6)) for count in lot.counts[:2]] == [(0, 100.0), (1, 87.0)]


@pytest.mark.parametrize("severity", SEVERITIES)
def test_draws_a_falling_curve_for_every_plan(severity: str) -> None:
    for aql, size in product(AQLS, (2, 5000)):
        curve = lot_plan(size, aql=aql, severity=severity).curve
        heights = [height for _, height in curve]
        assert heights[0] == pytest.approx(100.0)
        assert all(later <= earlier + 1e-9 for earlier, later in pairwise(heights))
        assert heights[-1] == pytest.approx(2.0, abs=1e-3)


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"lot_size": 1}, "lot_too_small"),
        ({"aql": "1.1"}, "unknown_aql"),
        ({"level": "IV"}, "unknown_inspection_level"),
        ({"severity": "strict"}, "unknown_severity"),
    ],
)
def test_refuses_what_the_tables_do_not_have(changed: dict[str, object], code: str) -> None:
    asked = {"lot_size": 100, "aql": "1.0"} | changed
    with pytest.raises(Invalid) as caught:
        lot_plan(asked.pop("lot_size"), **asked)
    assert caught.value.code == code
