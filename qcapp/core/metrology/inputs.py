"""Numbers on their way into a computation: plain, finite, inside what the formula can mean.

The functions of this folder take `Number`: a `Decimal` from the keyboard, an `int` from a table, or a `float`
that a gauge's driver delivered. A float is read by its shortest text, so 0.1 means one tenth.
"""

from __future__ import annotations

import math
import numbers
from decimal import Decimal
from typing import Final

from qcapp.core.errors import Invalid

Number = Decimal | int | float

_NUMBERS: Final = (
    Decimal,
    float,
    numbers.Integral,
)  # whole numbers of numpy are Integral, its floats are float

PI: Final = Decimal("3.141592653589793238462643383280")


def exact(value: Number, what: str) -> Decimal:
    """`value` as the decimal it was written as.

    Raises `Invalid` (`number_not_plain`) for text, NaN or infinity.
    """
    if isinstance(value, bool) or not isinstance(value, _NUMBERS):
        raise Invalid("number_not_plain", f"The {what} must be a number; read typed text with parse_value first.")
    number = value if isinstance(value, Decimal) else Decimal(_text(value))
    if not number.is_finite():
        raise Invalid("number_not_plain", f"The {what} is not a finite number; measure it again.")
    return number


def _text(value: int | float) -> str:
    return repr(float(value)) if isinstance(value, float) else str(int(value))


def positive(value: Number, what: str) -> Decimal:
    """As `exact`, and above zero. Raises `Invalid` (`number_not_positive`)."""
    number = exact(value, what)
    if number <= 0:
        raise Invalid("number_not_positive", f"The {what} must be above zero, not {number}; check what was typed.")
    return number


def not_negative(value: Number, what: str) -> Decimal:
    """As `exact`, and not below zero. Raises `Invalid` (`number_negative`)."""
    number = exact(value, what)
    if number < 0:
        raise Invalid("number_negative", f"The {what} cannot be below zero, but is {number}; check what was typed.")
    return number


def real(value: Number, what: str) -> float:
    """`value` for statistics.

    Raises `Invalid` (`number_not_plain`) for text or NaN; infinity is the caller's to judge.
    """
    if isinstance(value, bool) or not isinstance(value, _NUMBERS) or math.isnan(value):
        raise Invalid("number_not_plain", f"The {what} must be a number; read typed text with parse_value first.")
    return float(value)
