"""What a control chart comes to: points, centre, limits and the patterns that were broken."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeAlias

import numpy

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics.readings import FloatArray
from qcapp.core.statistics.run_rules import Rule, Signal, run_rules

Line: TypeAlias = float | FloatArray
FEWEST_POINTS = 5  # fewer cannot carry limits; published teaching examples start at ten
SETTLED_POINTS = 20  # limits from fewer points are called preliminary


@dataclass(frozen=True, eq=False)
class ControlChart:
    """One chart. `center`, `lower`, `upper` and `sigma` are one number, or one per point where sizes vary.

    `sigma` is the standard deviation of a plotted point, `process_sigma` that of a single reading (None for
    counts). `spread` is the companion chart of ranges or standard deviations. `warnings` are sentences.
    """

    points: FloatArray
    center: Line
    lower: Line
    upper: Line
    sigma: Line
    signals: tuple[Signal, ...]
    process_sigma: float | None = None
    spread: ControlChart | None = None
    warnings: tuple[str, ...] = ()

    @property
    def stable(self) -> bool:
        """Whether neither this chart nor its companion broke a rule."""
        return not self.signals and (self.spread is None or self.spread.stable)

    def at(self, line: Line) -> FloatArray:
        """One value per point of `center`, `lower`, `upper` or `sigma`, for drawing."""
        return numpy.broadcast_to(numpy.asarray(line, dtype=numpy.float64), self.points.shape)

    def beyond_limits(self) -> tuple[int, ...]:
        """Positions (from 0) of the points outside the limits, as far as that rule was asked for."""
        return next((signal.points for signal in self.signals if signal.rule == "beyond_limits"), ())


def chart_of(
    points: FloatArray,
    center: Line,
    sigma: Line,
    rules: Iterable[str | Rule],
    *,
    floor: float | None = None,
    ceiling: float | None = None,
    process_sigma: float | None = None,
    spread: ControlChart | None = None,
    warnings: tuple[str, ...] = (),
) -> ControlChart:
    """Limits three standard deviations from the centre, kept between `floor` and `ceiling`, and the
    signals."""
    require_sigma(sigma)
    return ControlChart(
        points=_sealed(points),
        center=center,
        lower=_clip(center - 3.0 * sigma, floor, None),
        upper=_clip(center + 3.0 * sigma, None, ceiling),
        sigma=sigma,
        signals=run_rules(points, center, sigma, rules),
        process_sigma=process_sigma,
        spread=spread,
        warnings=warnings,
    )


def require_sigma(sigma: Line) -> None:
    """Raises Refused `no_spread` unless every standard deviation is above zero."""
    if not numpy.all(numpy.asarray(sigma) > 0):
        raise Refused(
            "no_spread",
            "The readings do not vary, so control limits cannot be drawn; check the resolution of the gauge.",
        )


def _clip(line: Line, floor: float | None, ceiling: float | None) -> Line:
    if floor is None and ceiling is None:
        return line
    clipped = numpy.clip(line, floor, ceiling)
    return float(clipped) if numpy.ndim(clipped) == 0 else clipped


def _sealed(points: FloatArray) -> FloatArray:
    view = points.view()
    view.flags.writeable = False
    return view


def require_points(have: int, what: str) -> None:
    """Raises Refused `too_few_points` when limits would have to be computed from fewer than FEWEST_POINTS."""
    if have < FEWEST_POINTS:
        raise Refused(
            "too_few_points",
            f"Control limits need at least {FEWEST_POINTS} {what} and there are {have}; collect more, "
            "or give the centre and standard deviation of a base period.",
            have=have,
            need=FEWEST_POINTS,
        )


def preliminary(have: int) -> tuple[str, ...]:
    """A warning sentence when limits rest on fewer than SETTLED_POINTS points."""
    if have >= SETTLED_POINTS:
        return ()
    return (f"Limits from {have} points are preliminary; compute them again from {SETTLED_POINTS} or more.",)


def given_together(center: float | None, sigma: float | None) -> bool:
    """Whether a base period's centre and standard deviation were given.

    Raises Invalid `half_a_base_period` for one without the other.
    """
    if (center is None) != (sigma is None):
        raise Invalid(
            "half_a_base_period",
            "Give both the centre and the standard deviation of the base period, or neither.",
        )
    return center is not None
