"""Words and numbers in drawings, said as a page shows them."""

from __future__ import annotations

import re
from pathlib import Path

from django.utils import translation

from qcapp.lib import band_picture
from qcapp.lib.spoken_drawings import shown_drawing
from qcapp.lib.templatetags.qc import trace

ROOT = Path(__file__).resolve().parents[2]
# What makes HTML or SVG safe without being a drawing with words: rows of a table, documents, QR codes, papers.
SAFE_OTHERWISE = {
    "config/helping.py",
    "history/templatetags/answers.py",
    "history/weld_map_views.py",
    "lib/qr_codes.py",
    "lib/spoken_drawings.py",
    "lib/templatetags/qc.py",
    "plans/draft_html.py",
    "plans/prints.py",
    "trends/reporting.py",
}
DRAWN = (
    '<svg viewBox="0 0 12.5 8" aria-label="12.5 mm, in band, limits 12 to 13.5 mm"><title id="t">Head angle, FR-200: '
    'the last 2 values</title><desc>2 points. No signal.</desc><a href="/units/1.5/" aria-label="FR-200-0147: 12.50 '
    'mm, near limit, GA-012, fixture TF-03"><title>Q &amp; A</title></a><text x="1.5">upper limit 13.5</text></svg>'
)


def test_says_texts_titles_descriptions_and_names_and_leaves_places_and_addresses() -> None:
    with translation.override("de"):
        shown = shown_drawing(DRAWN)
    assert shown == (
        '<svg viewBox="0 0 12.5 8" aria-label="12,5 mm, im Band, Grenzen 12 bis 13,5 mm"><title id="t">Head angle, '
        'FR-200: die letzten 2 Werte</title><desc>2 Punkte. Kein Signal.</desc><a href="/units/1.5/" '
        'aria-label="FR-200-0147: 12,50 mm, grenznah, GA-012, Vorrichtung TF-03"><title>Q &amp; A</title></a>'
        '<text x="1.5">obere Grenze 13,5</text></svg>'
    )


def test_leaves_a_drawing_of_an_english_page_as_it_is() -> None:
    assert shown_drawing(DRAWN) == DRAWN


def test_draws_the_small_pictures_in_the_language_of_the_page() -> None:
    band = type("Band", (), {"lower": None, "upper": None})()
    with translation.override("de"):
        assert 'aria-label="die letzten 3 Werte"' in trace([1.0, 2.0, 3.0], band)
    assert 'aria-label="the last 3 values"' in trace([1.0, 2.0, 3.0], band)
    assert 'aria-label="the last 3 values"' in band_picture.trace([1.0, 2.0, 3.0], lower=None, upper=None)


def test_has_every_drawing_of_a_page_go_through_it() -> None:
    """`mark_safe` beside a drawing would show its English."""
    root = ROOT / "qcapp"
    users = {file for file in root.rglob("*.py") if re.search(r"\bmark_safe\(", file.read_text(encoding="utf-8"))}
    assert {file.relative_to(root).as_posix() for file in users} == SAFE_OTHERWISE
