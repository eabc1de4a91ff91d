"""Pressure and force: peak over a patch of skin, means, percentiles, and who carries what share."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.back.back import Chart

    Array = NDArray[np.float64]
    Mask = NDArray[np.bool_]
    Whole = NDArray[np.int_]

PATCH = 0.020  # m, side of the square of skin that a peak is the mean over
_TRIED_EVERY = 0.0025  # m, between patches that are tried
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


def patch_peak(
    pressure: Array, spacing: float, side: float = PATCH, within: Mask | None = None
) -> Array:
    """Highest mean pressure over a square patch of skin centred within each cell.

    Parameters
    ----------
    pressure : (nx, nt) array, Pa
        Mean over each cell of the chart; 0 where nothing presses or nothing is known.
    spacing : float, m
        Of the chart.
    side : float, m
        Of the patch.
    within : (nx, nt) bool array, optional
        Cells that count; what presses on any other counts as nothing. No part of the surface has
        a higher peak than the whole.

    Returns
    -------
    (nx, nt) array, Pa
        Its maximum is the highest mean over a patch of that size, wherever its centre.

    Notes
    -----
    Cells that lie under the patch in whole count with their mean. Those that the patch cuts are
    given a slope by their neighbours, limited so that no new peak arises (van Leer 1977,
    doi:10.1016/0021-9991(77)90095-X); without it a patch askew of the grid would be flattened by
    a whole cell, and the peak would hang on where the nodes happen to lie. Patches are tried
    every 2.5 mm and wherever an edge of theirs meets an edge of the cells.

    Examples
    --------
    >>> one_cell = np.zeros((9, 9))
    >>> one_cell[4, 4] = 8e3
    >>> round(float(patch_peak(one_cell, spacing=0.010).max()))  # a quarter of a 20 mm patch
    2000
    """
    own = None if within is None else np.where(within, pressure, 0.0)
    return _highest_means(pressure, side / spacing, _shifts(spacing, side), own)


def patch_mean(pressure: Array, spacing: float, side: float = PATCH) -> Array:
    """Mean pressure over the square patch of skin centred on each node.

    Parameters
    ----------
    pressure, spacing, side
        As in `patch_peak`.

    Returns
    -------
    (nx, nt) array, Pa
    """
    return _highest_means(pressure, side / spacing, (0.0,))


def _highest_means(
    pressure: Array, width: float, shifts: tuple[float, ...], own: Array | None = None
) -> Array:
    """Highest mean over a square of `width` cells centred on each cell plus any of the shifts.

    Where `own`, a part of the pressure, is given, the mean is of that part.
    """
    best = np.zeros_like(pressure)
    pressed = np.argwhere((pressure if own is None else own) > 0.0)
    if pressed.size == 0:
        return best
    reach = math.ceil(0.5 * width) + 1
    low = np.maximum(pressed.min(axis=0) - reach, 0)
    high = pressed.max(axis=0) + reach + 1
    part = (slice(low[0], high[0]), slice(low[1], high[1]))  # all else stays 0
    whole = _window_means(pressure[part], width, shifts)
    owned = whole if own is None else _window_means(pressure[part], width, shifts, own[part])
    # All shifts of the one direction stand side by side while the other is gone through.
    across = np.concatenate([rows.T for rows in whole], axis=1)
    own_across = None if own is None else np.concatenate([rows.T for rows in owned], axis=1)
    for both in _window_means(across, width, shifts, own_across):
        highest = both.reshape(len(both), len(shifts), -1).max(axis=1).T
        np.maximum(best[part], highest, out=best[part])
    return best


def _shifts(spacing: float, side: float) -> tuple[float, ...]:
    """Places of a patch's centre within a cell, from the cell's middle, in cells."""
    # Odd, so that one is in the middle; the slack keeps a rounding of the spacing from adding two.
    count = 2 * math.ceil(0.5 * spacing / _TRIED_EVERY - 1e-6) + 1
    even = {round((k + 0.5) / count - 0.5, 9) for k in range(count)}
    half = 0.5 * side / spacing
    meets = {round(place % 1.0 - 0.5, 9) for place in (half, -half)}
    # A centre on the edge between two cells belongs to both: both edges are looked at.
    edges = {-0.5, 0.5} if meets & {-0.5, 0.5} else set()
    return tuple(sorted(even | meets | edges))


def _window_means(
    values: Array, width: float, shifts: tuple[float, ...], own: Array | None = None
) -> list[Array]:
    """Means along axis 0 over a window, `width` cells long, about every cell plus each shift.

    Where `own` is given, of that part of the values: within a cell it is spread as they are.
    """
    pad = math.ceil(0.5 * width) + 2
    cells = np.pad(values, ((pad, pad), (0, 0)))
    slope = np.zeros_like(cells)
    slope[1:-1] = _limited(np.diff(cells, axis=0))
    if own is not None:
        part = np.pad(own, ((pad, pad), (0, 0)))
        slope *= np.divide(part, cells, out=np.zeros_like(cells), where=cells > 0.0)
        cells = part
    whole = np.vstack([np.zeros((1, cells.shape[1])), np.cumsum(cells, axis=0)])
    middle = pad + 0.5

    def up_to(place: float) -> Array:
        """Integral from the start to `place` (cells) beyond every cell of `values`."""
        cell = math.floor(place + 1e-9)
        u = max(place - cell, 0.0)
        here = slice(cell, cell + len(values))
        return np.asarray(whole[here] + u * cells[here] + 0.5 * u * (u - 1.0) * slope[here])

    ends = [(middle + shift - 0.5 * width, middle + shift + 0.5 * width) for shift in shifts]
    return [(up_to(last) - up_to(first)) / width for first, last in ends]


def _limited(step: Array) -> Array:
    """Slope of each inner cell from the steps before and after it: none at a peak or an edge."""
    before, after = step[:-1], step[1:]
    size = np.minimum(np.minimum(2.0 * abs(before), 2.0 * abs(after)), 0.5 * abs(before + after))
    return np.where(before * after > 0.0, np.sign(before) * size, 0.0)


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
