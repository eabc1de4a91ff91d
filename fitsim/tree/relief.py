"""The back as a tree sees it from above: one height over each point of a level grid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import map_coordinates

from fitsim.errors import BadScan
from fitsim.tree.raster import rasterised

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Back, Chart

#: Back nodes steeper than this are flank, not back: upright part of the normal, -.
FLANK = 0.15

#: Spacing of the grid, m.
STEP = 0.005


@dataclass(frozen=True)
class Relief:
    """Height of the back's upper surface.

    Attributes
    ----------
    corner : (2,) array, m, body x and y of the first grid point.
    z : (nx, ny) array, m, on a grid of `STEP`; nan where the scan shows no back.
    upright : (nx, ny) array, upright part of the outward unit normal, -.
    """

    corner: NDArray[np.float64]
    z: NDArray[np.float64]
    upright: NDArray[np.float64]


def relief_of(back: Back) -> Relief:
    """Look at a back from above.

    Parameters
    ----------
    back : whose chart is drawn, faces between valid nodes only.

    Returns
    -------
    Relief

    Raises
    ------
    BadScan
        There is no upper side.
    """
    triangles = _facets(back.chart)
    if len(triangles) < 50:  # noqa: PLR2004 - fewer facets than lie under any bar
        raise BadScan(
            back.provenance.name,
            "shows too little of the back to lay a tree on",
            "scan the back from the withers to the loin and down both sides",
        )
    points = back.chart.points.reshape(-1, 3)
    used = points[triangles].reshape(-1, 3)
    # Whole steps from the body frame's axes: a mirrored back gives the mirrored relief.
    low = np.floor(used[:, :2].min(axis=0) / STEP)
    high = np.ceil(used[:, :2].max(axis=0) / STEP)
    x, y = (np.arange(low[i], high[i] + 1.0) * STEP for i in range(2))
    z = rasterised(points, triangles, x, y, "highest")
    slope_x, slope_y = np.gradient(z, STEP)
    return Relief(low * STEP, z, 1.0 / np.sqrt(1.0 + slope_x**2 + slope_y**2))


def gaps(relief: Relief, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Height of points above the back.

    Parameters
    ----------
    relief : of the back.
    points : (n, 3) array, m, body frame.

    Returns
    -------
    (n,) array, m; nan beyond the scan.
    """
    return points[:, 2] - _read(relief, relief.z, points)


def normal_gaps(relief: Relief, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Gap of points to the back along its normal, to first order in the gap.

    Parameters
    ----------
    relief, points : see `gaps`.

    Returns
    -------
    (n,) array, m; nan beyond the scan.
    """
    return gaps(relief, points) * _read(relief, relief.upright, points)


def _read(
    relief: Relief, field: NDArray[np.float64], points: NDArray[np.float64]
) -> NDArray[np.float64]:
    place = (points[:, :2] - relief.corner) / STEP
    values: NDArray[np.float64] = map_coordinates(
        field, place.T, order=1, mode="constant", cval=np.nan
    )
    return values


def _facets(chart: Chart) -> NDArray[np.int_]:
    """Two triangles for each cell of the chart whose four corners are valid and face up.

    The cut across a cell runs outwards to the rear on both sides, the one the other's mirror image.
    """
    good = chart.valid & (chart.normals[..., 2] > FLANK)
    cell = good[:-1, :-1] & good[1:, :-1] & good[:-1, 1:] & good[1:, 1:]
    node = np.arange(good.size).reshape(good.shape)
    right = np.broadcast_to(chart.t[:-1] < -chart.spacing / 4.0, cell.shape)[cell]
    a, b = node[:-1, :-1][cell], node[1:, :-1][cell]
    c, d = node[1:, 1:][cell], node[:-1, 1:][cell]
    # b-d joins inner front with outer rear on the left; a-c does on the right.
    first = np.where(right[:, None], np.column_stack([a, b, c]), np.column_stack([a, b, d]))
    second = np.where(right[:, None], np.column_stack([a, c, d]), np.column_stack([b, c, d]))
    return np.concatenate([first, second])
