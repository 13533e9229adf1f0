"""Smallest zones that hold all points: what the definition of a form tolerance asks for.

ISO 1101:2017 defines straightness, flatness and roundness by the narrowest zone (minimax association). Each
is found by a sequence of linear programmes: in the frame of the last answer the problem is linear up to terms
of second order in the remaining tilt, which the next round takes away. Minimum circle: the classical
incremental construction.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray

    Array = NDArray[float64]

_ROUNDS: Final = 30
_SETTLED: Final = 1e-13


def narrowest_gap(points: Array, normal: Array) -> float:
    """Smallest distance of two parallel lines (planes) with all points between.

    `points` has one row per point and two or three columns; the points must be much wider than the gap.
    """
    return _shrink(lambda state: _tilted(points, state), lambda state: _range(points @ state), normal)


def narrowest_ring(points: Array, centre: Array) -> float:
    """Smallest difference of radii of two concentric circles with all points (n x 2) between them."""

    def width(state: Array) -> float:
        import numpy as np

        return _range(np.hypot(*(points - state).T))

    return _shrink(lambda state: _moved(points, state), width, centre)


def _shrink(step: Callable[[Array], Array], width: Callable[[Array], float], state: Array) -> float:
    """Repeats `step` while it makes the zone narrower; gives the narrowest width found."""
    best = width(state)
    for _ in range(_ROUNDS):
        if not best:
            break
        state = step(state)
        found = width(state)
        if found >= best * (1 - _SETTLED):
            return min(best, found)
        best = found
    return best


def _range(heights: Array) -> float:
    return float(heights.max() - heights.min())


def _tilted(points: Array, normal: Array) -> Array:
    """The unit normal after one linear programme in the frame of `normal`."""
    import numpy as np

    across = np.linalg.svd(normal.reshape(1, -1))[2][1:]
    centred = points - points.mean(axis=0)
    places, heights = centred @ across.T, centred @ normal
    extent, depth = np.abs(places).max(), _range(heights)
    slopes = _chebyshev(heights / depth, places / extent)[: places.shape[1]] * depth / extent
    turned: Array = normal - slopes @ across
    return turned / np.linalg.norm(turned)


def _moved(points: Array, centre: Array) -> Array:
    """The centre after one linear programme: radii are linear in a small move of the centre."""
    import numpy as np

    spokes = points - centre
    radii = np.hypot(*spokes.T)
    depth = _range(radii)
    return centre + _chebyshev((radii - radii.mean()) / depth, spokes / radii[:, None])[:2] * depth


def _chebyshev(heights: Array, places: Array) -> Array:
    """Slopes, offset and half width of the narrowest vertical band around heights ≈ places · slopes + offset.

    Heights and places come scaled to about 1, because the solver's tolerance is absolute.
    """
    import numpy as np
    from scipy.optimize import linprog

    ones = np.ones((len(heights), 1))
    model = np.hstack([places, ones])
    answer = linprog(
        [0.0] * model.shape[1] + [1.0],
        A_ub=np.vstack([np.hstack([model, -ones]), np.hstack([-model, -ones])]),
        b_ub=np.concatenate([heights, -heights]),
        bounds=[(None, None)] * model.shape[1] + [(0, None)],
        method="highs",
    )
    found: Array = np.asarray(answer.x, dtype=np.float64)
    return found


def smallest_circle(points: list[tuple[float, float]]) -> float:
    """Diameter of the smallest circle that holds all points; zero for one point."""
    centre, radius = points[0], 0.0
    for i, outer in enumerate(points):
        if _inside(outer, centre, radius):
            continue
        centre, radius = outer, 0.0
        for j, second in enumerate(points[:i]):
            if _inside(second, centre, radius):
                continue
            centre, radius = _on_two(outer, second)
            for third in points[:j]:
                if not _inside(third, centre, radius):
                    centre, radius = _on_three(outer, second, third)
    return 2 * radius


def _inside(point: tuple[float, float], centre: tuple[float, float], radius: float) -> bool:
    return math.dist(point, centre) <= radius * (1 + 1e-12)


def _on_two(a: tuple[float, float], b: tuple[float, float]) -> tuple[tuple[float, float], float]:
    return ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2), math.dist(a, b) / 2


def _on_three(
    a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]
) -> tuple[tuple[float, float], float]:
    """Circle through three points; for three on a line, the circle on the two farthest apart."""
    bx, by, cx, cy = b[0] - a[0], b[1] - a[1], c[0] - a[0], c[1] - a[1]
    cross = 2 * (bx * cy - by * cx)
    if abs(cross) <= 1e-14 * (math.hypot(bx, by) * math.hypot(cx, cy)):
        return _on_two(*max(((a, b), (a, c), (b, c)), key=lambda pair: math.dist(*pair)))
    bb, cc = bx * bx + by * by, cx * cx + cy * cy
    ux, uy = (cy * bb - by * cc) / cross, (bx * cc - cx * bb) / cross
    return (a[0] + ux, a[1] + uy), math.hypot(ux, uy)
