"""Pressure and force: peak over a patch of skin, means, percentiles, and who carries what share."""

from __future__ import annotations

import math
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import convolve1d

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.back.back import Chart

    Array = NDArray[np.float64]
    Mask = NDArray[np.bool_]
    Whole = NDArray[np.int_]

PATCH = 0.020  # m, side of the square of skin that a peak is the mean over
CONTACT = 500.0  # Pa, above which a node counts to the contact patch


def on_grid(chart: Chart, values: Array) -> Array:
    """Node values back on the chart's grid.

    Parameters
    ----------
    chart : Chart
        n valid nodes.
    values : (n,) array
        One for each valid node, row-major.

    Returns
    -------
    (nx, nt) array
        0 where the chart is not valid.
    """
    grid = np.zeros(chart.valid.shape)
    grid[chart.valid] = values
    return grid


def patch_peak(pressure: Array, spacing: float, side: float = PATCH) -> Array:
    """Highest mean pressure over a square patch of skin centred within each cell.

    Parameters
    ----------
    pressure : (nx, nt) array, Pa
        Uniform within each cell of the chart; 0 where nothing presses or nothing is known.
    spacing : float, m
        Of the chart.
    side : float, m
        Of the patch.

    Returns
    -------
    (nx, nt) array, Pa
        Its maximum is the highest mean over any patch of that size, wherever its centre.

    Notes
    -----
    The mean over a box that slides over cells of uniform pressure is linear in the box's place
    along each axis until an edge of the box crosses an edge of a cell. So the highest mean is
    found among the places where that happens: two a cell and axis, at
    ``spacing / 2 +- side / 2`` (modulo the spacing). No grid places are missed or favoured, which
    keeps the measure free of the mesh.

    Examples
    --------
    >>> one_cell = np.zeros((9, 9))
    >>> one_cell[4, 4] = 8e3
    >>> round(float(patch_peak(one_cell, spacing=0.010).max()))  # a quarter of a 20 mm patch
    2000
    """
    best = np.zeros_like(pressure)
    for first, second in product(_kinks(spacing, side), repeat=2):
        rows = convolve1d(pressure, _box(spacing, side, first), axis=0, mode="constant")
        both = convolve1d(rows, _box(spacing, side, second), axis=1, mode="constant")
        np.maximum(best, both, out=best)
    return best


def _kinks(spacing: float, side: float) -> tuple[float, ...]:
    """Places within a cell, from its middle, at which an edge of the patch meets a cell's edge."""
    half = 0.5 * spacing
    places = {round((half + sign * side / 2 + half) % spacing - half, 12) for sign in (1, -1)}
    # A place on the edge between two cells belongs to both: so both edges are looked at.
    on_edge = {edge for edge in (-half, half) for place in places if math.isclose(abs(place), half)}
    return tuple(sorted(places | on_edge))


def _box(spacing: float, side: float, shift: float) -> Array:
    """Share of a patch, shifted from a cell's middle, that lies on each neighbouring cell.

    Reversed, as `convolve1d` flips its weights.
    """
    reach = int(np.ceil((side / 2 + abs(shift)) / spacing + 0.5))
    edges = (np.arange(-reach, reach + 2) - 0.5) * spacing
    within = np.clip(edges, shift - side / 2, shift + side / 2)
    return np.asarray(np.diff(within)[::-1] / side)


def contact_nodes(pressure: Array) -> Mask:
    """Which nodes belong to the contact patch: those above 0.5 kPa.

    Parameters
    ----------
    pressure : (n,) array, Pa

    Returns
    -------
    (n,) bool array
    """
    return np.asarray(pressure > CONTACT)


def mean_pressure(pressure: Array, area: Array) -> float:
    """Area-weighted mean over the contact patch; 0 without contact.

    Parameters
    ----------
    pressure : (n,) array, Pa
    area : (n,) array, m2

    Returns
    -------
    float, Pa

    Examples
    --------
    >>> mean_pressure(np.array([0.0, 1e3, 4e3]), np.array([1.0, 2.0, 1.0]))
    2000.0
    """
    touching = contact_nodes(pressure)
    if not touching.any():
        return 0.0
    return float(np.average(pressure[touching], weights=area[touching]))


def percentile(pressure: Array, area: Array, share: float = 0.95) -> float:
    """Pressure that a share of the contact patch stays below; 0 without contact.

    Parameters
    ----------
    pressure : (n,) array, Pa
    area : (n,) array, m2
    share : float, -

    Returns
    -------
    float, Pa
        Linear between nodes, each standing at the middle of its own share of the area.

    Examples
    --------
    >>> round(percentile(np.linspace(1e3, 2e3, 1001), np.ones(1001)))
    1950
    """
    touching = np.flatnonzero(contact_nodes(pressure))
    if touching.size == 0:
        return 0.0
    order = touching[np.argsort(pressure[touching], kind="stable")]
    filled = np.cumsum(area[order])
    middle = (filled - 0.5 * area[order]) / filled[-1]
    return float(np.interp(share, middle, pressure[order]))


def normal_force(pressure: Array, area: Array) -> float:
    """Sum of pressure times area, N.

    Parameters
    ----------
    pressure : (n,) array, Pa
    area : (n,) array, m2

    Returns
    -------
    float, N
    """
    return float(pressure @ area)


def node_forces(pressure: Array, shear: Array, normals: Array, area: Array) -> Array:
    """Force of each node of the back on the tree.

    .. warning:: `shear` is the traction on the back; its reaction is on the tree.

    Parameters
    ----------
    pressure : (n,) array, Pa
    shear : (n, 3) array, Pa
        Traction on the back.
    normals : (n, 3) array, unit, outward
    area : (n,) array, m2

    Returns
    -------
    (n, 3) array, N
    """
    return np.asarray((pressure[:, None] * normals - shear) * area[:, None])


def force_shares(
    force: Array, bar: Whole, along: Array, cell_along: float = 0.0
) -> Mapping[str, float]:
    """Share of the normal force by thirds of the bar and by side.

    Parameters
    ----------
    force : (n,) array, N
        Normal force of each node.
    bar : (n,) int array
        1 under the left bar, -1 under the right, 0 under none.
    along : (n,) array, -
        Place along the bar, 0 at its front end, 1 at its rear.
    cell_along : float, -
        Length of a cell as a share of the bar's. A cell astride the border of two thirds gives
        each its part, so that the shares do not jump with the mesh.

    Returns
    -------
    dict
        "front", "middle", "rear" sum to 1, and so do "left" and "right"; all 0 without force.

    Examples
    --------
    >>> shares = force_shares(np.ones(4), np.array([1, 1, -1, 1]), np.array([0.1, 0.2, 0.5, 0.9]))
    >>> dict(shares)
    {'front': 0.5, 'middle': 0.25, 'rear': 0.25, 'left': 0.75, 'right': 0.25}
    """
    under = bar != 0
    total = float(force[under].sum())
    if total <= 0.0:
        return dict.fromkeys(("front", "middle", "rear", "left", "right"), 0.0)
    before_first = _part_before(along[under], 1.0 / 3.0, cell_along)
    before_second = _part_before(along[under], 2.0 / 3.0, cell_along)
    front = float(force[under] @ before_first) / total
    rear = float(force[under] @ (1.0 - before_second)) / total
    left = float(force[bar > 0].sum()) / total
    return {
        "front": front,
        "middle": 1.0 - front - rear,
        "rear": rear,
        "left": left,
        "right": 1.0 - left,
    }


def _part_before(along: Array, border: float, cell: float) -> Array:
    """Part of each cell that lies ahead of a border."""
    if cell <= 0.0:
        return np.where(along < border, 1.0, 0.0)
    return np.clip((border - along) / cell + 0.5, 0.0, 1.0)
