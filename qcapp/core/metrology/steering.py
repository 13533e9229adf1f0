"""Steering geometry and the alignment of steering head, pivot and rear axle.

Lengths in mm, angles in degrees, floats because of the angles. Directions are told by the order of the
points: head from lower to upper bearing seat, pivot and axle from left to right as the rider sits. The common
ranges of trail that texts quote (about 90 to 140 mm for motorcycles) are guidance, not a standard, so nothing
here judges a trail.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from qcapp.core.errors import Invalid
from qcapp.core.metrology.elements import Points, fit_line, points_array
from qcapp.core.metrology.inputs import Number, exact, positive

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray

    Array = NDArray[float64]

_STEEPEST_RAKE: Final = 60


@dataclass(frozen=True, slots=True)
class Trail:
    """`ground`: along the ground, axis to contact; `mechanical`: square to the axis (normal trail)."""

    ground: float
    mechanical: float


def trail(rake_deg: Number, wheel_radius: Number, fork_offset: Number) -> Trail:
    """Trail from rake (off the vertical), loaded wheel radius and offset square to the steering axis.

    ground = (R·sin rake - offset) / cos rake; mechanical = R·sin rake - offset (Meijaard and others 2007,
    Proc. R. Soc. A 463:1955, benchmark geometry). For a link fork the offset is the one at the stated ride
    height, see `link_fork_offset`. Raises `Invalid`: `rake_out_of_range` outside 0 to 60 (a head angle was
    meant, perhaps), `number_not_positive` for the radius.
    """
    rake = exact(rake_deg, "rake")
    if not 0 <= rake < _STEEPEST_RAKE:
        raise Invalid(
            "rake_out_of_range",
            f"A rake of {rake}° is outside 0° to {_STEEPEST_RAKE}°; measure it from the vertical "
            "(rake = 90° - head angle).",
        )
    angle = math.radians(rake)
    mechanical = float(positive(wheel_radius, "wheel radius")) * math.sin(angle) - float(
        exact(fork_offset, "fork offset")
    )
    return Trail(mechanical / math.cos(angle), mechanical)


def link_fork_offset(
    pivot_offset: Number, link_length: Number, link_angle_deg: Number, *, blade_offset: Number = 0
) -> float:
    """Offset of the axle of a link fork at one ride height, lengths square to the steering axis.

    `pivot_offset`: frame pivot of the link, forwards positive. `link_angle_deg`: between the link and the
    square to the axis, at the stated ride height: 0 points forwards, 180 backwards (trailing link).
    `blade_offset`: axle ahead of the link's moving end. Holds for one link with the axle at its end, and for
    a girder whose links are equal and parallel; for other girders measure the axle and use `fork_offset`.
    Raises `Invalid` (`number_not_positive`).
    """
    length = float(positive(link_length, "link length"))
    swing = length * math.cos(math.radians(exact(link_angle_deg, "link angle")))
    return float(exact(pivot_offset, "pivot offset")) + swing + float(exact(blade_offset, "blade offset"))


def fork_offset(axle: Sequence[Number], head: Points, *, forward: Sequence[Number] = (1, 0, 0)) -> float:
    """Distance of the measured axle centre from the steering axis, positive when it lies ahead.

    Raises `Invalid`: as `fit_line`; `points_mixed` when a point is not three coordinates.
    """
    import numpy as np

    point, direction = _axis(head)
    ahead, centre = points_array([forward, axle], at_least=2, wanted="a fork offset", columns=(3,))
    across = centre - point
    across = across - (across @ direction) * direction
    return math.copysign(float(np.linalg.norm(across)), float(across @ ahead))


def head_twist(head: Points, pivot: Points) -> float:
    """Sideways lean of the steering head against the frame's mid plane (square to the pivot), in degrees.

    Positive when the upper end leans to the pivot's right. Raises `Invalid`: as `fit_line`; `points_mixed`
    when a point is not three coordinates.
    """
    import numpy as np

    (_, up), (_, right) = _axis(head), _axis(pivot)
    return math.degrees(math.atan2(float(up @ right), float(np.linalg.norm(np.cross(up, right)))))


def wheel_line_offset(head: Points, axle: Points, *, below_head: Number = 0) -> float:
    """How far the steering axis passes beside the middle of the rear axle; to its right positive.

    The middle is half way between the first and last axle point, so measure the two hub faces. `below_head`
    moves the place along the steering axis below the first head point, for example down to the front axle:
    with a twisted head the offset differs from place to place. Raises `Invalid`: as `fit_line`;
    `points_mixed`.
    """
    point, up = _axis(head)
    _, right = _axis(axle)
    hubs = points_array(axle, at_least=2, wanted="an axle", columns=(3,))
    lowest = points_array(head, at_least=2, wanted="a steering head", columns=(3,))[0]
    place = point + ((lowest - point) @ up - float(exact(below_head, "distance below the head"))) * up
    return float((place - (hubs[0] + hubs[-1]) / 2) @ right)


def _axis(points: Points) -> tuple[Array, Array]:
    """Point and unit direction of the line through points in space."""
    import numpy as np

    points_array(points, at_least=2, wanted="an axis", columns=(3,))
    line = fit_line(points)
    return np.array(line.point), np.array(line.direction)
