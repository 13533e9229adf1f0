"""How many times the room between the limits holds the uncertainty of the measurement.

Source: ANSI/NCSL Z540.3-2006, 3.11 (from memory): the test uncertainty ratio is the span of the tolerance over
twice the 95 % expanded uncertainty. 4 : 1 is the usual request. For one limit the room is the reach from it to
the nominal or to the natural boundary, over the expanded uncertainty (common practice, no source).
"""

from __future__ import annotations

from decimal import Context, Decimal
from typing import Final

from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band

ASKED: Final = Decimal(4)
_DIVISION: Final = Context(prec=28)


def uncertainty_ratio(band: Band, expanded_uncertainty: Decimal) -> Decimal | None:
    """The ratio, both in the same unit of measure; None where one limit has nothing to reach from.

    Raises Invalid `uncertainty_not_positive`.
    """
    if not expanded_uncertainty.is_finite() or expanded_uncertainty <= 0:
        raise Invalid("uncertainty_not_positive", "The expanded uncertainty must be above zero; record it.")
    room = reach(band)
    return None if room is None else _DIVISION.divide(room, expanded_uncertainty)


def reach(band: Band) -> Decimal | None:
    """Half the width between two limits; for one limit, how far it is from the nominal or the natural boundary."""
    lower, upper = band.lower, band.upper
    if lower is not None and upper is not None:
        return upper - lower if band.natural else (upper - lower) / 2
    limit = upper if lower is None else lower
    if limit is None or band.nominal is None or band.nominal == limit:
        return None
    return abs(limit - band.nominal)
