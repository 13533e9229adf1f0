"""A paper printed or copied in grey says the same: by words and shapes, in inks that stay dark enough.

Contrast as WCAG 2.2 defines it (from memory): 4.5 for text, 3 for marks. Luminance is all that is left of a colour in
grey, so a contrast ratio is what a copy keeps.
"""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import pytest
from lxml import html

from qcapp.certificates.queries import content_of
from qcapp.certificates.services.rendering import page_of
from qcapp.lib.band_picture import WORDS
from qcapp.lib.templatetags.qc import INKS, print_mark

from ..factories.certificates import certified, release_unit
from ..factories.inspections import Workshop
from ..lib.test_colours import contrast

CSS = Path(__file__).resolve().parents[2] / "static" / "css"
TEXT, MARK = 4.5, 3.0
WHITE = "#FFFFFF"
ONE_INK = re.compile(r"#[0-9A-F]{6}")


def inks_of(sheet: str) -> dict[str, str]:
    """The colours of texts by their selector."""
    found: dict[str, str] = {}
    for selector, rules in re.findall(r"([^{}]+)\{([^{}]*)\}", (CSS / sheet).read_text(encoding="utf-8")):
        for colour in re.findall(r"(?<![-\w])color: (#[0-9A-Fa-f]{6})", rules):
            found[selector.strip()] = colour
    return found


@pytest.mark.parametrize("sheet", sorted(one.name for one in CSS.glob("certificate*.css")))
def test_prints_every_text_dark_enough_for_a_grey_copy(sheet: str) -> None:
    inks = inks_of(sheet)
    watermark = inks.pop(".demo", WHITE)
    for selector, ink in inks.items():
        assert contrast(ink, WHITE) >= TEXT, selector
        assert contrast(ink, watermark) >= TEXT, f"{selector} over the words of the demonstration"
    assert contrast(watermark, WHITE) < 1.5, "the words of the demonstration stay behind what is printed over them"


def test_prints_marks_dark_enough_for_a_grey_copy() -> None:
    for tone, ink in INKS.items():
        assert contrast(ink, WHITE) >= MARK, tone


def shape(outcome: str, kind: str, nearest: str = "") -> str:
    """The mark as lines and dots alone: no colour, no word."""
    line = {"outcome": outcome, "nearest_limit": nearest, "kind": kind, "has_lower": True, "has_upper": True}
    drawn = re.sub(r'aria-label="[^"]*"|class="[^"]*"', "", str(print_mark(line)))
    return ONE_INK.sub("ink", drawn)


def test_tells_verdicts_apart_by_the_shape_of_their_marks() -> None:
    measured = [
        shape("in_band", "measured"), shape("", "measured"),
        *(shape(one, "measured", side) for one in ("near_limit", "out_of_band") for side in ("lower", "upper")),
    ]  # fmt: skip
    attribute = [shape(outcome, "attribute") for outcome in ("conforms", "does_not_conform", "")]
    for marks in (measured, attribute):
        assert all(one != other for one, other in itertools.combinations(marks, 2))


@pytest.mark.django_db
def test_writes_the_verdict_in_words_beside_every_mark(ready: Workshop) -> None:
    says = content_of(certified(release_unit(ready)).id)
    page = html.fromstring(page_of(says, "0" * 64))
    marks = page.xpath('//td[@class="drawing"]')
    lines = [line for stage in says["results"]["stages"] for line in stage["lines"]]
    assert len(marks) == len(lines) > 10
    for mark, line in zip(marks, lines, strict=True):
        said = mark.getnext().text_content().strip()
        assert said.startswith(line["verdict"].split(",")[0])
        assert line["outcome"] in WORDS
