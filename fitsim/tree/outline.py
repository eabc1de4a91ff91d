"""Plan outline of a bar: three widths, rounded corners, and the signed distance to it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.tree.openings import notch_depth

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.openings import Notch

#: Longest chord that stands for a curved side, m, and for a notch in it. At 6 mm a side of 2 m
#: radius is off by 2 um, at 1 mm a notch of 30 mm radius by 4 um.
CHORD, NOTCH_CHORD = 0.006, 0.001

#: Pairs of point and edge looked at in one go.
PAIRS = 60_000


def half_width(
    xi: NDArray[np.float64], rear: float, front: float, widths: tuple[float, float, float]
) -> NDArray[np.float64]:
    """Half the bar's width along it: the parabola through the widths at rear, middle and front.

    Parameters
    ----------
    xi : (n,) array, m, places along the bar; held at the ends beyond them.
    rear, front : m, the bar's two ends on the xi axis.
    widths : m, (front, middle, rear), the bar's full widths.

    Returns
    -------
    (n,) array, m.

    Examples
    --------
    >>> half_width(np.array([-0.3, 0.0, 0.3]), -0.3, 0.3, (0.09, 0.11, 0.08))
    array([0.04 , 0.055, 0.045])
    """
    at_front, at_middle, at_rear = (w / 2.0 for w in widths)
    s = np.clip((2.0 * xi - front - rear) / (front - rear), -1.0, 1.0)
    return (
        at_middle + s * (at_front - at_rear) / 2.0 + s**2 * ((at_front + at_rear) / 2.0 - at_middle)
    )


def core_polygon(
    rear: float,
    front: float,
    widths: tuple[float, float, float],
    corner: float,
    notches: tuple[Notch, ...] = (),
) -> NDArray[np.float64]:
    """Closed polygon which, grown by the corner radius all round, is the bar's outline.

    Parameters
    ----------
    rear, front, widths : see `half_width`.
    corner : m, radius of the outline's corners.
    notches : in the long edges; the outer one is at +eta.

    Returns
    -------
    (n, 2) array, m: (xi, eta), counter-clockwise, first corner not repeated.
    """
    ends = (rear + corner, front - corner)
    sides = []
    for outer, sign in ((False, -1.0), (True, 1.0)):
        xi = side_stations(*ends, CHORD, NOTCH_CHORD, notches, outer=outer)
        eta = half_width(xi, rear, front, widths) - notch_depth(notches, xi, outer=outer) - corner
        sides.append(np.column_stack([xi, sign * eta]))
    return np.concatenate([sides[0], sides[1][::-1]])


def side_stations(
    rear: float,
    front: float,
    step: float,
    notch_step: float,
    notches: tuple[Notch, ...],
    *,
    outer: bool,
) -> NDArray[np.float64]:
    """Places along one long edge, closer together where it is notched.

    Parameters
    ----------
    rear, front : m, its ends.
    step, notch_step : m, longest step, and longest step in a notch.
    notches : of both edges.
    outer : which edge.

    Returns
    -------
    (n,) array, m, ascending.
    """
    count = max(2, int(np.ceil((front - rear) / step - 1e-9)) + 1)
    xi = np.linspace(rear, front, count)
    for notch in notches:
        if notch.outer == outer:
            low, high = notch.xi - notch.length / 2.0, notch.xi + notch.length / 2.0
            apart = np.abs(xi - notch.xi) > notch.length / 2.0 + step / 2.0
            close = np.linspace(low, high, int(np.ceil(notch.length / notch_step)) + 1)
            ends = (xi == xi[0]) | (xi == xi[-1])
            xi = np.union1d(xi[apart | ends], np.clip(close, rear, front))
    return xi


def signed_distance(
    polygon: NDArray[np.float64], points: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Distance from points to a closed polygon, positive inside it.

    Parameters
    ----------
    polygon : (n, 2) array, m, simple, first corner not repeated.
    points : (..., 2) array, m.

    Returns
    -------
    (...) array, m.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    >>> signed_distance(square, np.array([[0.5, 0.4], [2.0, 2.0]])).round(4)
    array([ 0.4   , -1.4142])
    """
    flat = points.reshape(-1, 2)
    found = np.empty(len(flat))
    for part in _parts(len(flat), len(polygon)):
        _, square = _nearest_on_edges(polygon, flat[part])
        distance = np.sqrt(square)
        found[part] = np.where(_enclosed(polygon, flat[part]), distance, -distance)
    return found.reshape(points.shape[:-1])


def nearest_point(polygon: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Nearest point of a closed polygon's border.

    Parameters
    ----------
    polygon : (n, 2) array, m, first corner not repeated.
    points : (..., 2) array, m.

    Returns
    -------
    (..., 2) array, m.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    >>> nearest_point(square, np.array([[0.5, 0.4], [2.0, 2.0]]))
    array([[0.5, 0. ],
           [1. , 1. ]])
    """
    flat = points.reshape(-1, 2)
    found = np.empty_like(flat)
    for part in _parts(len(flat), len(polygon)):
        found[part], _ = _nearest_on_edges(polygon, flat[part])
    return found.reshape(points.shape)


def _parts(points: int, edges: int) -> list[slice]:
    """Points in parts small enough that each against every edge stays in the cache."""
    size = max(1, PAIRS // edges)
    return [slice(start, start + size) for start in range(0, points, size)]


def _nearest_on_edges(
    polygon: NDArray[np.float64], points: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nearest point (n, 2) m of any edge and the square of the distance to it (n,) m2."""
    edge = np.roll(polygon, -1, axis=0) - polygon
    x, y = points[:, :1] - polygon[:, 0], points[:, 1:] - polygon[:, 1]
    ex, ey = edge.T
    along = np.clip((x * ex + y * ey) / (ex * ex + ey * ey), 0.0, 1.0)
    square = (x - along * ex) ** 2 + (y - along * ey) ** 2
    best = square.argmin(axis=1)
    row = np.arange(len(points))
    return polygon[best] + along[row, best][:, None] * edge[best], square[row, best]


def _enclosed(polygon: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether points lie inside: a ray to +x crosses an odd number of edges."""
    ax, ay = polygon.T
    bx, by = np.roll(polygon, -1, axis=0).T
    x, y = points[:, :1], points[:, 1:]
    level = np.where(by == ay, 1.0, by - ay)
    crosses = ((ay > y) != (by > y)) & (x < ax + (y - ay) * ((bx - ax) / level))
    return np.asarray(crosses.sum(axis=1) % 2 == 1)
