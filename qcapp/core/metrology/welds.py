"""Limits for weld imperfections (ISO 5817 levels B, C and D), computed for the thickness at hand.

The rows stand in `weld_tables.py`. Which level a joint needs, and limits for structural welds, re-welding and
repair, are the responsible engineer's and welding coordinator's; this module only reads the table.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Final

from qcapp.core.errors import Invalid, Refused
from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.decision import Verdict, judge
from qcapp.core.metrology.inputs import Number, not_negative, positive
from qcapp.core.metrology.weld_tables import (
    AGREE,
    CONFIDENCE,
    NO,
    NOTES,
    OTHER_NAMES,
    ROWS,
    SHORT_LENGTH,
    SHORT_WITHIN,
    SOURCE,
    THICK,
    Row,
)

LEVELS: Final = ("B", "C", "D")

_CELL: Final = re.compile(
    r"(?P<short>short: )?"
    r"(?:(?P<base>[\d.]+)(?: \+ |(?=,|$)))?"
    r"(?:(?P<times>[\d.]+) (?P<of>[tsab]))?"
    r"(?:, max (?P<most>[\d.]+))?"
)


@dataclass(frozen=True, slots=True)
class Limit:
    """What the table says for one imperfection at one level and thickness, with the sentence to print.

    `upper` (or `lower`, for an angle) is in `unit_of_measure`; both are None without a limit or by agreement;
    `upper` is zero where the level does not permit the imperfection. `short_only`: only as short
    imperfections, see `is_short`.
    """

    imperfection: str
    number: str
    iso6520_1: str
    level: str
    permitted: bool
    by_agreement: bool
    short_only: bool
    lower: Decimal | None
    upper: Decimal | None
    unit_of_measure: str
    expression: str
    sentence: str
    source: str
    confidence: str
    note: str


class WeldVerdict(StrEnum):
    CONFORMS = "conforms"
    CONFORMS_IF_SHORT = "conforms_if_short"
    DOES_NOT_CONFORM = "does_not_conform"
    BY_AGREEMENT = "by_agreement"


def weld_limit(
    imperfection: str,
    level: str,
    *,
    thickness: Number,
    throat: Number | None = None,
    width: Number | None = None,
    weld_thickness: Number | None = None,
) -> Limit:
    """The limit that a plan can print; lengths in mm.

    `imperfection`: name, number in the table, or number of ISO 6520-1. `thickness`: wall; `throat`: nominal
    throat of a fillet; `width`: of the weld; `weld_thickness`: nominal butt weld thickness, the wall when
    left out (full penetration). Raises `Refused`: `imperfection_not_permitted`, `limit_by_agreement`;
    `Invalid`: `imperfection_unknown`, `imperfection_ambiguous`, `level_unknown`, `thickness_outside_table`,
    `dimension_missing`, `number_not_positive`.
    """
    limit = weld_rule(
        imperfection, level, thickness=thickness, throat=throat, width=width, weld_thickness=weld_thickness
    )
    if limit.by_agreement:
        raise Refused("limit_by_agreement", limit.sentence)
    if not limit.permitted:
        raise Refused("imperfection_not_permitted", limit.sentence)
    return limit


def weld_rule(
    imperfection: str,
    level: str,
    *,
    thickness: Number,
    throat: Number | None = None,
    width: Number | None = None,
    weld_thickness: Number | None = None,
) -> Limit:
    """As `weld_limit`, with "not permitted" and "by agreement" as answers instead of refusals."""
    if level not in LEVELS:
        raise Invalid("level_unknown", f"Quality level '{level}' does not exist in ISO 5817; choose B, C or D.")
    wall = positive(thickness, "thickness")
    row = _at_thickness(_rows_of(imperfection), wall)
    cell = {"B": row.level_b, "C": row.level_c, "D": row.level_d}[level]
    sizes = {"t": wall, "s": weld_thickness if weld_thickness is not None else wall, "a": throat, "b": width}
    return _limit(row, level, cell, sizes, wall)


def names() -> tuple[str, ...]:
    """The imperfections of the table, each once, in its order."""
    return tuple(dict.fromkeys(row.name for row in ROWS))


def assess(limit: Limit, measured: Number, *, short: bool | None = None) -> WeldVerdict:
    """Verdict on a measured imperfection (0 for none); `short` is what `is_short` says, None if not known.

    Raises `Invalid` (`number_negative`).
    """
    size = not_negative(measured, "measured imperfection")
    if limit.by_agreement:
        return WeldVerdict.BY_AGREEMENT
    if limit.lower is None and limit.upper is None:
        return WeldVerdict.CONFORMS
    if judge(size, Band(limit.lower, limit.upper)).verdict is Verdict.OUT_OF_BAND:
        return WeldVerdict.DOES_NOT_CONFORM
    if not limit.short_only or not size or short:
        return WeldVerdict.CONFORMS
    return WeldVerdict.CONFORMS_IF_SHORT if short is None else WeldVerdict.DOES_NOT_CONFORM


def is_short(total_length: Number, weld_length: Number) -> bool:
    """Whether imperfections count as short: in the worst 100 mm of weld they add up to at most 25 mm.

    For a weld below 100 mm: at most 25 % of its length. `total_length` is the sum within the worst 100 mm
    (ISO 5817:2014 clause 3, from memory). Raises `Invalid`: `number_not_positive`, `number_negative`,
    `longer_than_weld`.
    """
    weld = positive(weld_length, "weld length")
    total = not_negative(total_length, "total length of the imperfections")
    within = min(weld, Decimal(SHORT_WITHIN))
    if total > within:
        raise Invalid(
            "longer_than_weld",
            f"{total} mm of imperfections do not fit in {within} mm of weld; add up the worst 100 mm only.",
        )
    return total * Decimal(SHORT_WITHIN) <= Decimal(SHORT_LENGTH) * within


def _rows_of(imperfection: str) -> list[Row]:
    """The rows of one imperfection, which differ in thickness only."""
    wanted = " ".join(imperfection.split()).lower()
    wanted = OTHER_NAMES.get(wanted, wanted)
    found = [row for row in ROWS if wanted == row.name]
    if not found:
        found = [
            row
            for row in ROWS
            if wanted == row.number or wanted in row.iso6520_1.split("/") or row.name.startswith(f"{wanted},")
        ]
    choices = list(dict.fromkeys(row.name for row in found))
    if not choices:
        raise Invalid(
            "imperfection_unknown",
            f"'{imperfection}' is not in the table; it has: {'; '.join(names())}. Read others in ISO 5817 itself.",
        )
    if len(choices) > 1:
        raise Invalid("imperfection_ambiguous", f"'{imperfection}' can mean {' or '.join(choices)}; say which.")
    return found


def _at_thickness(rows: list[Row], wall: Decimal) -> Row:
    for row in rows:
        low, high = Decimal(row.thickness[0]), Decimal(row.thickness[1] or "Infinity")
        above = wall >= low if row.thickness != THICK else wall > low
        if above and wall <= high:
            return row
    raise Invalid(
        "thickness_outside_table",
        f"{SOURCE} begins at a thickness of {rows[0].thickness[0]} mm, not {wall} mm; "
        "agree the limit with the welding coordinator.",
    )


def _limit(row: Row, level: str, cell: str, sizes: dict[str, Number | None], wall: Decimal) -> Limit:
    lower, upper, short_only = None, None, False
    permitted = cell != NO
    if not permitted:
        upper = Decimal(0)
    elif row.unit_of_measure == "° min":
        lower = Decimal(cell)
    elif cell not in ("no limit", AGREE):
        upper, short_only = _computed(cell, row.name, sizes)
    unit_of_measure = row.unit_of_measure.removesuffix(" min")
    return Limit(
        imperfection=row.name,
        number=row.number,
        iso6520_1=row.iso6520_1,
        level=level,
        permitted=permitted,
        by_agreement=cell == AGREE,
        short_only=short_only,
        lower=lower,
        upper=upper,
        unit_of_measure=unit_of_measure,
        expression=cell,
        sentence=_sentence(row, level, cell, lower, upper, short_only, wall),
        source=f"{SOURCE} no. {row.number}",
        confidence=CONFIDENCE[row.confidence],
        note=NOTES.get((row.name, row.thickness), ""),
    )


def _computed(cell: str, name: str, sizes: dict[str, Number | None]) -> tuple[Decimal, bool]:
    """The value of a cell, and whether it holds for short imperfections only."""
    parts = _CELL.fullmatch(cell)
    assert parts is not None, f"unreadable cell {cell}"  # noqa: S101 -- a test reads every cell of the table
    value = Decimal(parts["base"] or 0)
    if parts["of"]:
        value += Decimal(parts["times"]) * _size(parts["of"], name, sizes)
    if parts["most"]:
        value = min(value, Decimal(parts["most"]))
    return value, parts["short"] is not None


def _size(letter: str, name: str, sizes: dict[str, Number | None]) -> Decimal:
    meaning = {"t": "thickness", "s": "weld thickness", "a": "throat", "b": "width"}[letter]
    size = sizes[letter]
    if size is None:
        raise Invalid("dimension_missing", f"The limit for {name} depends on the {meaning} of the weld; give it in mm.")
    return positive(size, meaning)


def _sentence(
    row: Row,
    level: str,
    cell: str,
    lower: Decimal | None,
    upper: Decimal | None,
    short_only: bool,
    wall: Decimal,
) -> str:
    where = f"level {level} at {wall:f} mm ({SOURCE} no. {row.number})"
    name = row.name.capitalize()
    if cell == NO:
        return f"{name} is not permitted at {where}: any amount is rejected."
    if cell == AGREE:
        return f"{name} at {where} is accepted by agreement: state in the plan what is accepted."
    if cell == "no limit":
        return f"{name} has no limit at {where}."
    if lower is not None:
        return f"{name} must be {lower} ° or more at {where}."
    assert upper is not None, "every other cell has an upper limit"  # noqa: S101 -- for the type checker
    text = f"{name} may be up to {upper.normalize():f} {row.unit_of_measure} at {where}"
    return f"{text}, as short imperfections only." if short_only else f"{text}."
