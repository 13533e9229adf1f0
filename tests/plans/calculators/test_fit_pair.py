"""The fit of a hole and a shaft."""

from __future__ import annotations

from decimal import Decimal

import pytest

from qcapp.core.errors import Invalid
from qcapp.plans.calculators.fit_pair import fit_pair, usual_pairs
from tests.core.metrology.vectors import load

FITS = load("fits.json")["fits"]


@pytest.mark.parametrize("row", FITS, ids=lambda row: row["fit"])
def test_gives_the_published_clearances(row: dict[str, str]) -> None:
    """ISO 286-1:2010, smallest clearance EI - es, largest ES - ei; independent public calculations (fits.json)."""
    size, classes = row["fit"].split()
    pair = fit_pair(Decimal(size), *classes.split("/"))
    assert (pair.fit.min_clearance * 1000, pair.fit.max_clearance * 1000) == (
        Decimal(row["min_um"]),
        Decimal(row["max_um"]),
    )
    assert pair.headline == f"{row['kind'].capitalize()} fit"


@pytest.mark.parametrize(
    ("shaft", "words"),
    [
        ("g6", ("least clearance 0.007 mm", "most clearance 0.041 mm")),
        ("k6", ("greatest interference 0.015 mm", "most clearance 0.019 mm")),
        ("s6", ("greatest interference 0.048 mm", "least interference 0.014 mm")),
    ],
)
def test_names_both_ends_of_what_is_left(shaft: str, words: tuple[str, str]) -> None:
    pair = fit_pair(Decimal(30), "H7", shaft)
    assert tuple(f"{end.what} {end.text}" for end in pair.extremes) == words
    assert all(word in pair.copy_text for word in words)


def test_shows_the_usual_pairs_at_the_size_with_the_chosen_one() -> None:
    rows = usual_pairs(Decimal(30), "H7", "g6")
    assert [row.pair.asked for row in rows if row.chosen] == ["30 H7/g6"]
    assert {row.pair.fit.kind for row in rows} == {"clearance", "transition", "interference"}
    clearances = [row.pair.fit.max_clearance for row in rows]
    assert clearances == sorted(clearances, reverse=True)  # from loose to tight


def test_leaves_out_pairs_that_the_tables_do_not_reach() -> None:
    assert [row.pair.asked for row in usual_pairs(Decimal(900), "H7", "h6")] == ["900 H7/h6", "900 H7/js6"]


@pytest.mark.parametrize(("hole", "shaft"), [("g6", "H7"), ("H7", "H7"), ("H7", "q6"), ("", "")])
def test_refuses_what_is_not_a_hole_and_a_shaft(hole: str, shaft: str) -> None:
    with pytest.raises(Invalid) as caught:
        fit_pair(Decimal(30), hole, shaft)
    assert caught.value.code == "class_unknown"
