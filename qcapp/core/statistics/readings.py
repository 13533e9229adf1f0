"""Readings on their way from people and gauges (Decimal, whole numbers) to the statistics (arrays of float).

This is the one conversion between the two. Whatever is not a finite number is refused with its place.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Protocol, SupportsFloat, TypeAlias

import numpy
from numpy.typing import NDArray

from qcapp.core.errors import Invalid, Refused

FloatArray: TypeAlias = NDArray[numpy.float64]
Values: TypeAlias = Sequence[SupportsFloat] | FloatArray


class Limits(Protocol):
    """A band as the statistics see it: two limits, either of them open. A band that also has `natural` (the
    names of the sides that no part can cross, such as zero for flatness) is read as one-sided there."""

    @property
    def lower(self) -> Decimal | None: ...

    @property
    def upper(self) -> Decimal | None: ...


def as_floats(values: Values | Iterable[SupportsFloat], *, least: int = 1, what: str = "readings") -> FloatArray:
    """A one-dimensional array of finite floats.

    Raises Invalid `reading_not_a_number` with the place of the first one that is none, and Refused
    `too_few_readings` when there are fewer than `least`.
    """
    array = values if isinstance(values, numpy.ndarray) and values.dtype.kind in "fiu" else _array_from(values)
    if array.ndim != 1:
        raise Invalid("readings_not_a_row", f"The {what} must come as one row of numbers, one after the other.")
    array = array.astype(numpy.float64, copy=False)
    if not math.isfinite(float(array.sum())):
        _refuse_first_not_finite(array)
    require_at_least(least, array.size, what)
    return array


def _array_from(values: Iterable[SupportsFloat]) -> FloatArray:
    numbers: list[float] = []
    for place, value in enumerate(values, start=1):
        if value is None or isinstance(value, str | bytes):
            raise _not_a_number(place, value)
        try:
            numbers.append(float(value))
        except (TypeError, ValueError, OverflowError):
            raise _not_a_number(place, value) from None
    return numpy.array(numbers, dtype=numpy.float64)


def _refuse_first_not_finite(array: FloatArray) -> None:
    places = numpy.flatnonzero(~numpy.isfinite(array))
    if places.size:
        raise _not_a_number(int(places[0]) + 1, array[places[0]])


def _not_a_number(place: int, value: object) -> Invalid:
    return Invalid(
        "reading_not_a_number",
        f"Reading {place} ({value!s}) is not a number; leave it out or correct it.",
        place=place,
    )


def require_at_least(least: int, have: int, what: str = "readings") -> None:
    """Raises Refused `too_few_readings` when `have` is below `least`."""
    if have < least:
        raise Refused(
            "too_few_readings",
            f"There are {have} {what} and at least {least} are needed; wait until more have been taken.",
            have=have,
            need=least,
        )


def require_confidence(confidence: float) -> None:
    """Raises Invalid `confidence_out_of_range` unless 0 < confidence < 1."""
    if not 0.0 < confidence < 1.0:
        raise Invalid(
            "confidence_out_of_range",
            f"A confidence of {confidence} is not possible; give a fraction such as 0.95.",
            confidence=confidence,
        )


def require_fraction(fraction: float, what: str) -> None:
    """Raises Invalid `fraction_out_of_range` unless 0 <= fraction <= 1."""
    if not 0.0 <= fraction <= 1.0:
        raise Invalid(
            "fraction_out_of_range",
            f"The {what} is {fraction}; give a fraction between 0 and 1 (2 percent is 0.02).",
            value=fraction,
        )


def missable_limits(band: Limits) -> tuple[Decimal | None, Decimal | None]:
    """The limits that a process can miss: a natural boundary counts as open.

    Raises Invalid `band_without_limits` when nothing is left to compare with.
    """
    natural: frozenset[str] = getattr(band, "natural", frozenset())
    lower = None if "lower" in natural else band.lower
    upper = None if "upper" in natural else band.upper
    if lower is None and upper is None:
        raise Invalid(
            "band_without_limits",
            "The band has no limit that a part could miss; give it a lower or an upper limit.",
        )
    return lower, upper


def working_limits(band: Limits) -> tuple[float | None, float | None]:
    """As `missable_limits`, as floats."""
    lower, upper = missable_limits(band)
    return None if lower is None else float(lower), None if upper is None else float(upper)
