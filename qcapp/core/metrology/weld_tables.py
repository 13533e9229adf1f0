"""Limits for weld imperfections, as printed.

Source: ISO 5817:2014 Table 1 (the numbers of ISO 5817:2003 are the same unless a note says otherwise), fusion
welded steel, nickel and titanium. Confidence: a letter per row, read in `CONFIDENCE`; "from memory" means
that no stored copy was found. Imperfections that are not listed here stand in the standard: read them there.

A cell reads as in the standard, in mm: "0.2 t, max 1" is h ≤ 0.2 t but at most 1 mm; "short:" permits only
short imperfections. t wall or plate thickness, s nominal butt weld thickness, a nominal throat of a fillet, b
width of weld. Columns in the order of the standard: level D (moderate), C (intermediate), B (stringent).
"""

from __future__ import annotations

from typing import Final, NamedTuple

SOURCE: Final = "ISO 5817:2014 Table 1"

ALL: Final = ("0.5", "")
THIN: Final = ("0.5", "3")
THICK: Final = ("3", "")
"""Thickness ranges in mm: from, to ("" without end). 3 itself belongs to the thin one."""

NO: Final = "not permitted"
AGREE: Final = "by agreement"

CONFIDENCE: Final = {
    "A": "stored excerpt of EN ISO 5817:2014; table of a German welding reference page",
    "B": "stored excerpt of EN ISO 5817:2014",
    "C": "stored excerpt of EN ISO 5817:2014; stored excerpt of EN ISO 5817:2007",
    "D": "stored excerpt of EN ISO 5817:2007; stored table of BS EN 25817 / ISO 5817 level B",
    "E": "stored excerpt of EN ISO 5817:2007; table of a German welding reference page",
    "F": "stored excerpt of EN ISO 5817:2007; stored extract of EN 25817",
    "G": "B: stored table of BS EN 25817 / ISO 5817 level B; C, D from memory",
    "H": "stored extract of EN 25817; stored table of BS EN 25817 / ISO 5817 level B",
    "J": "from memory",
    "K": "stored extract of EN 25817",
    "L": "B, C: stored extract of EN 25817 and stored table of BS EN 25817 / ISO 5817 level B; D from memory",
    "M": "stored table of BS EN 25817 / ISO 5817 level B",
    "P": "public research plan quoting ISO 5817:2023 Table 1",
    "Q": "public research plan quoting ISO 5817:2023 Table 1; stored extract of EN 25817",
}


class Row(NamedTuple):
    """A line of the table: number there and in ISO 6520-1, name, thickness range, a cell for each level."""

    number: str
    iso6520_1: str
    name: str
    thickness: tuple[str, str]
    level_d: str
    level_c: str
    level_b: str
    confidence: str
    unit_of_measure: str = "mm"


# Kept from the formatter: a row of the standard stays in one place, so that it can be laid beside it.
# fmt: off
ROWS: Final = (
    # no., ISO 6520-1, imperfection, thickness, D, C, B, confidence
    Row("1.1", "100", "crack", ALL, NO, NO, NO, "A"),
    Row("1.2", "104", "crater crack", ALL, NO, NO, NO, "A"),
    Row("1.3", "2017", "surface pore, butt", THIN, "0.3 s", NO, NO, "A"),
    Row("1.3", "2017", "surface pore, butt", THICK, "0.3 s, max 3", "0.2 s, max 2", NO, "A"),
    Row("1.3", "2017", "surface pore, fillet", THIN, "0.3 a", NO, NO, "A"),
    Row("1.3", "2017", "surface pore, fillet", THICK, "0.3 a, max 3", "0.2 a, max 2", NO, "A"),
    Row("1.4", "2025", "end crater pipe", THIN, "0.2 t", NO, NO, "A"),
    Row("1.4", "2025", "end crater pipe", THICK, "0.2 t, max 2", "0.1 t, max 1", NO, "A"),
    Row("1.5", "401", "lack of fusion", ALL, NO, NO, NO, "B"),
    Row("1.6", "4021", "incomplete root penetration, single-side butt", ALL,
        "short: 0.2 t, max 2", NO, NO, "C"),
    Row("1.7", "5011/5012", "undercut", THIN, "short: 0.2 t", "short: 0.1 t", NO, "D"),
    Row("1.7", "5011/5012", "undercut", THICK, "0.2 t, max 1", "0.1 t, max 0.5", "0.05 t, max 0.5", "D"),
    Row("1.8", "5013", "shrinkage groove", THIN, "0.2 + 0.1 t", "short: 0.1 t", NO, "E"),
    Row("1.8", "5013", "shrinkage groove", THICK,
        "short: 0.2 t, max 2", "short: 0.1 t, max 1", "short: 0.05 t, max 0.5", "E"),
    Row("1.9", "502", "excess weld metal, butt", ALL,
        "1 + 0.25 b, max 10", "1 + 0.15 b, max 7", "1 + 0.1 b, max 5", "E"),
    Row("1.10", "503", "excessive convexity, fillet", ALL,
        "1 + 0.25 b, max 5", "1 + 0.15 b, max 4", "1 + 0.1 b, max 3", "F"),
    Row("1.11", "504", "excess penetration", THIN, "1 + 0.6 b", "1 + 0.3 b", "1 + 0.1 b", "E"),
    Row("1.11", "504", "excess penetration", THICK,
        "1 + 1 b, max 5", "1 + 0.6 b, max 4", "1 + 0.2 b, max 3", "D"),
    Row("1.13", "506", "overlap", ALL, "0.2 b", NO, NO, "G"),
    Row("1.14", "509/511", "sagging / incompletely filled groove", THIN,
        "short: 0.25 t", "short: 0.1 t", NO, "G"),
    Row("1.14", "509/511", "sagging / incompletely filled groove", THICK,
        "short: 0.25 t, max 2", "short: 0.1 t, max 1", "short: 0.05 t, max 0.5", "G"),
    Row("1.15", "510", "burn through", ALL, NO, NO, NO, "G"),
    Row("1.16", "512", "excessive asymmetry of fillet", ALL, "2 + 0.2 a", "2 + 0.15 a", "1.5 + 0.15 a", "H"),
    Row("1.17", "515", "root concavity", THIN, "0.2 + 0.1 t", "short: 0.1 t", NO, "G"),
    Row("1.17", "515", "root concavity", THICK,
        "short: 0.2 t, max 2", "short: 0.1 t, max 1", "short: 0.05 t, max 0.5", "G"),
    Row("1.20", "5213", "insufficient throat thickness", THIN, "short: 0.2 + 0.1 a", "short: 0.2", NO, "J"),
    Row("1.20", "5213", "insufficient throat thickness", THICK,
        "short: 0.3 + 0.1 a, max 2", "short: 0.3 + 0.1 a, max 1", NO, "K"),
    Row("1.21", "5214", "excessive throat thickness", ALL,
        "no limit", "1 + 0.2 a, max 4", "1 + 0.15 a, max 3", "L"),
    Row("1.23", "602", "spatter", ALL, AGREE, AGREE, AGREE, "M"),
    Row("2.3", "2011/2012", "single gas pore, butt", ALL,
        "0.4 s, max 5", "0.3 s, max 4", "0.2 s, max 3", "J"),
    Row("2.3", "2011/2012", "single gas pore, fillet", ALL,
        "0.4 a, max 5", "0.3 a, max 4", "0.2 a, max 3", "J"),
    Row("3.1", "5071", "linear misalignment, plates and longitudinal welds", THIN,
        "0.2 + 0.25 t", "0.2 + 0.15 t", "0.2 + 0.1 t", "P"),
    Row("3.1", "5071", "linear misalignment, plates and longitudinal welds", THICK,
        "0.25 t, max 5", "0.15 t, max 4", "0.1 t, max 3", "P"),
    Row("3.1", "5072", "linear misalignment, circumferential tube welds", ALL,
        "0.5 t, max 4", "0.5 t, max 3", "0.5 t, max 2", "P"),
    Row("3.2", "617", "incorrect root gap, fillet", THIN, "0.5 + 0.1 a", "0.3 + 0.1 a", "0.2 + 0.1 a", "P"),
    Row("3.2", "617", "incorrect root gap, fillet", THICK,
        "1 + 0.3 a, max 4", "0.5 + 0.2 a, max 3", "0.5 + 0.1 a, max 2", "Q"),
    Row("1.12", "505", "weld toe angle, butt", ALL, "90", "110", "150", "G", "° min"),
    Row("1.12", "505", "weld toe angle, fillet", ALL, "90", "100", "110", "G", "° min"),
    Row("2.3", "2011/2012", "porosity area, single layer", ALL, "2.5", "1.5", "1.0", "J", "%"),
    Row("2.3", "2011/2012", "porosity area, multi layer", ALL, "5", "3", "2", "J", "%"),
)
# fmt: on

NOTES: Final = {
    ("undercut", THIN): "At level B undercut is not permitted at all here; 0.05 t holds only above 3 mm.",
    ("end crater pipe", THIN): "An older copy shows level C as D; the later copies agree with this row.",
    (
        "excessive throat thickness",
        ALL,
    ): "EN 25817:1992 had a limit at level D (1 + 0.3 a, max 5); ISO 5817 has none.",
    ("spatter", ALL): "Acceptance depends on the application, for example material and corrosion protection.",
}
"""What to know about a row, by name and thickness range."""

OTHER_NAMES: Final = {
    "excess weld metal": "excess weld metal, butt",
    "excessive convexity": "excessive convexity, fillet",
    "root gap": "incorrect root gap, fillet",
    "incorrect root gap": "incorrect root gap, fillet",
    "throat deficiency": "insufficient throat thickness",
    "incomplete root penetration": "incomplete root penetration, single-side butt",
    "crater cracks": "crater crack",
    "cracks": "crack",
}
"""What the shop says, and the row it means."""

SHORT_LENGTH: Final = "25"
SHORT_WITHIN: Final = "100"
"""ISO 5817:2014 clause 3, from memory: in total at most 25 mm in any 100 mm of weld, or 25 % of a shorter
weld.
"""
