"""The band's pictures: what they show without colour, and that nothing in them is blocked or injected."""

from __future__ import annotations

import re
from decimal import Decimal
from xml.etree import ElementTree

import pytest

from qcapp.core.metrology.bands import Band
from qcapp.lib import band_picture
from qcapp.lib.templatetags.qc import print_ruler

SVG = "{http://www.w3.org/2000/svg}"


def _parsed(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)  # noqa: S314 - our own text


def _dots(svg: str) -> list[float]:
    return [float(node.get("cx", "")) for node in _parsed(svg).iter("circle") if node.get("fill") == "currentColor"]


def _bars(svg: str) -> list[float]:
    return [float(node.get("x", "")) for node in _parsed(svg).iter("rect")]


@pytest.mark.parametrize(
    ("outcome", "nearest", "place"),
    [
        ("in_band", "", "between"),
        ("near_limit", "lower", "between"),
        ("near_limit", "upper", "between"),
        ("out_of_band", "lower", "left"),
        ("out_of_band", "upper", "right"),
    ],
)
def test_places_the_dot_where_the_value_lies(outcome: str, nearest: str, place: str) -> None:
    svg = band_picture.mark(outcome, nearest=nearest)
    (dot,), (left, right) = _dots(svg), _bars(svg)
    assert {"between": left < dot < right, "left": dot < left, "right": dot > right}[place]


def test_leans_towards_the_limit_that_is_near() -> None:
    low, high = (_dots(band_picture.mark("near_limit", nearest=side))[0] for side in ("lower", "upper"))
    assert low < 22 < high


def test_draws_no_dot_before_an_answer_and_two_in_conflict() -> None:
    assert _dots(band_picture.mark("")) == []
    assert len(_dots(band_picture.mark("in_band", conflict=True))) == 2


def test_draws_one_bar_for_one_limit_and_a_ring_for_an_attribute() -> None:
    assert len(_bars(band_picture.mark("in_band", lower=False))) == 1
    assert _bars(band_picture.mark("conforms", kind="attribute")) == []
    assert _dots(band_picture.mark("does_not_conform", kind="attribute"))[0] > 31


@pytest.mark.parametrize(
    "outcome", ["in_band", "near_limit", "out_of_band", "conforms", "does_not_conform", "recorded", ""]
)
def test_says_in_words_what_it_shows(outcome: str) -> None:
    assert _parsed(band_picture.mark(outcome)).get("aria-label") == band_picture.word(outcome)


def _ruler(**given: object) -> str:
    settings = {
        "lower": Decimal("61.85"),
        "upper": Decimal("62.15"),
        "nominal": Decimal("62.00"),
        "unit_of_measure": "°",
    }
    return band_picture.ruler(**(settings | given))  # type: ignore[arg-type]


@pytest.mark.parametrize("value", ["61.9", "62.0", "62.15", "61.0", "65.0", "6194"])
def test_keeps_the_value_on_the_drawing_and_on_its_side(value: str) -> None:
    svg = _parsed(_ruler(value=Decimal(value), outcome="out_of_band"))
    x = float(next(node for node in svg.iter("circle")).get("cx", ""))
    assert band_picture.LEFT <= x <= band_picture.RIGHT
    limits = [
        float(re.findall(r"M([\d.]+)", node.get("d", ""))[0])
        for node in svg.iter("path")
        if node.get("class") == "limit"
    ]
    assert (x > max(limits)) == (Decimal(value) > Decimal("62.15"))
    assert (x < min(limits)) == (Decimal(value) < Decimal("61.85"))


def test_hatches_the_guard_zone_but_not_at_a_natural_limit() -> None:
    assert _ruler(guard=Decimal("0.03")).count('class="guard"') == 2
    flat = _ruler(
        lower=Decimal(0), upper=Decimal("0.3"), nominal=None, guard=Decimal("0.02"), natural=frozenset({"lower"})
    )
    assert flat.count('class="guard"') == 1


def test_draws_a_band_without_any_limit_or_width() -> None:
    for limits in (
        {"lower": None},
        {"upper": None},
        {"lower": None, "upper": None},
        {"lower": Decimal(5), "upper": Decimal(5)},
    ):
        _parsed(_ruler(**{"nominal": None, **limits}, value=Decimal(5), outcome="in_band"))


def test_escapes_what_it_is_given_and_carries_no_style() -> None:
    svg = _ruler(value=Decimal("62"), outcome="in_band", unit_of_measure="<script>alert(1)</script>")
    assert "<script" not in svg
    assert "style=" not in svg + band_picture.mark("in_band") + band_picture.trace([1, 2], lower=0, upper=3)


def test_draws_a_trace_of_one_of_equal_and_of_no_values() -> None:
    assert band_picture.trace([], lower=0, upper=1) == ""
    for values in ([1.0], [2.0, 2.0], [0.1, 5.0, -3.0]):
        line = next(_parsed(band_picture.trace(values, lower=0.0, upper=1.0)).iter("polyline"))
        assert len((line.get("points") or "").split()) == len(values)
    _parsed(band_picture.trace([4.0, 4.0], lower=None, upper=None))


def test_draws_two_bands_on_the_scale_that_holds_both() -> None:
    """±1.5 beside ±1.0 around 1180: the limits of both stand where one axis has them."""
    wide, narrow = Decimal("1178.5"), Decimal("1179.0")
    first = band_picture.ruler(lower=wide, upper=Decimal("1181.5"), beside=(narrow, Decimal("1181.0"), Decimal(1180)))
    second = band_picture.ruler(lower=narrow, upper=Decimal("1181.0"), beside=(wide, Decimal("1181.5"), Decimal(1180)))
    at = [[float(x) for x in re.findall(r'class="limit" d="M([0-9.]+) ', one)] for one in (first, second)]
    assert at[0][0] < at[1][0] < at[1][1] < at[0][1]
    assert (at[1][1] - at[1][0]) / (at[0][1] - at[0][0]) == pytest.approx(2 / 3, abs=0.01)


def test_writes_its_colours_into_a_ruler_for_paper() -> None:
    """A PDF's drawings take no colours from the page: without them the band is a black bar."""
    drawn = str(print_ruler(Band(Decimal(1), Decimal(2)), unit_of_measure="mm"))
    assert all(f'class="{name}"' not in drawn for name in ("band", "axis", "tick", "limit", "nominal", "guard"))
    assert 'fill="#D9E8E0"' in drawn
    assert drawn.count('stroke="#191D21"') == 2
