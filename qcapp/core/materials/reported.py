"""What a mill certificate reports, read as exact decimals and checked for the slips that typing makes."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from qcapp.core.errors import Invalid
from qcapp.core.materials.tables import ELEMENTS

Number = Decimal | int | float
Composition = Mapping[str, Number | None]


def percentages(composition: Composition) -> dict[str, Decimal]:
    """What is reported, as decimals; a missing value is left out."""
    reported = {}
    for element, value in composition.items():
        if element not in ELEMENTS:
            raise Invalid("element_unknown", f"'{element}' is no element of a steel analysis; use symbols such as Mn.")
        if value is not None:
            reported[element] = reported_number(value, f"{element} content", highest=100)
    return reported


def reported_number(value: Number, what: str, *, highest: int | None = None) -> Decimal:
    """`value` as a decimal from zero to `highest`; a float is read by its shortest text."""
    if isinstance(value, bool) or not isinstance(value, (Decimal, int, float)):
        raise Invalid("number_not_plain", f"The {what} must be a number; read typed text with parse_value first.")
    number = Decimal(repr(float(value))) if isinstance(value, float) else Decimal(value)
    if not number.is_finite() or number < 0:
        raise Invalid("number_not_plain", f"The {what} must be a number from zero up, not {number}.")
    if highest is not None and number > highest:
        raise Invalid("percent_invalid", f"The {what} of {number} % is above {highest} %; check the decimal mark.")
    return number
