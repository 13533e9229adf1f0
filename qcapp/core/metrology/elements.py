"""Best-fit line, plane and circle through measured points.

Least squares by singular values (numpy), so floats. Points are rows of two or three coordinates in one unit
of measure; with just as many points as define the element the form error is zero and proves nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from qcapp.core.errors import Invalid
from qcapp.core.metrology.inputs import Number, real

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray

    Array = NDArray[float64]

Points = Sequence[Sequence[Number]]
Vector = tuple[float, ...]

FLAT: Final = 1e-9
"""Below this ratio of singular values, points count as lying on one point, line or plane."""


@dataclass(frozen=True, slots=True)
class Line:
    """A point on it, a unit direction from the first towards the last point, and how far the points are off.

    In the plane residuals are signed and `form_error` is their range; in space they are distances and
    `form_error` is the diameter of the cylinder around the line that holds all points.
    """

    point: Vector
    direction: Vector
    residuals: Vector
    form_error: float


@dataclass(frozen=True, slots=True)
class Profile:
    """y = intercept + slope·x with vertical residuals; `form_error` is their range square to the line."""

    intercept: float
    slope: float
    residuals: Vector
    residual_sum_of_squares: float
    residual_deviation: float
    form_error: float


@dataclass(frozen=True, slots=True)
class Plane:
    """A point, a unit normal whose largest part is positive, signed residuals along it and their range."""

    point: Vector
    normal: Vector
    residuals: Vector
    form_error: float


@dataclass(frozen=True, slots=True)
class Circle:
    """Centre, radius, signed radial residuals (outwards positive), their range; `normal` in space only."""

    centre: Vector
    radius: float
    residuals: Vector
    form_error: float
    normal: Vector | None = None


def fit_line(points: Points) -> Line:
    """Least-squares line by distances square to it, for two or more points in plane or space.

    Raises `Invalid`: `points_too_few`, `points_mixed`, `points_coincide`, `direction_undetermined`.
    """
    import numpy as np

    array = points_array(points, at_least=2, wanted="a line")
    centre = array.mean(axis=0)
    values, axes = _principal(array - centre)
    if values[1] > (1 - FLAT) * values[0]:
        raise Invalid(
            "direction_undetermined", "The points do not stretch along any direction; measure along the line."
        )
    direction = axes[0] if (array[-1] - array[0]) @ axes[0] >= 0 else -axes[0]
    across = array - centre - np.outer((array - centre) @ direction, direction)
    if array.shape[1] == 2:
        residuals = across @ np.array([-direction[1], direction[0]])
        return Line(_vector(centre), _vector(direction), _vector(residuals), float(np.ptp(residuals)))
    residuals = np.linalg.norm(across, axis=1)
    return Line(_vector(centre), _vector(direction), _vector(residuals), 2 * float(residuals.max()))


def fit_profile(points: Points) -> Profile:
    """Least squares of y on x (straight-edge and dial gauge, x exact), for two or more points.

    Raises `Invalid`: `points_too_few`, `points_mixed`, `points_coincide` when all x are one.
    """
    import numpy as np

    array = points_array(points, at_least=2, wanted="a profile", columns=(2,))
    x, y = array.T
    run = x - x.mean()
    if np.ptp(x) <= FLAT * np.abs(x).max():
        raise Invalid("points_coincide", "All points have the same x; measure at different places along the profile.")
    slope = float(math.fsum(run * (y - y.mean())) / math.fsum(run * run))
    intercept = float(y.mean() - slope * x.mean())
    residuals = (y - y.mean()) - slope * run
    squares = math.fsum(residuals * residuals)
    deviation = math.sqrt(squares / (len(x) - 2)) if len(x) > 2 else 0.0
    form = float(np.ptp(residuals)) / math.hypot(1, slope)
    return Profile(intercept, slope, _vector(residuals), squares, deviation, form)


def fit_plane(points: Points) -> Plane:
    """Least-squares plane by distances square to it, for three or more points.

    Raises `Invalid`: `points_too_few`, `points_mixed`, `points_coincide`, `points_on_a_line`,
    `direction_undetermined`.
    """
    import numpy as np

    array = points_array(points, at_least=3, wanted="a plane", columns=(3,))
    centre = array.mean(axis=0)
    values, axes = _principal(array - centre)
    if values[1] <= FLAT * values[0]:
        raise Invalid("points_on_a_line", "The points lie on one line; measure points that span the surface.")
    if values[2] > (1 - FLAT) * values[1]:
        raise Invalid("direction_undetermined", "The points do not form a surface; measure them on one plane.")
    normal = axes[2] if axes[2][np.argmax(np.abs(axes[2]))] > 0 else -axes[2]
    residuals = (array - centre) @ normal
    return Plane(_vector(centre), _vector(normal), _vector(residuals), float(np.ptp(residuals)))


def fit_circle(points: Points, *, method: Literal["geometric", "algebraic"] = "geometric") -> Circle:
    """Least-squares circle for three or more points; points in space are first dropped onto their plane.

    `geometric` makes the radial distances least, which is what a drawing means. `algebraic` makes
    x²+y²+Dx+Ey+F least: one linear step, pulled inwards when the points cover a short arc. Raises `Invalid`:
    as `fit_plane`, and `points_on_a_line`, `method_unknown`.
    """
    import numpy as np

    if method not in ("geometric", "algebraic"):
        raise Invalid("method_unknown", "The method is 'geometric' or 'algebraic'.")
    array = points_array(points, at_least=3, wanted="a circle")
    if array.shape[1] == 3:
        return _circle_in_space(array, method)
    shift = array.mean(axis=0)
    values, _ = _principal(array - shift)
    if values[1] <= FLAT * values[0]:
        raise Invalid("points_on_a_line", "The points lie on one line; measure points around the circle.")
    scale = float(np.abs(array - shift).max())
    scaled = (array - shift) / scale
    centre = _algebraic_centre(scaled)
    if method == "geometric":
        centre = _geometric_centre(scaled, centre)
    radii = np.hypot(*(scaled - centre[:2]).T) * scale
    radius = centre[2] * scale
    return Circle(_vector(centre[:2] * scale + shift), float(radius), _vector(radii - radius), float(np.ptp(radii)))


def _circle_in_space(array: Array, method: Literal["geometric", "algebraic"]) -> Circle:
    import numpy as np

    plane = fit_plane(array.tolist())
    origin, normal = np.array(plane.point), np.array(plane.normal)
    across = directions_across(normal)
    flat = fit_circle(((array - origin) @ across.T).tolist(), method=method)
    centre = origin + np.array(flat.centre) @ across
    return Circle(_vector(centre), flat.radius, flat.residuals, flat.form_error, plane.normal)


def _algebraic_centre(array: Array) -> Array:
    """Centre and radius from the linear least squares of x²+y²+Dx+Ey+F."""
    import numpy as np

    model = np.column_stack([2 * array, np.ones(len(array))])
    x, y, rest = np.linalg.lstsq(model, (array**2).sum(axis=1), rcond=None)[0]
    return np.array([x, y, math.sqrt(rest + x * x + y * y)])


def _geometric_centre(array: Array, start: Array) -> Array:
    """Centre and radius with the least sum of squared radial distances (Gander, Golub, Strebel 1994).

    The damped search finds the valley; with large residuals it stops near 1e-8, so the root of the gradient
    follows.
    """
    import numpy as np
    from scipy.optimize import least_squares, root

    def misfit(state: Array) -> Array:
        found: Array = np.hypot(*(array - state[:2]).T) - state[2]
        return found

    def slopes(state: Array) -> Array:
        spokes = array - state[:2]
        return np.column_stack([-spokes / np.hypot(*spokes.T)[:, None], -np.ones(len(array))])

    near = least_squares(misfit, start, jac=slopes, method="lm", xtol=1e-12, ftol=1e-12, gtol=1e-12).x
    settled = root(
        lambda centre: _pull(array, centre), near[:2], jac=lambda centre: _stiffness(array, centre), tol=1e-14
    ).x
    # A jump away from the valley is another zero of the gradient; then the search's own answer stands.
    centre = settled if np.abs(settled - near[:2]).max() < 1e-4 else near[:2]
    return np.array([*centre, np.hypot(*(array - centre).T).mean()])


def _pull(array: Array, centre: Array) -> Array:
    """Gradient of half the sum of squared distances from the circle of mean radius about `centre`."""
    import numpy as np

    spokes = centre - array
    radii = np.hypot(*spokes.T)
    found: Array = ((1 - radii.mean() / radii)[:, None] * spokes).sum(axis=0)
    return found


def _stiffness(array: Array, centre: Array) -> Array:
    """Derivative of `_pull`."""
    import numpy as np

    spokes = centre - array
    radii = np.hypot(*spokes.T)
    units = spokes / radii[:, None]
    off = 1 - radii.mean() / radii
    found: Array = (units - units.mean(axis=0)).T @ units + off.sum() * np.eye(2) - (off[:, None] * units).T @ units
    return found


def points_array(points: Points, *, at_least: int, wanted: str, columns: tuple[int, ...] = (2, 3)) -> Array:
    import numpy as np

    rows = [[real(coordinate, "coordinate") for coordinate in point] for point in points]
    if len(rows) < at_least:
        raise Invalid("points_too_few", f"For {wanted} at least {at_least} points are needed; there are {len(rows)}.")
    if {len(row) for row in rows} - set(columns) or len({len(row) for row in rows}) != 1:
        wording = " or ".join(str(count) for count in columns)
        raise Invalid("points_mixed", f"Each point for {wanted} needs {wording} coordinates, the same for all points.")
    array = np.array(rows, dtype=np.float64)
    if not np.isfinite(array).all():
        raise Invalid("number_not_plain", "A coordinate is not a finite number; measure that point again.")
    return array


def _principal(centred: Array) -> tuple[Array, Array]:
    """Singular values, largest first and filled up with zeros, and the axes that belong to them."""
    import numpy as np

    _, values, axes = np.linalg.svd(centred)
    filled = np.zeros(centred.shape[1])
    filled[: len(values)] = values
    if filled[0] == 0:
        raise Invalid("points_coincide", "All points are the same one; measure at different places.")
    return filled, axes


def directions_across(normal: Array) -> Array:
    """Two unit directions square to `normal` and to each other, as rows."""
    import numpy as np

    found: Array = np.linalg.svd(normal.reshape(1, 3))[2][1:]
    return found


def _vector(values: Array) -> Vector:
    return tuple(float(value) for value in values)
