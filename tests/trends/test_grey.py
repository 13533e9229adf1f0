"""A chart printed or copied in grey says the same: lines by weight and dashes, points by their shape.

Contrast as WCAG 2.2 defines it (from memory): 4.5 for text, 3 for lines and points.
"""

from __future__ import annotations

import itertools
import re
from datetime import timedelta
from pathlib import Path

import pytest

from qcapp.trends.control import Sample
from qcapp.trends.pictures.charted import _shape
from qcapp.trends.pictures.inks import ATTRIBUTES, BAND, SURFACE
from qcapp.trends.readings import Reading

from ..cast import FIXED_NOW
from ..lib.test_colours import contrast

TEXT, LINE = 4.5, 3.0
ORNAMENT = {"c-grid", "c-touch"}  # tells nothing: the numbers beside the axis do
SHEET = (Path(__file__).resolve().parents[2] / "static" / "css" / "trends.css").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", sorted(set(ATTRIBUTES) - ORNAMENT - {"c-band"}))
def test_keeps_its_inks_dark_enough_on_white_and_on_the_band(name: str) -> None:
    rules = ATTRIBUTES[name]
    least = TEXT if "font-size" in rules or "font-weight" in rules else LINE
    opacity = float((re.search(r'fill-opacity="([0-9.]+)"', rules) or [0, "1"])[1])
    for colour in set(re.findall(r"#[0-9A-F]{6}", rules)) - {SURFACE}:
        for ground in (SURFACE, BAND):
            if opacity >= 0.7:  # an interval's bar is pale, its mean is the line that is read
                assert contrast(mixed(colour, ground, opacity), ground) >= least, name


def mixed(colour: str, ground: str, opacity: float) -> str:
    """The colour as it is seen, partly through."""
    pairs = [(int(colour[i : i + 2], 16), int(ground[i : i + 2], 16)) for i in (1, 3, 5)]
    return "#" + "".join(f"{round(front * opacity + back * (1 - opacity)):02X}" for front, back in pairs)


def test_tells_limits_of_the_plan_from_control_limits_and_centre_without_colour() -> None:
    """In the file and, with the same weights and dashes, on the page."""
    looks = set()
    for name in ("c-limit", "c-control", "c-center"):
        width = re.search(r'stroke-width="([0-9.]+)"', ATTRIBUTES[name])
        dashes = re.search(r'stroke-dasharray="([0-9 ]+)"', ATTRIBUTES[name])
        assert width
        looks.add((width[1], dashes[1] if dashes else ""))
        rule = re.search(rf"^\.chart \.{name} \{{(.*)\}}", SHEET, re.M)
        assert rule
        assert f"stroke-width: {width[1]};" in rule[1]
        assert ("stroke-dasharray" in rule[1]) == bool(dashes)
    assert len(looks) == 3


def drawn(outcome: str = "in_band", *marks: str, signal: bool = False) -> str:
    reading = Reading(
        serial="DX-1-00001", item_id=1, result_id=1, text="50.0", value=50.0, values=(50.0,), outcome=outcome,
        recorded_at=FIXED_NOW + timedelta(hours=1), revision="A", band=None, marks=marks,
    )  # fmt: skip
    return _shape(Sample("DX-1-00001", (reading,), 50.0), 10.0, 10.0, signal)[0]


def test_tells_points_apart_by_their_shape() -> None:
    shapes = [
        drawn(), drawn(signal=True), drawn("out_of_band"), drawn("out_of_band", signal=True),
        drawn("in_band", "corrected entry"), drawn("in_band", "inspected again later, NCR-1"),
    ]  # fmt: skip
    assert all(one != other for one, other in itertools.combinations(shapes, 2))
