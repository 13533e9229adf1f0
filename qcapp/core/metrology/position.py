"""Position from offsets and sizes, in exact decimals because it is compared with a typed tolerance.

Sources: ASME Y14.5-2018; ISO 1101 and ISO 2692 for the same arithmetic.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from qcapp.core.errors import Invalid
from qcapp.core.metrology.inputs import Number, exact, not_negative, positive

Feature = Literal["hole", "pin"]


def position_deviation(dx: Number, dy: Number, dz: Number = 0) -> Decimal:
    """Diametral position deviation 2·√(dx²+dy²+dz²), exact where the root is (ASME Y14.5, ISO 1101)."""
    parts = [exact(part, "offset") for part in (dx, dy, dz)]
    return 2 * sum((part * part for part in parts), Decimal(0)).sqrt()


def bonus_tolerance(
    feature: Feature, actual_size: Number, *, mmc_size: Number, lmc_size: Number | None = None
) -> Decimal:
    """What the actual size adds to a tolerance at maximum material condition (ASME Y14.5, ISO 2692).

    Hole: actual minus MMC size; pin: MMC size minus actual; never below zero, and with `lmc_size` never above
    the size tolerance. Whether the size itself conforms is judged on its own. Raises `Invalid`:
    `feature_unknown`, `sizes_exchanged` when the two limits of size do not fit the feature.
    """
    sign = _material_side(feature)
    mmc = positive(mmc_size, "maximum material size")
    bonus = max(Decimal(0), sign * (positive(actual_size, "actual size") - mmc))
    if lmc_size is None:
        return bonus
    room = sign * (positive(lmc_size, "least material size") - mmc)
    if room < 0:
        raise Invalid(
            "sizes_exchanged",
            f"For a {feature} the maximum material size is the {'smallest' if sign > 0 else 'largest'} one; "
            "exchange the two limits of size.",
        )
    return min(bonus, room)


def allowed_position(
    tolerance: Number,
    feature: Feature,
    actual_size: Number,
    *,
    mmc_size: Number,
    lmc_size: Number | None = None,
) -> Decimal:
    """The position tolerance with its bonus: the upper limit that `position_deviation` is judged by."""
    bonus = bonus_tolerance(feature, actual_size, mmc_size=mmc_size, lmc_size=lmc_size)
    return not_negative(tolerance, "position tolerance") + bonus


def virtual_condition(feature: Feature, mmc_size: Number, tolerance: Number) -> Decimal:
    """The boundary no point of the feature may cross: hole MMC minus, pin MMC plus the tolerance at MMC."""
    sign = _material_side(feature)
    return positive(mmc_size, "maximum material size") - sign * not_negative(tolerance, "tolerance")


def _material_side(feature: str) -> int:
    """+1 when material is lost as the size grows."""
    if feature not in ("hole", "pin"):
        raise Invalid("feature_unknown", "The feature is 'hole' (size inside material) or 'pin' (size around it).")
    return 1 if feature == "hole" else -1
