"""General tolerances: what a drawing permits where it states no tolerance of its own.

ISO 2768-1:1989 (f m c v), ISO 2768-2:1989 (H K L; withdrawn, for old drawings) and ISO 13920:2023 for welded
constructions (A to D for sizes and angles, E to H for form). `permitted` looks one cell up, `read_class`
understands how a drawing names the class.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

from qcapp.core.errors import Invalid
from qcapp.core.metrology import general_tolerances_tables as tables
from qcapp.core.metrology.quantities import as_text, parse_value
from qcapp.core.metrology.size_tables import SizeRow, find_row

Standard = Literal["ISO 2768", "ISO 13920"]
Measure = Literal["mm", "minute", "mm per m"]


@dataclass(frozen=True, slots=True)
class GeneralTable:
    """One table of a standard. `two_sided`: plus and minus the amount; otherwise a zone that starts at zero.

    `size_of` says which length the table asks for, '' where the size does not matter.
    """

    source: str
    rows: tuple[SizeRow, ...]
    measure: Measure
    two_sided: bool
    size_of: str
    from_first: bool = False


@dataclass(frozen=True, slots=True)
class Permitted:
    amount: Decimal
    measure: Measure
    two_sided: bool
    source: str


@dataclass(frozen=True, slots=True)
class GeneralClass:
    """A class as written on a drawing: the letter that counts for the kind, and the size in mm if it was
    written.
    """

    standard: Standard
    letters: str
    kind: str | None
    size: Decimal | None


_WELDED: Final = "ISO 13920:2023 (numbers as in 1996), "
_FORM_2768: Final = GeneralTable(
    "ISO 2768-2:1989 (withdrawn), Table 1", tables.STRAIGHTNESS_2768, "mm", False, "longer side"
)
_FORM_13920: Final = GeneralTable(_WELDED + "Table 3", tables.FORM_13920, "mm", False, "longer side")

TABLES: Final[Mapping[tuple[Standard, str], GeneralTable]] = {
    ("ISO 2768", "linear"): GeneralTable(
        "ISO 2768-1:1989, Table 1", tables.LINEAR_2768, "mm", True, "nominal size", from_first=True
    ),
    ("ISO 2768", "broken edge"): GeneralTable(
        "ISO 2768-1:1989, Table 2", tables.EDGES_2768, "mm", True, "nominal size", from_first=True
    ),
    ("ISO 2768", "angle"): GeneralTable("ISO 2768-1:1989, Table 3", tables.ANGLES_2768, "minute", True, "shorter side"),
    ("ISO 2768", "straightness"): _FORM_2768,
    ("ISO 2768", "flatness"): _FORM_2768,
    ("ISO 2768", "perpendicularity"): GeneralTable(
        "ISO 2768-2:1989 (withdrawn), Table 2", tables.PERPENDICULARITY_2768, "mm", False, "shorter side"
    ),
    ("ISO 2768", "symmetry"): GeneralTable(
        "ISO 2768-2:1989 (withdrawn), Table 3", tables.SYMMETRY_2768, "mm", False, "shorter feature"
    ),
    ("ISO 2768", "run-out"): GeneralTable("ISO 2768-2:1989 (withdrawn), Table 4", tables.RUN_OUT_2768, "mm", False, ""),
    ("ISO 13920", "linear"): GeneralTable(
        _WELDED + "Table 1", tables.LINEAR_13920, "mm", True, "nominal size", from_first=True
    ),
    ("ISO 13920", "angle"): GeneralTable(_WELDED + "Table 2", tables.ANGLES_13920, "minute", True, "shorter leg"),
    ("ISO 13920", "angle offset"): GeneralTable(
        _WELDED + "Table 2", tables.ANGLE_OFFSETS_13920, "mm per m", True, "shorter leg"
    ),
    ("ISO 13920", "straightness"): _FORM_13920,
    ("ISO 13920", "flatness"): _FORM_13920,
    ("ISO 13920", "parallelism"): _FORM_13920,
}

_KIND_WORDS: Final = {
    "linear": "linear",
    "length": "linear",
    "edge": "broken edge",
    "broken edge": "broken edge",
    "radius": "broken edge",
    "chamfer": "broken edge",
    "angle": "angle",
    "straightness": "straightness",
    "flatness": "flatness",
    "perpendicularity": "perpendicularity",
    "symmetry": "symmetry",
    "run-out": "run-out",
    "runout": "run-out",
    "parallelism": "parallelism",
}
_WRITTEN: Final = re.compile(
    r"(?:(?:DIN|EN|BS)\s+)*ISO\s*(?P<number>2768(?:-[12])?|13920)(?::(?P<year>\d{4}))?\s*[-\s]\s*"
    r"(?P<letters>[A-Za-z]{1,2})"
    r"(?:\s*,?\s+(?P<kind>[a-z][a-z -]*[a-z]))?"
    r"(?:\s*,?\s+(?P<size>\d[\d.,]*)(?:\s*mm)?)?"
)
_EDITIONS: Final = {"ISO 2768": ("1989",), "ISO 13920": ("1996", "2023")}
_LETTERS: Final = {"ISO 2768": re.compile(r"[fmcv]?[HKL]?"), "ISO 13920": re.compile(r"[A-D]?[E-H]?")}
_EXAMPLES: Final = "ISO 2768-mK, ISO 13920-BF, or with kind and size in mm: ISO 13920-BF flatness 640"


def names_standard(notation: str) -> bool:
    """Whether the notation speaks of one of the two standards, rightly or not."""
    return re.match(r"(?:(?:DIN|EN|BS)\s+)*ISO\s*(?:2768|13920)(?!\d)", notation) is not None


def read_class(notation: str) -> GeneralClass:
    """What a note such as 'ISO 2768-mK', 'ISO 13920-BF' or 'ISO 13920-BF flatness 640' names; the size is in
    mm.

    Raises `Invalid`: `notation_unknown`, `class_unknown`, `edition_unknown`, `kind_unknown`.
    """
    match = _WRITTEN.fullmatch(notation)
    if match is None:
        raise Invalid("notation_unknown", f"'{notation}' is not understood; write {_EXAMPLES}.")
    standard: Standard = "ISO 13920" if match["number"] == "13920" else "ISO 2768"
    if match["year"] not in (None, *_EDITIONS[standard]):
        raise Invalid("edition_unknown", f"{standard} is kept in its edition of {' or '.join(_EDITIONS[standard])}.")
    if not _LETTERS[standard].fullmatch(match["letters"]):
        raise _no_class(standard, match["letters"])
    kind = match["kind"]
    if kind is not None and kind not in _KIND_WORDS:
        raise Invalid("kind_unknown", f"'{kind}' is not a kind here; write one of {', '.join(_KIND_WORDS)}.")
    size = None if match["size"] is None else parse_value(match["size"])
    return GeneralClass(standard, match["letters"], None if kind is None else _KIND_WORDS[kind], size)


def permitted(standard: Standard, kind: str, tolerance_class: str, size: Decimal | None = None) -> Permitted:
    """What the table permits for one class letter and a size in mm (which length: `GeneralTable.size_of`).

    `tolerance_class` may also be the letters of a drawing note ('mK', 'BF'); the one that the table has
    counts. Raises `Invalid`: `kind_unknown`, `class_unknown`, `length_missing`, `size_outside_table`.
    """
    table = TABLES.get((standard, kind))
    if table is None:
        kinds = ", ".join(name for of, name in TABLES if of == standard)
        raise Invalid("kind_unknown", f"{standard} has no table for '{kind}'; it has {kinds}.")
    known = {name for row in table.rows for name in row.cells}
    letters = [letter for letter in tolerance_class if letter in known]
    if len(letters) != 1:
        raise Invalid(
            "class_unknown",
            f"'{tolerance_class}' names no class for {kind}: {table.source} has {', '.join(sorted(known))}. "
            f"For another kind write it with its length in mm, as in {_EXAMPLES}.",
        )
    return Permitted(_cell(table, letters[0], size), table.measure, table.two_sided, table.source)


def angular_offset(tolerance_class: str, shorter_leg: Decimal) -> Decimal:
    """Permitted offset in mm, plus or minus, at the end of the shorter leg (mm). ISO 13920:2023, Table 2."""
    found = permitted("ISO 13920", "angle offset", tolerance_class, shorter_leg)
    return found.amount * shorter_leg / 1000


def _cell(table: GeneralTable, letter: str, size: Decimal | None) -> Decimal:
    if not table.size_of:
        return table.rows[0].cells[letter]
    if size is None:
        raise Invalid(
            "length_missing",
            f"{table.source} goes by the {table.size_of}; write it in mm, as in {_EXAMPLES}.",
        )
    row = find_row(table.rows, size, from_first=table.from_first)
    cell = row.cells.get(letter) if row else None
    if cell is None:
        raise Invalid(
            "size_outside_table",
            f"{table.source} has no class {letter} for {as_text(size)} mm; write the limits as numbers.",
        )
    return cell


def _no_class(standard: Standard, letters: str) -> Invalid:
    known = "f m c v and H K L" if standard == "ISO 2768" else "A B C D and E F G H"
    return Invalid("class_unknown", f"'{letters}' is not a class of {standard}; it has {known}.")
