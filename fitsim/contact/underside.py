"""The bars' undersides as bicubic patches, one gather away from any place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

if TYPE_CHECKING:
    from fitsim.tree.tree import Underside

Array = NDArray[np.float64]
Index = NDArray[np.int_]

# Powers of the place within a cell (rows) in the four cubic B-splines over it (columns).
_CUBIC = np.array([[1, 4, 1, 0], [-3, 0, 3, 0], [3, -6, 3, 0], [-1, 3, -3, 1]]) / 6.0
_LINEAR = np.array([[1.0, 0.0], [-1.0, 1.0]])


@dataclass(frozen=True)
class Face:
    """The undersides of one or more bars, made ready for evaluation anywhere.

    Every cell of their grids holds the polynomial over it, so that a node costs one look-up
    however many bars there are.

    Attributes
    ----------
    origin : (b, 2) array, m, first grid point (xi, eta) of each bar.
    step : (b, 2) array, m, grid spacing.
    cells : (b, 2) int array, number of cells each way.
    first : (b,) int array, place of a bar's first cell in the two tables.
    height : (c, 4, 4) array, m, powers of xi by powers of eta within the cell.
    inside : (c, 2, 2) array, m, the same for the signed distance to the outline.
    front, rear : (b,) arrays, m, xi of the ends.
    """

    origin: Array
    step: Array
    cells: Index
    first: Index
    height: Array
    inside: Array
    front: Array
    rear: Array


def face_of(*undersides: Underside) -> Face:
    """Undersides with their polynomials worked out once: a cubic B-spline through the heights.

    Parameters
    ----------
    *undersides : Underside
        In the order of the bars.

    Returns
    -------
    Face
    """
    counts = [(len(one.xi) - 1, len(one.eta) - 1) for one in undersides]
    sizes = [rows * columns for rows, columns in counts]
    return Face(
        origin=np.array([[one.xi[0], one.eta[0]] for one in undersides]),
        step=np.array([[one.xi[1] - one.xi[0], one.eta[1] - one.eta[0]] for one in undersides]),
        cells=np.array(counts),
        first=np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.int_),
        height=np.concatenate([_cubic_cells(one.height) for one in undersides]),
        inside=np.concatenate([_cells(one.inside, _LINEAR) for one in undersides]),
        front=np.array([one.front for one in undersides]),
        rear=np.array([one.rear for one in undersides]),
    )


def _cubic_cells(height: Array) -> Array:
    """Polynomials (c, 4, 4) of the cubic spline through a grid of heights."""
    coefficients = ndimage.spline_filter(height, order=3, mode="mirror")
    return _cells(np.pad(coefficients, 1, mode="reflect"), _CUBIC)


def _cells(grid: Array, basis: Array) -> Array:
    """Polynomials (c, p, p) over the cells of a grid of coefficients, cells in row-major order."""
    size = len(basis)
    windows = np.lib.stride_tricks.sliding_window_view(grid, (size, size))
    found: Array = np.einsum("pa,ijab,qb->ijpq", basis, windows, basis, optimize=True)
    return found.reshape(-1, size, size)


def _cell_at(face: Face, bar: Index, place: Array) -> tuple[Index, Array]:
    """The cell (n,) under each place (n, 2) m, and where in it, (n, 2) from 0 to 1.

    Beyond the grid it is the nearest edge.
    """
    at = (place - face.origin[bar]) / face.step[bar]
    cells = face.cells[bar]
    at = np.clip(at, 0.0, cells)
    corner = np.minimum(at.astype(np.int_), cells - 1)
    number = face.first[bar] + corner[:, 0] * cells[:, 1] + corner[:, 1]
    return np.asarray(number, dtype=np.int_), at - corner


def height_and_slope(face: Face, bar: Index, place: Array) -> tuple[Array, Array]:
    """Height (n,) m of the undersides at places (n, 2) m of the bars' own frames, and slope (n, 2).

    Parameters
    ----------
    face : Face
    bar : (n,) int array
        The bar meant at each place.
    place : (n, 2) array, m

    Returns
    -------
    height : (n,) array, m
    slope : (n, 2) array, -
    """
    cell, within = _cell_at(face, bar, place)
    u, v = within[:, :1], within[:, 1:]
    # Horner's rule across, for the value and its slope at once, and then along
    c = face.height[cell]
    across = ((c[:, :, 3] * v + c[:, :, 2]) * v + c[:, :, 1]) * v + c[:, :, 0]
    lean = (3.0 * c[:, :, 3] * v + 2.0 * c[:, :, 2]) * v + c[:, :, 1]
    powers = np.concatenate([np.ones_like(u), u, u * u, u * u * u], axis=1)
    height: Array = np.einsum("np,np->n", across, powers)
    slope = np.empty_like(within)
    slope[:, 0] = ((3.0 * across[:, 3:] * u + 2.0 * across[:, 2:3]) * u + across[:, 1:2])[:, 0]
    slope[:, 1] = np.einsum("np,np->n", lean, powers)
    slope /= face.step[bar]
    return height, slope


def outline_distance(face: Face, bar: Index, place: Array) -> tuple[Array, Array]:
    """Signed distance to the outline, positive inside, and how it grows with the place.

    Beyond the grid a place is farther outside.

    Parameters
    ----------
    face : Face
    bar : (n,) int array
    place : (n, 2) array, m

    Returns
    -------
    distance : (n,) array, m
    growth : (n, 2) array, -, within the grid.
    """
    cell, within = _cell_at(face, bar, place)
    c = face.inside[cell]
    u, v = within[:, 0], within[:, 1]
    along = c[:, 1, 1] * v + c[:, 1, 0]
    value = along * u + c[:, 0, 1] * v + c[:, 0, 0]
    growth = np.column_stack([along, c[:, 1, 1] * u + c[:, 0, 1]]) / face.step[bar]
    end = face.origin + face.cells * face.step
    beyond = place - np.clip(place, face.origin[bar], end[bar])
    return value - np.hypot(beyond[:, 0], beyond[:, 1]), growth
