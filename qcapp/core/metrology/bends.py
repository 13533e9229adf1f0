"""Tube bends: ovality, thinning, and the wall a bend needs.

Sources: ovality over the nominal diameter, 2 stored texts (U-tube design note; UFGS/NAVFAC piping criteria);
over the mean diameter, EN 13480-4 / EN 12952-5, from memory; geometric thinning and elongation, tooling
texts, a rule of thumb; wall factors, ASME B31.1-2018 para. 102.4.5 (22 rows of a stored worked sheet) and
Table 102.4.5 (2 stored copies).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Final

from qcapp.core.errors import Invalid
from qcapp.core.metrology.inputs import Number, positive

BEFORE_BENDING: Final = (
    # radius / diameter, wall before bending / required wall after (ASME B31.1 Table 102.4.5)
    (Decimal("3"), Decimal("1.25")),
    (Decimal("4"), Decimal("1.14")),
    (Decimal("5"), Decimal("1.08")),
    (Decimal("6"), Decimal("1.06")),
)


@dataclass(frozen=True, slots=True)
class BendThinning:
    """What a bend does to the outer wall by geometry alone; so measure the first piece.

    Percentages of the wall and of the length; `bend_ratio` is radius / diameter, `wall_factor` diameter /
    wall.
    """

    thinning_percent: Decimal
    wall_after: Decimal
    elongation_percent: Decimal
    bend_ratio: Decimal
    wall_factor: Decimal


def bend_ovality(largest: Number, smallest: Number, nominal: Number | None = None) -> Decimal:
    """Ovality in percent: of the nominal diameter if given, otherwise of the mean of largest and smallest.

    The two differ in the third digit, so the plan says which one its limit means. Raises `Invalid`:
    `diameters_exchanged`, `number_not_positive`.
    """
    big, small = positive(largest, "largest diameter"), positive(smallest, "smallest diameter")
    if big < small:
        raise Invalid("diameters_exchanged", "The largest diameter is below the smallest; exchange the two readings.")
    if nominal is None:
        return 200 * (big - small) / (big + small)
    return 100 * (big - small) / positive(nominal, "nominal diameter")


def bend_thinning(outside_diameter: Number, bend_radius: Number, wall: Number) -> BendThinning:
    """Expected thinning of the outer wall, (Ro - R)/Ro with Ro = R + D/2; R to the centre line.

    Raises `Invalid`: `bend_too_tight` for a radius of half the diameter or less, `wall_too_thick`.
    """
    diameter, radius = _bend(outside_diameter, bend_radius)
    thickness = positive(wall, "wall")
    if 2 * thickness >= diameter:
        raise Invalid("wall_too_thick", "The wall leaves no bore; check diameter and wall.")
    thinning = (diameter / 2) / (radius + diameter / 2)
    return BendThinning(
        thinning_percent=100 * thinning,
        wall_after=thickness * (1 - thinning),
        elongation_percent=100 * (diameter / 2) / radius,
        bend_ratio=radius / diameter,
        wall_factor=diameter / thickness,
    )


def measured_thinning(wall_before: Number, wall_after: Number) -> Decimal:
    """Thinning in percent of the wall before forming; negative where the wall grew.

    Raises `Invalid` (`number_not_positive`).
    """
    before = positive(wall_before, "wall before")
    return 100 * (before - positive(wall_after, "wall after")) / before


def wall_factors(outside_diameter: Number, bend_radius: Number) -> tuple[Decimal, Decimal]:
    """Intrados and extrados factor I of ASME B31.1-2018 para.

    102.4.5: required wall is that of straight pipe times I.

    Raises `Invalid` (`bend_too_tight`).
    """
    diameter, radius = _bend(outside_diameter, bend_radius)
    ratio = 4 * (radius / diameter)
    return (ratio - 1) / (ratio - 2), (ratio + 1) / (ratio + 2)


def wall_before_bending(minimum_wall: Number, bend_ratio: Number) -> Decimal:
    """Wall before bending that leaves `minimum_wall`: ASME B31.1 Table 102.4.5, linear between.

    Raises `Invalid` (`bend_outside_table`) for a bend ratio (radius / diameter) below 3.
    """
    wall, ratio = positive(minimum_wall, "minimum wall"), positive(bend_ratio, "bend ratio")
    if ratio < BEFORE_BENDING[0][0]:
        raise Invalid(
            "bend_outside_table",
            f"ASME B31.1 Table 102.4.5 begins at a radius of 3 diameters, not {ratio}; prove the wall by a trial bend.",
        )
    for (low, high_factor), (high, low_factor) in pairwise(BEFORE_BENDING):
        if ratio <= high:
            return wall * (high_factor + (low_factor - high_factor) * (ratio - low) / (high - low))
    return wall * BEFORE_BENDING[-1][1]


def _bend(outside_diameter: Number, bend_radius: Number) -> tuple[Decimal, Decimal]:
    diameter, radius = positive(outside_diameter, "outside diameter"), positive(bend_radius, "bend radius")
    if 2 * radius <= diameter:
        raise Invalid("bend_too_tight", "A centre line radius of half the diameter or less is no bend; check both.")
    return diameter, radius
