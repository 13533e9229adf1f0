"""Geometry from measured points: position, best-fit elements, form, parallelism, squareness.

Form and orientation follow ISO 1101. A datum is here the least-squares element of its points, not the contact
element of ISO 5459, so say on the plan how the datum was measured. `position` and `elements` hold the parts
that stand alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from qcapp.core.errors import Invalid
from qcapp.core.metrology.elements import (
    FLAT,
    Circle,
    Line,
    Plane,
    Points,
    Profile,
    Vector,
    directions_across,
    fit_circle,
    fit_line,
    fit_plane,
    fit_profile,
    points_array,
)
from qcapp.core.metrology.inputs import Number, real
from qcapp.core.metrology.position import (
    allowed_position,
    bonus_tolerance,
    position_deviation,
    virtual_condition,
)

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray

    Array = NDArray[float64]

__all__ = [
    "Circle",
    "Line",
    "Plane",
    "Profile",
    "allowed_position",
    "angle_between_axes",
    "bonus_tolerance",
    "diagonal_difference",
    "fit_circle",
    "fit_line",
    "fit_plane",
    "fit_profile",
    "flatness",
    "offset_from_plane",
    "parallelism",
    "perpendicularity",
    "position_deviation",
    "roundness",
    "straightness",
    "virtual_condition",
]

Method = Literal["least_squares", "minimum_zone"]


def straightness(points: Points, *, method: Method = "least_squares") -> float:
    """Range of the points square to their line: least squares, or the narrowest (ISO 1101).

    The least-squares value is never below the narrowest, so it passes no part that the definition fails. For
    points in space it is a diameter, and only `least_squares` is offered. Raises `Invalid`: as `fit_line`,
    and `method_unknown`.
    """
    line = fit_line(points)
    _check_method(method)
    if method == "least_squares":
        return line.form_error
    if len(line.point) == 3:
        raise Invalid("method_unknown", "For points in space straightness is offered by 'least_squares' only.")
    return _narrowest(points, (-line.direction[1], line.direction[0]), line.form_error)


def flatness(points: Points, *, method: Method = "least_squares") -> float:
    """Range along the normal of their plane of four or more points; `method` as `straightness`.

    Raises `Invalid`: as `fit_plane`, and `method_unknown`.
    """
    points_array(points, at_least=4, wanted="a flatness", columns=(3,))
    plane = fit_plane(points)
    _check_method(method)
    return plane.form_error if method == "least_squares" else _narrowest(points, plane.normal, plane.form_error)


def roundness(points: Points, *, method: Method = "least_squares") -> float:
    """Range of the radii of four or more points: least squares, or the narrowest (ISO 12181-1).

    Points in one plane, two coordinates each. Raises `Invalid`: as `fit_circle`, and `method_unknown`.
    """
    import numpy as np

    array = points_array(points, at_least=4, wanted="a roundness", columns=(2,))
    circle = fit_circle(points)
    _check_method(method)
    if method == "least_squares" or circle.form_error <= FLAT * circle.radius:
        return circle.form_error
    from qcapp.core.metrology.zones import narrowest_ring

    return narrowest_ring(array, np.array(circle.centre))


def _narrowest(points: Points, normal: Vector, form_error: float) -> float:
    import numpy as np

    from qcapp.core.metrology.zones import narrowest_gap

    array = points_array(points, at_least=2, wanted="a zone")
    # Points on one line or plane to the last digits leave the linear programme nothing to do.
    if form_error <= 1e-12 * float(np.ptp(array, axis=0).max()):
        return form_error
    return narrowest_gap(array, np.array(normal))


def _check_method(method: str) -> None:
    if method not in ("least_squares", "minimum_zone"):
        raise Invalid("method_unknown", "The method is 'least_squares' or 'minimum_zone'.")


def parallelism(points: Points, datum: Plane | Line) -> float:
    """Width of the zone along the datum's direction that holds the points (ISO 1101).

    Points of a surface against a datum plane: distance of two planes parallel to it. Points of an axis
    against a datum axis: diameter of the cylinder parallel to it. Raises `Invalid`: `points_too_few`,
    `points_mixed`.
    """
    array = points_array(points, at_least=2, wanted="a parallelism", columns=(3,))
    if isinstance(datum, Plane):
        return _extent(array, datum.normal)
    return _crosswise(array, datum.direction)


def perpendicularity(points: Points, datum: Plane | Line, *, feature: Literal["surface", "axis"] = "surface") -> float:
    """Width of the zone square to the datum that holds the points (ISO 1101).

    Surface to a datum plane: two planes square to it, at the narrowest heading. Surface to a datum axis: two
    planes square to the axis. Axis to a datum plane: diameter of the cylinder square to it. Raises `Invalid`:
    `points_too_few`, `points_mixed`, `points_coincide`, `feature_unknown`.
    """
    import numpy as np

    array = points_array(points, at_least=2, wanted="a perpendicularity", columns=(3,))
    if feature not in ("surface", "axis") or (feature == "axis" and isinstance(datum, Line)):
        raise Invalid("feature_unknown", "Squareness is of a surface to a plane or axis, or of an axis to a plane.")
    if isinstance(datum, Line):
        return _extent(array, datum.direction)
    if feature == "axis":
        return _crosswise(array, datum.normal)
    seen_from_above = (array - np.array(datum.point)) @ directions_across(np.array(datum.normal)).T
    return straightness(seen_from_above.tolist(), method="minimum_zone")


def _extent(array: Array, direction: Vector) -> float:
    import numpy as np

    # From the centre, so that coordinates far from the origin cost no digits.
    return float(np.ptp((array - array.mean(axis=0)) @ np.array(direction)))


def _crosswise(array: Array, direction: Vector) -> float:
    """Diameter of the smallest cylinder along `direction` around the points."""
    import numpy as np

    from qcapp.core.metrology.zones import smallest_circle

    flat = (array - array.mean(axis=0)) @ directions_across(np.array(direction)).T
    return smallest_circle([(float(x), float(y)) for x, y in flat])


def angle_between_axes(first: Line | Sequence[Number], second: Line | Sequence[Number]) -> float:
    """Angle in degrees, 0 to 90, between two axes or directions; small angles keep their digits.

    Raises `Invalid` (`direction_missing`) for a direction that is no three coordinates or has no length.
    """
    import numpy as np

    one, other = _direction(first), _direction(second)
    return math.degrees(math.atan2(float(np.linalg.norm(np.cross(one, other))), abs(float(one @ other))))


def _direction(axis: Line | Sequence[Number]) -> Array:
    import numpy as np

    parts = axis.direction if isinstance(axis, Line) else [real(part, "direction") for part in axis]
    vector = np.array(parts, dtype=np.float64)
    if vector.shape != (3,) or not np.isfinite(vector).all() or not vector.any():
        raise Invalid(
            "direction_missing",
            "A direction is three coordinates, not all zero; an axis is two points or more.",
        )
    return vector / np.linalg.norm(vector)


def offset_from_plane(point: Sequence[Number], plane: Plane) -> float:
    """Signed distance of a point from the plane, positive on the side its normal points to.

    Raises `Invalid` (`points_mixed`) for a point that is not three coordinates.
    """
    import numpy as np

    array = points_array([point], at_least=1, wanted="an offset", columns=(3,))
    return float((array[0] - np.array(plane.point)) @ np.array(plane.normal))


def diagonal_difference(corners: Points) -> float:
    """How much the diagonals of four corners, in order around the frame, differ.

    Raises `Invalid`: `corners_not_four`, `points_mixed`.
    """
    if len(corners) != 4:
        raise Invalid(
            "corners_not_four", "A diagonal difference needs exactly four corners, in order around the frame."
        )
    a, b, c, d = points_array(corners, at_least=4, wanted="a diagonal difference")
    return abs(math.dist(a, c) - math.dist(b, d))
