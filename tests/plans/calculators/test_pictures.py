"""Pictures of the page "Limits"."""

from __future__ import annotations

import re
from decimal import Decimal
from xml.etree import ElementTree

import pytest

from qcapp.plans.calculators import pictures
from qcapp.plans.calculators.fit_pair import fit_pair
from qcapp.plans.calculators.lots import lot_plan
from qcapp.plans.calculators.sizes import read_query, sized
from qcapp.plans.calculators.weld_limits import weld_limits

SVG = "{http://www.w3.org/2000/svg}"


def parsed(svg: str) -> ElementTree.Element:
    """The picture as XML; our own drawings leave the namespace to the page."""
    return ElementTree.fromstring(svg)  # noqa: S314 - our own text


def bars(svg: str) -> list[float]:
    return [float(x) for x in re.findall(r'class="limit" d="M([\d.]+)', svg)]


def test_draws_the_band_with_its_numbers_and_the_value() -> None:
    svg = pictures.band_of(sized(read_query("30 H7"), value=Decimal("30.03")))
    assert parsed(svg).get("aria-label") == "30.03 mm, out of band, limits 30.000 to 30.021 mm"
    assert ">30.000</text>" in svg
    assert 'class="value out"' in svg


def test_leaves_no_room_for_a_value_that_is_not_there() -> None:
    assert parsed(pictures.band_of(sized(read_query("30 H7")))).get("viewBox") == "0 28 420 72"
    assert (
        parsed(pictures.weld_band_of(weld_limits("undercut", "C", thickness=Decimal(2)))).get("viewBox")
        == "0 28 420 72"
    )


def test_hatches_the_guard_zone_of_the_uncertainty() -> None:
    guarded = sized(read_query("30 H7"), value=Decimal("30.02"), expanded_uncertainty=Decimal("0.004"))
    assert 'class="guard"' in pictures.band_of(guarded)
    assert 'class="guard"' not in pictures.band_of(sized(read_query("30 H7"), value=Decimal("30.02")))


def test_draws_a_fit_to_scale() -> None:
    """H7/g6 at 30 mm: hole 0 to +21, shaft -20 to -7 µm (ISO 286-1:2010), so widths are as 21 to 13."""
    svg = pictures.fit_of(fit_pair(Decimal(30), "H7", "g6"))
    hole_low, hole_high, shaft_low, shaft_high = bars(svg)
    assert (hole_high - hole_low) / (shaft_high - shaft_low) == pytest.approx(21 / 13, rel=0.01)
    assert shaft_high < hole_low
    assert parsed(svg).get("aria-label") == "hole H7 0 to +21 µm; shaft g6 -20 to -7 µm"


def test_keeps_a_fit_of_narrow_bands_readable() -> None:
    svg = pictures.fit_of(fit_pair(Decimal(30), "H11", "h5"))
    assert 'text-anchor="end">−9<' in svg
    assert 'text-anchor="start">0<' in svg


def test_draws_an_operating_characteristic_that_themes_can_colour() -> None:
    svg = pictures.operating_characteristic_of(lot_plan(100, aql="1.0"))
    root = parsed(svg)
    assert root.get("role") == "img"
    assert "sample of 13" in str(root.get("aria-label"))
    texts = {"".join(text.itertext()) for text in root.iter(f"{SVG}text")}
    assert {"AQL 1.0", "accepted 1 in 10", "lots accepted, %"} <= texts
    assert "style=" not in svg  # the content security policy would block it
    assert "var(--accent)" in svg
    assert "http://" not in svg.replace("http://www.w3.org/", "")
