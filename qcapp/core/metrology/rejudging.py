"""Readings judged again with what a later calibration found: the error of the gauge and its uncertainty.

The calibration gives the gauge's error (indication minus reference value, JCGM 200:2012, 2.16) at some points; between
them it is taken as a straight line, beyond the outermost points as theirs. The reading without that error is then held
against the band with the calibration's expanded uncertainty U: proven inside when it stays U away from every limit,
proven outside when it lies more than U beyond one, and doubtful between (the zones of ISO 14253-1:2017, from memory).
A natural boundary of the band cannot be missed and is not counted.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band

PLACES = Decimal("1e-10")  # an interpolated error is rounded there, far below any gauge


class Finding(StrEnum):
    """What can be said of a reading now; the gravest last."""

    STILL_IN_BAND = "still in band"
    DOUBTFUL = "doubtful"
    OUT_OF_BAND = "out of band"


@dataclass(frozen=True)
class ErrorPoint:
    """At this reference value the gauge showed `error` too much."""

    reference: Decimal
    error: Decimal


@dataclass(frozen=True)
class Rejudgement:
    """The reading without the gauge's error, and what can be said of it."""

    value: Decimal
    error: Decimal
    corrected: Decimal
    finding: Finding


class ErrorCurve:
    """The error of a gauge over its range. Raises Invalid `no_error_points`, `error_points_twice`."""

    def __init__(self, points: Sequence[ErrorPoint]) -> None:
        if not points:
            raise Invalid("no_error_points", "The calibration gives no points, so nothing can be judged again with it.")
        self._points = sorted(points, key=lambda point: point.reference)
        self._shown = [point.reference + point.error for point in self._points]  # what the gauge showed there
        if len(set(self._shown)) != len(self._shown):
            raise Invalid("error_points_twice", "Two points of the calibration show the same value; give each once.")
        if self._shown != sorted(self._shown):
            message = "The gauge showed a smaller value at a larger reference; the points cannot be told apart by it."
            raise Invalid("error_points_crossed", message)

    def at(self, shown: Decimal) -> Decimal:
        """The error where the gauge shows this value, rounded to ten decimals."""
        place = bisect_right(self._shown, shown)
        if place == 0:
            return self._points[0].error
        if place == len(self._points):
            return self._points[-1].error
        left, right = self._shown[place - 1], self._shown[place]
        share = Fraction(shown - left) / Fraction(right - left)
        low, high = self._points[place - 1].error, self._points[place].error
        exact = Fraction(low) + share * (Fraction(high) - Fraction(low))
        return (Decimal(exact.numerator) / Decimal(exact.denominator)).quantize(PLACES).normalize() + 0


def judge_again(value: Decimal, band: Band, curve: ErrorCurve, expanded_uncertainty: Decimal) -> Rejudgement:
    """The reading without the gauge's error against its band. Raises Invalid `uncertainty_negative`."""
    if expanded_uncertainty < 0:
        raise Invalid("uncertainty_negative", "An expanded uncertainty is not below zero; correct it.")
    error = curve.at(value)
    corrected = value - error
    beyond = max(_beyond(corrected, band), default=None)
    return Rejudgement(value, error, corrected, _finding(beyond, expanded_uncertainty))


def _beyond(corrected: Decimal, band: Band) -> list[Decimal]:
    """How far beyond each limit that can be missed; negative inside."""
    found = []
    if band.lower is not None and "lower" not in band.natural:
        found.append(band.lower - corrected)
    if band.upper is not None and "upper" not in band.natural:
        found.append(corrected - band.upper)
    return found


def _finding(beyond: Decimal | None, uncertainty: Decimal) -> Finding:
    if beyond is None or beyond <= -uncertainty:
        return Finding.STILL_IN_BAND
    return Finding.OUT_OF_BAND if beyond > uncertainty else Finding.DOUBTFUL
