"""Limits of diameter and wall of drawn tube."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from qcapp.core.errors import Invalid
from qcapp.core.materials import tables
from qcapp.core.materials.reported import Number, reported_number

MM_PER_INCH: Final = Decimal("25.4")


@dataclass(frozen=True, slots=True)
class TubeLimits:
    """Limits of a drawn tube in `unit_of_measure`; None where the standard has no inside diameter."""

    od_lower: Decimal
    od_upper: Decimal
    wall_lower: Decimal
    wall_upper: Decimal
    id_lower: Decimal | None
    id_upper: Decimal | None
    unit_of_measure: str
    source: str


def tube_limits(outside_diameter: Number, wall: Number, *, unit_of_measure: str = "mm") -> TubeLimits:
    """Limits of outside diameter, wall and inside diameter of a drawn tube, ASTM A513/A513M type 5.

    Sizes in mm or in. Of the three only two may be ordered, so a plan uses two. The wall must be one of the
    table (a mm size exactly 25.4 times it, such as 3.048). Raises `Invalid`: `unit_of_measure_unknown`,
    `diameter_outside_table`, `wall_not_tabulated`, `wall_without_tolerance`, `number_not_plain`.
    """
    if unit_of_measure not in ("mm", "in"):
        raise Invalid("unit_of_measure_unknown", "Tube sizes are in 'mm' or 'in'.")
    scale = MM_PER_INCH if unit_of_measure == "mm" else Decimal(1)
    diameter, thickness = reported_number(outside_diameter, "outside diameter"), reported_number(wall, "wall")
    plus, minus, id_plus, id_minus = _diameter_row(diameter / scale)
    wall_plus, wall_minus = _wall_cell(thickness / scale, diameter / scale)
    bore = diameter - 2 * thickness
    return TubeLimits(
        od_lower=diameter - minus * scale,
        od_upper=diameter + plus * scale,
        wall_lower=thickness - wall_minus * scale,
        wall_upper=thickness + wall_plus * scale,
        id_lower=None if id_minus is None else bore - id_minus * scale,
        id_upper=None if id_plus is None else bore + id_plus * scale,
        unit_of_measure=unit_of_measure,
        source="ASTM A513/A513M, type 5 round tubing",
    )


def _diameter_row(inches: Decimal) -> tuple[Decimal, Decimal, Decimal | None, Decimal | None]:
    for low, high, plus, minus, id_plus, id_minus in tables.OUTSIDE_DIAMETER:
        # The rows end at .499 and begin at .500: what lies between is in neither and refused.
        if Decimal(low) <= inches <= Decimal(high) and inches:
            inside = (Decimal(id_plus), Decimal(id_minus)) if id_minus else (None, None)
            return Decimal(plus), Decimal(minus), *inside
    raise Invalid(
        "diameter_outside_table",
        f"An outside diameter of {inches:f} in is not in a row of the ASTM A513 table (to "
        f"{tables.OUTSIDE_DIAMETER[-1][1]} in, steps of 0.001 in); agree the tolerance with the mill.",
    )


def _wall_cell(inches: Decimal, diameter: Decimal) -> tuple[Decimal, Decimal]:
    column = _wall_column(diameter)
    for tabulated, *cells in tables.WALL:
        if Decimal(tabulated) == inches:
            plus, minus = cells[column]
            if plus:
                return Decimal(plus), Decimal(minus)
            raise Invalid(
                "wall_without_tolerance",
                f"The ASTM A513 table gives no tolerance for a wall of {tabulated} in at this diameter; "
                "agree it with the mill.",
            )
    walls = ", ".join(row[0] for row in tables.WALL)
    raise Invalid("wall_not_tabulated", f"A wall of {inches:f} in is not in the ASTM A513 table; it has {walls} in.")


def _wall_column(diameter: Decimal) -> int:
    for column, (low, high) in enumerate(tables.WALL_COLUMNS):
        from_here = diameter >= Decimal(low) if column == 0 else diameter > Decimal(low)
        if from_here and diameter <= Decimal(high):
            return column
    raise Invalid(
        "diameter_outside_table",
        f"The ASTM A513 wall table covers outside diameters of {tables.WALL_COLUMNS[0][0]} to "
        f"{tables.WALL_COLUMNS[-1][1]} in, not {diameter:f} in; agree the tolerance with the mill.",
    )
