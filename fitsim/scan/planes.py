"""Floors and walls: flat sheets too large and too flat to be part of an animal.

Points are gathered into cells so that dense and thin parts of a scan count alike. Each cell
gets a normal from its neighbours, and each cell with its normal is one guess of a plane; the
guess that most cells agree with, in place and in direction, is refined by least squares
(random sample consensus, Fischler and Bolles 1981, https://doi.org/10.1145/358669.358692, with
oriented samples as in Schnabel et al. 2007, https://doi.org/10.1111/j.1467-8659.2007.01016.x).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from fitsim.scan.cells import cells_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

CELL: Final = 0.04
"""Side of a cell, m."""
BAND: Final = 0.015
"""How far a cell's centre may lie off a plane, m: straw, mats and scanner noise."""
MIN_AREA: Final = 0.5
"""Least area of a floor or wall, m². The flattest parts of eight animals, smooth and coarse,
measured 0.16 to 0.26 m², floors behind live ones 3.6 to 7 m²."""
MIN_WIDTH: Final = 0.4
"""Least width of a floor or wall across its narrow way, m: leaves rails and planks alone."""

_ALIGNED: Final = np.cos(np.radians(15.0))
_GUESSES: Final = 400
_VOTERS: Final = 4_000  # cells asked about each guess; the plane itself is fitted to all
_MOST: Final = 8
_NEIGHBOURS: Final = 12


class Plane(NamedTuple):
    """A flat sheet.

    Attributes
    ----------
    point : (3,) array, m, on the plane.
    normal : (3,) array, of length one, sign arbitrary.
    area : float, m², of the cells that lie in it.
    width : float, m, across its narrow way.
    cells : (k, 3) array, m, centres of the cells that lie in it.
    others : (l, 3) array, m, centres of the cells beside it that do not.
    """

    point: NDArray[np.float64]
    normal: NDArray[np.float64]
    area: float
    width: float
    cells: NDArray[np.float64]
    others: NDArray[np.float64]


def floors_and_walls(points: NDArray[np.float64]) -> list[Plane]:
    """Find the flat sheets that are no part of an animal, the largest first.

    Parameters
    ----------
    points : (n, 3) array, m
        Spread over the whole scan; some tens of thousands are plenty.

    Returns
    -------
    list of Plane
        None if there is no floor or wall.

    Examples
    --------
    >>> import numpy as np
    >>> floor = np.random.default_rng(0).uniform([0, 0, 0], [2, 2, 0.002], (20_000, 3))
    >>> [round(plane.area, 1) for plane in floors_and_walls(floor)]
    [4.0]
    """
    _, cells = cells_of(points, CELL)
    normals = _normals(cells)
    rng = np.random.default_rng(0)
    planes: list[Plane] = []
    while len(planes) < _MOST and len(cells) > 3 * _NEIGHBOURS:
        plane, inside = _largest(cells, normals, rng)
        if plane.area < MIN_AREA or plane.width < MIN_WIDTH:
            break
        planes.append(plane)
        cells, normals = cells[~inside], normals[~inside]
    return planes


def on_plane(points: NDArray[np.float64], plane: Plane) -> NDArray[np.bool_]:
    """Which points belong to a floor or wall: near its plane, and in one of its cells.

    Parameters
    ----------
    points : (n, 3) array, m
        Any points of the same scan.
    plane : Plane
        As found.

    Returns
    -------
    (n,) bool array
        A hoof on a floor is in cells of other directions, so it keeps its lowest points and
        the height of the ground is not lost.

    Examples
    --------
    >>> import numpy as np
    >>> up, cells = np.array([0.0, 0.0, 1.0]), np.zeros((1, 3))
    >>> plane = Plane(np.zeros(3), up, 1.0, 1.0, cells, cells + 1.0)
    >>> on_plane(np.array([[0.0, 0.0, 0.01], [0.0, 0.0, 0.1], [1.0, 0.0, 0.0]]), plane).tolist()
    [True, False, False]
    """
    near = np.abs((points - plane.point) @ plane.normal) < 2.0 * BAND
    reach = 2.0 * CELL
    found = np.zeros(len(points), dtype=bool)
    if near.any():
        own, _ = cKDTree(plane.cells).query(points[near], distance_upper_bound=reach)
        other, _ = cKDTree(plane.others).query(points[near], distance_upper_bound=reach)
        found[near] = np.isfinite(own) & (own <= other)
    return found


def _normals(cells: NDArray[np.float64]) -> NDArray[np.float64]:
    """Direction in which each cell's neighbours spread least."""
    _, near = cKDTree(cells).query(cells, k=min(_NEIGHBOURS, len(cells)))
    spread = cells[near] - cells[near].mean(axis=1, keepdims=True)
    return np.linalg.eigh(np.einsum("nki,nkj->nij", spread, spread))[1][:, :, 0]


def _largest(
    cells: NDArray[np.float64], normals: NDArray[np.float64], rng: np.random.Generator
) -> tuple[Plane, NDArray[np.bool_]]:
    tries = rng.choice(len(cells), min(_GUESSES, len(cells)), replace=False)
    offsets = np.einsum("ij,ij->i", cells[tries], normals[tries])
    voters = rng.choice(len(cells), min(_VOTERS, len(cells)), replace=False)
    near = np.abs(cells[voters] @ normals[tries].T - offsets) < BAND
    votes = (near & (np.abs(normals[voters] @ normals[tries].T) > _ALIGNED)).sum(axis=0)
    best = tries[int(votes.argmax())]
    point, normal = cells[best], normals[best]
    for _ in range(3):
        inside = _inside(cells, normals, point, normal)
        point, normal = _fitted(cells[inside])
    inside = _inside(cells, normals, point, normal)
    beside = (np.abs((cells - point) @ normal) < 2.0 * BAND + CELL) & ~inside
    return _plane(cells[inside], cells[beside], point, normal), inside


def _inside(
    cells: NDArray[np.float64],
    normals: NDArray[np.float64],
    point: NDArray[np.float64],
    normal: NDArray[np.float64],
) -> NDArray[np.bool_]:
    near = np.abs((cells - point) @ normal) < BAND
    return np.asarray(near & (np.abs(normals @ normal) > _ALIGNED))


def _fitted(cells: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    point = cells.mean(axis=0)
    return point, np.linalg.svd(cells - point, full_matrices=False)[2][2]


def _plane(
    cells: NDArray[np.float64],
    others: NDArray[np.float64],
    point: NDArray[np.float64],
    normal: NDArray[np.float64],
) -> Plane:
    axes = np.linalg.svd(cells - point, full_matrices=False)[2][:2]
    low, high = np.quantile((cells - point) @ axes.T, (0.05, 0.95), axis=0)
    # A plane of area A cuts A / CELL^2 * (|nx| + |ny| + |nz|) cells of a grid: each of the three
    # families of grid planes adds the sheet's shadow on it.
    area = len(cells) * CELL**2 / float(np.abs(normal).sum())
    return Plane(point, normal, area, float((high - low).min()), cells, others)
