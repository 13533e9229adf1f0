"""Tube steels, as printed: composition, strength, tube tolerances, carbon equivalent formulas.

Composition in percent of mass, heat analysis. Default specification: ASTM A29/A29M-03 with ASTM A576-90b for
carbon grades (ASTM A519-06 Table 1 has the same C and Mn), SAE J404 / ASTM A29 for 4130. Confidence: high,
two to four stored tables agree; P and S differ by standard, so those rows are repeated per specification in
`OTHER_SPECIFICATIONS`.

Mechanical: ASTM A513/A513M type 5 (drawn over mandrel) round tubing, minima, in ksi as printed and in MPa as
converted by the same tables. Confidence: one stored supplier table each. The A519 rows are typical values of
its appendix, not requirements; those of 4130 are from memory.

Tube tolerances: ASTM A513/A513M, types 3 to 6 (outside and inside diameter; two stored tables agree on every
row) and types 5 and 6 (wall; one stored table), in inches as printed.

Carbon equivalents: sources stand beside each formula.
"""

from __future__ import annotations

from typing import Final, NamedTuple

A29: Final = "ASTM A29/A576"
J404: Final = "SAE J404 / ASTM A29"
A513: Final = "ASTM A513"
J403: Final = "SAE J403 (NOV 2001)"
A519: Final = "ASTM A519-06"


class ElementRow(NamedTuple):
    """Limits of one element in percent; an empty text means no limit on that side."""

    specification: str
    grade: str
    element: str
    lower: str
    upper: str
    confidence: str


# Kept from the formatter: a row of the standard stays in one place, so that it can be laid beside it.
# fmt: off
COMPOSITION: Final = (
    ElementRow(A29, "1018", "C", "0.15", "0.20", "2 stored tables agree"),
    ElementRow(A29, "1018", "Mn", "0.60", "0.90", "2 stored tables agree"),
    ElementRow(A29, "1018", "P", "", "0.040", "2 stored tables"),
    ElementRow(A29, "1018", "S", "", "0.050", "2 stored tables"),
    ElementRow(A29, "1020", "C", "0.18", "0.23", "3 stored tables; an A513 mill sheet shows 0.15-0.25"),
    ElementRow(A29, "1020", "Mn", "0.30", "0.60", "3 stored tables agree"),
    ElementRow(A29, "1020", "P", "", "0.040", "2 stored tables"),
    ElementRow(A29, "1020", "S", "", "0.050", "2 stored tables"),
    ElementRow(A29, "1026", "C", "0.22", "0.28", "4 stored tables agree"),
    ElementRow(A29, "1026", "Mn", "0.60", "0.90", "4 stored tables agree"),
    ElementRow(A29, "1026", "P", "", "0.040", "2 stored tables"),
    ElementRow(A29, "1026", "S", "", "0.050", "2 stored tables"),
    ElementRow(J404, "4130", "C", "0.28", "0.33", "3 stored tables agree"),
    ElementRow(J404, "4130", "Mn", "0.40", "0.60", "3 stored tables agree"),
    ElementRow(J404, "4130", "P", "", "0.035", "stored table"),
    ElementRow(J404, "4130", "S", "", "0.040", "2 stored tables; a third shows 0.050"),
    ElementRow(J404, "4130", "Si", "0.15", "0.35", "3 stored tables agree"),
    ElementRow(J404, "4130", "Cr", "0.80", "1.10", "4 stored tables agree"),
    ElementRow(J404, "4130", "Mo", "0.15", "0.25", "4 stored tables agree"),
)

OTHER_SPECIFICATIONS: Final = (
    # Rows in which another specification differs; its other elements are those of `COMPOSITION`.
    ElementRow(A513, "1020", "P", "", "0.035", "stored supplier table"),
    ElementRow(A513, "1020", "S", "", "0.035", "stored supplier table"),
    ElementRow(A513, "1026", "P", "", "0.035", "stored supplier table"),
    ElementRow(A513, "1026", "S", "", "0.035", "stored supplier table"),
    ElementRow(J403, "1018", "P", "", "0.030", "stored table"),
    ElementRow(J403, "1026", "P", "", "0.030", "stored table"),
    ElementRow(A519, "4130", "P", "", "0.040", "stored table"),
)
# fmt: on


class MechanicalRow(NamedTuple):
    """Yield and ultimate strength in ksi and MPa, elongation over 2 in in %, Rockwell B."""

    grade: str
    condition: str
    yield_ksi: str
    yield_mpa: str
    ultimate_ksi: str
    ultimate_mpa: str
    elongation: str
    hardness: str
    confidence: str


DRAWN: Final = "DOM as drawn"
RELIEVED: Final = "DOM stress relieved"
TYPICAL: Final = "A519"
"""Conditions that begin so hold typical values, not requirements."""

MECHANICAL_SOURCES: Final = {
    DRAWN: "ASTM A513/A513M type 5, as drawn, minima",
    RELIEVED: "ASTM A513/A513M type 5, stress relieved, minima",
    TYPICAL: "ASTM A519-06 appendix, typical values, not a requirement",
}

# fmt: off
MECHANICAL: Final = (
    # grade, condition, yield ksi, MPa, ultimate ksi, MPa, elongation %, Rockwell B, confidence
    MechanicalRow("1008", DRAWN, "50", "345", "60", "414", "5", "73", "1 stored table"),
    MechanicalRow("1010", DRAWN, "50", "345", "60", "414", "5", "73", "1 stored table"),
    MechanicalRow("1015", DRAWN, "55", "379", "65", "448", "5", "77", "1 stored table"),
    MechanicalRow("1020", DRAWN, "60", "414", "70", "483", "5", "80", "1 stored table"),
    MechanicalRow("1021", DRAWN, "62", "427", "72", "496", "5", "80", "1 stored table"),
    MechanicalRow("1025", DRAWN, "65", "448", "75", "517", "5", "82", "1 stored table"),
    MechanicalRow("1026", DRAWN, "70", "483", "80", "552", "5", "85", "1 stored table"),
    MechanicalRow("1030", DRAWN, "75", "517", "85", "586", "5", "87", "1 stored table"),
    MechanicalRow("1035", DRAWN, "80", "552", "90", "621", "5", "90", "1 stored table"),
    MechanicalRow("1524", DRAWN, "80", "552", "90", "621", "5", "90", "1 stored table"),
    MechanicalRow("4130", DRAWN, "85", "586", "95", "655", "5", "90", "1 stored table"),
    MechanicalRow("4140", DRAWN, "100", "689", "110", "758", "5", "90", "1 stored table"),
    MechanicalRow("1008", RELIEVED, "45", "310", "55", "379", "12", "68", "1 stored table"),
    MechanicalRow("1010", RELIEVED, "45", "310", "55", "379", "12", "68", "1 stored table"),
    MechanicalRow("1015", RELIEVED, "50", "345", "60", "414", "12", "72", "2 stored tables"),
    MechanicalRow("1020", RELIEVED, "55", "379", "65", "448", "10", "75", "1 stored table"),
    MechanicalRow("1026", RELIEVED, "65", "448", "75", "517", "10", "80", "1 stored table"),
    MechanicalRow("1020", "A519 HR", "32", "221", "50", "345", "25", "55", "1 stored table"),
    MechanicalRow("1020", "A519 CW", "60", "414", "70", "483", "5", "75", "1 stored table"),
    MechanicalRow("1020", "A519 SR", "50", "345", "65", "448", "10", "72", "1 stored table"),
    MechanicalRow("1020", "A519 A", "28", "193", "48", "331", "30", "50", "1 stored table"),
    MechanicalRow("1020", "A519 N", "34", "234", "55", "379", "22", "60", "1 stored table"),
    MechanicalRow("1025", "A519 HR", "35", "241", "55", "379", "25", "60", "1 stored table"),
    MechanicalRow("1025", "A519 CW", "65", "448", "75", "517", "5", "80", "1 stored table"),
    MechanicalRow("1025", "A519 SR", "55", "379", "70", "483", "8", "75", "1 stored table"),
    MechanicalRow("1025", "A519 A", "30", "207", "53", "365", "25", "57", "1 stored table"),
    MechanicalRow("1025", "A519 N", "36", "248", "55", "379", "22", "60", "1 stored table"),
    MechanicalRow("4130", "A519 HR", "70", "483", "90", "621", "20", "89", "from memory"),
    MechanicalRow("4130", "A519 SR", "85", "586", "105", "724", "10", "95", "from memory"),
    MechanicalRow("4130", "A519 A", "55", "379", "75", "517", "30", "81", "from memory"),
    MechanicalRow("4130", "A519 N", "60", "414", "90", "621", "20", "89", "from memory"),
)

OUTSIDE_DIAMETER: Final = (
    # in: from, to, plus, minus; inside diameter plus, minus ("" where the table has none)
    ("0", "0.499", "0.004", "0", "", ""),
    ("0.500", "1.699", "0.005", "0", "0", "0.005"),
    ("1.700", "2.099", "0.006", "0", "0", "0.006"),
    ("2.100", "2.499", "0.007", "0", "0", "0.007"),
    ("2.500", "2.899", "0.008", "0", "0", "0.008"),
    ("2.900", "3.299", "0.009", "0", "0", "0.009"),
    ("3.300", "3.699", "0.010", "0", "0", "0.010"),
    ("3.700", "4.099", "0.011", "0", "0", "0.011"),
    ("4.100", "4.499", "0.012", "0", "0", "0.012"),
    ("4.500", "4.899", "0.013", "0", "0", "0.013"),
    ("4.900", "5.299", "0.014", "0", "0", "0.014"),
    ("5.300", "5.549", "0.015", "0", "0", "0.015"),
)

WALL_COLUMNS: Final = (("0.375", "0.875"), ("0.875", "1.875"), ("1.875", "3.750"))
"""Outside diameters of the three columns, in: the first includes its lower end, each its upper end."""

WALL: Final = (
    # in: wall, then plus and minus in each column
    ("0.035", ("0.002", "0.002"), ("0.002", "0.002"), ("0.002", "0.002")),
    ("0.042", ("0.002", "0.002"), ("0.002", "0.003"), ("0.002", "0.003")),
    ("0.049", ("0.002", "0.002"), ("0.002", "0.003"), ("0.002", "0.003")),
    ("0.065", ("0.002", "0.002"), ("0.002", "0.003"), ("0.002", "0.003")),
    ("0.072", ("0.002", "0.002"), ("0.002", "0.003"), ("0.003", "0.003")),
    ("0.083", ("0.002", "0.002"), ("0.002", "0.003"), ("0.003", "0.003")),
    ("0.095", ("0.002", "0.002"), ("0.002", "0.003"), ("0.003", "0.003")),
    ("0.109", ("0.002", "0.003"), ("0.002", "0.004"), ("0.003", "0.003")),
    ("0.120", ("0.003", "0.003"), ("0.002", "0.004"), ("0.003", "0.003")),
    ("0.134", ("", ""), ("0.002", "0.004"), ("0.003", "0.003")),
)
# fmt: on


class FormulaRow(NamedTuple):
    """C plus each element over its divisor, times a factor for CEN and CSA; `ranges` in percent."""

    name: str
    divisors: dict[str, str]
    expression: str
    source: str
    ranges: dict[str, tuple[str, str]]
    range_source: str


FORMULAS: Final = (
    FormulaRow(
        "IIW",
        {"Mn": "6", "Cr": "5", "Mo": "5", "V": "5", "Ni": "15", "Cu": "15"},
        "C + Mn/6 + (Cr+Mo+V)/5 + (Ni+Cu)/15",
        "IIW 1967; EN 1011-2:2001 Annex C.2 (method A); ISO/TR 17671-2; 5 stored texts agree",
        {
            "C": ("0.05", "0.25"),
            "Si": ("0", "0.8"),
            "Mn": ("0", "1.7"),
            "Cr": ("0", "0.9"),
            "Cu": ("0", "1.0"),
            "Mo": ("0", "0.75"),
            "Ni": ("0", "2.5"),
            "V": ("0", "0.20"),
        },
        "EN 1011-2:2001 Annex C.2, from memory",
    ),
    FormulaRow(
        "CET",
        {"Mn": "10", "Mo": "10", "Cr": "20", "Cu": "20", "Ni": "40"},
        "C + (Mn+Mo)/10 + (Cr+Cu)/20 + Ni/40",
        "EN 1011-2:2001 Annex C.3 (method B); 4 stored texts agree",
        {
            "C": ("0.05", "0.32"),
            "Si": ("0", "0.8"),
            "Mn": ("0.5", "1.9"),
            "Cr": ("0", "1.5"),
            "Cu": ("0", "0.7"),
            "Mo": ("0", "0.75"),
            "Ni": ("0", "2.5"),
            "V": ("0", "0.18"),
            "B": ("0", "0.005"),
        },
        "EN 1011-2:2001 Annex C.3, stored text",
    ),
    FormulaRow(
        "Pcm",
        {"Si": "30", "Mn": "20", "Cu": "20", "Cr": "20", "Ni": "60", "Mo": "15", "V": "10", "B": "0.2"},
        "C + Si/30 + (Mn+Cu+Cr)/20 + Ni/60 + Mo/15 + V/10 + 5B",
        "Ito and Bessyo 1969; 5 stored texts agree (one leaves out Si and B)",
        {"C": ("0", "0.18")},
        "made for low-carbon steels, C to 0.18 %, 1 stored page",
    ),
    FormulaRow(
        "AWS",
        {"Mn": "6", "Si": "6", "Cr": "5", "Mo": "5", "V": "5", "Ni": "15", "Cu": "15"},
        "C + (Mn+Si)/6 + (Cr+Mo+V)/5 + (Ni+Cu)/15",
        "AWS D1.1, annex on preheat; 3 stored texts",
        {},
        "",
    ),
    FormulaRow(
        "CEN",
        {
            "Si": "24",
            "Mn": "6",
            "Cu": "15",
            "Ni": "20",
            "Cr": "5",
            "Mo": "5",
            "Nb": "5",
            "V": "5",
            "B": "0.2",
        },
        "C + A·(Si/24 + Mn/6 + Cu/15 + Ni/20 + (Cr+Mo+Nb+V)/5 + 5B), A = 0.75 + 0.25·tanh(20·(C - 0.12))",
        "Yurioka 1983; 1 stored text (a second one puts Cu and Ni both over 15)",
        {},
        "",
    ),
    FormulaRow(
        "CSA",
        {
            "Si": "24",
            "Mn": "6",
            "Cu": "15",
            "Ni": "20",
            "Cr": "5",
            "Mo": "5",
            "Nb": "5",
            "V": "5",
            "B": "0.2",
        },
        "C + F·(Mn/6 + Si/24 + Cu/15 + Ni/20 + (Cr+Mo+V+Nb)/5 + 5B), F by carbon from a table",
        "CSA Z662 / Z245.1-07; 2 stored worked sheets",
        {},
        "",
    ),
)

CSA_LOWEST: Final = "0.53"
"""F below 0.06 % carbon."""

# fmt: off
CSA_FACTORS: Final = (
    # C in percent, factor F (sheet to CSA Z245.1-07, 3 stored copies agree); F is 1.00 from 0.22 on
    ("0.06", "0.54"), ("0.07", "0.56"), ("0.08", "0.58"), ("0.09", "0.62"), ("0.10", "0.66"),
    ("0.11", "0.70"), ("0.12", "0.75"), ("0.13", "0.80"), ("0.14", "0.85"), ("0.15", "0.88"),
    ("0.16", "0.92"), ("0.17", "0.94"), ("0.18", "0.96"), ("0.19", "0.97"), ("0.20", "0.98"),
    ("0.21", "0.99"), ("0.22", "1.00"),
)
# fmt: on

# fmt: off
ELEMENTS: Final = frozenset((
    "C", "Mn", "P", "S", "Si", "Cr", "Mo", "V", "Ni", "Cu", "Nb", "B", "Ti", "Al", "N", "Sn", "As", "Sb",
    "Pb", "Ca", "W", "Co", "Zr", "Ta", "Ce", "H", "O", "Bi", "Te", "Se", "Mg", "Zn", "Fe",
))
# fmt: on
"""Symbols that a mill certificate may carry."""

LOW_ALLOY: Final = frozenset({"4130"})
MILD: Final = frozenset({"1018", "1020", "1026"})
