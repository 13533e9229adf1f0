"""The points of a calibration: reference value, what the gauge showed as found and as left, limit of error.

A calibration has passed when every point as left (as found, where nothing was adjusted) lies within its limit of error;
whether the gauge was right until then is told by the points as found. Points may belong to a series, such as the inside
jaws of a caliper or a falling pressure: each has an error curve of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from qcapp.core.errors import Invalid
from qcapp.core.metrology.quantities import as_text
from qcapp.core.metrology.rejudging import ErrorCurve, ErrorPoint

MOST_POINTS = 60
LONGEST_NUMBER = 40


@dataclass(frozen=True)
class Point:
    """One point, in the gauge's unit of measure. `as_left` is None where nothing was adjusted."""

    reference: Decimal
    as_found: Decimal
    as_left: Decimal | None
    limit: Decimal
    series: str = ""

    @property
    def error_found(self) -> Decimal:
        return self.as_found - self.reference

    @property
    def error_left(self) -> Decimal:
        return (self.as_found if self.as_left is None else self.as_left) - self.reference

    @property
    def found_good(self) -> bool:
        return abs(self.error_found) <= self.limit

    @property
    def left_good(self) -> bool:
        return abs(self.error_left) <= self.limit


def check_points(points: Sequence[Point]) -> None:
    """Raises Invalid `calibration_points` (too many, no plain number, a limit of error that is not above zero) and as
    `ErrorCurve`.
    """
    if len(points) > MOST_POINTS:
        raise Invalid("calibration_points", f"At most {MOST_POINTS} points are kept; give those that matter.")
    for place, point in enumerate(points, start=1):
        numbers = [point.reference, point.as_found, point.limit, *([] if point.as_left is None else [point.as_left])]
        if not all(number.is_finite() and len(as_text(number)) <= LONGEST_NUMBER for number in numbers):
            raise Invalid("calibration_points", f"Point {place} is not made of plain numbers such as 100.02.")
        if point.limit <= 0:
            raise Invalid("calibration_points", f"The limit of error of point {place} must be above zero, like 0.02.")
    curves_of(points)


def curves_of(points: Sequence[Point]) -> list[ErrorCurve]:
    """The error as found, a curve for each series. Raises as `ErrorCurve`."""
    by_series: dict[str, list[ErrorPoint]] = {}
    for point in points:
        by_series.setdefault(point.series, []).append(ErrorPoint(point.reference, point.error_found))
    return [ErrorCurve(some) for some in by_series.values()]


def passed(points: Sequence[Point]) -> bool:
    """Whether the gauge may be used after it: every point as left within its limit of error."""
    return all(point.left_good for point in points)


def found_good(points: Sequence[Point]) -> bool:
    """Whether the gauge was right until then: every point as found within its limit of error."""
    return all(point.found_good for point in points)
