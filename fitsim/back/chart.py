"""The chart: the back's surface on a regular grid of station by arc length across."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree

from fitsim.back.back import Chart
from fitsim.back.samples import thinned
from fitsim.back.smoothing import nearest_filled
from fitsim.back.trunk import SEEN, trunk_surface

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.crest import Crest
    from fitsim.back.samples import Samples
    from fitsim.back.trunk import TrunkSurface

X_RANGE, T_REACH = (-0.75, 0.30), 0.36
"""m: from the croup to the root of the neck, and down to where a long bar's edge may lie."""

WIDEST_HOLE = 0.08
"""m: holes up to this wide are filled; the surface cannot hide much in less than a bar's width."""

SMALLEST_PIECE = 0.0050
"""m2: a measured piece smaller than this hangs in the air."""

FEW = 60_000
"""Samples used for the curvature: some hundreds lie under its kernel."""

BEND_WIDTH = 0.030
"""m: smoothing width for the curvature across, about the depth of tissue it is used for."""


def chart_of(surface: TrunkSurface, crest: Crest, body: Samples, spacing: float = 0.010) -> Chart:
    """Lay the chart over the trunk's surface.

    Parameters
    ----------
    surface : TrunkSurface
        Body frame, fine smoothing.
    crest : Crest
        The spine line: arc length is counted from it.
    body : Samples
        Trunk samples in the body frame: for colours and curvature.
    spacing : float, m.

    Returns
    -------
    Chart
    """
    x, t = _axes(crest, spacing)
    b, y, z = _walked(surface, crest, x, t)
    points = np.stack([np.broadcast_to(x[:, None], y.shape), y, z], axis=-1)
    along = np.gradient(points, spacing, axis=0)
    across = np.gradient(points, spacing, axis=1)
    normals = np.cross(along, across)
    stretch = np.linalg.norm(normals, axis=-1)
    index = surface.grid.index(np.broadcast_to(x[:, None], b.shape), b)
    cover = ndimage.map_coordinates(surface.cover, index, order=1, mode="nearest")
    inside = np.abs(b) < surface.grid.b[-1] - 1e-9
    measured = (cover > SEEN) & inside & np.isfinite(stretch) & (stretch > 0)
    valid = _holes_filled(measured, spacing)
    return Chart(
        x=x, t=t, points=points, normals=normals / np.maximum(stretch, 1e-12)[..., None],
        area=stretch * spacing**2,
        curvature=_curvature(surface, body, index),
        valid=valid, filled=valid & ~measured,
        colours=_colours(body, points),
    )  # fmt: skip


def _axes(crest: Crest, spacing: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Grid lines: multiples of the spacing, clipped along x to the scan."""
    seen = crest.x[crest.seen]
    low = max(X_RANGE[0], float(seen.min()))
    high = min(X_RANGE[1], float(seen.max()))
    first, last = int(np.ceil(low / spacing - 1e-9)), int(np.floor(high / spacing + 1e-9))
    columns = round(T_REACH / spacing)
    return (
        spacing * np.arange(first, last + 1, dtype=float),
        spacing * np.arange(-columns, columns + 1, dtype=float),
    )


def _walked(
    surface: TrunkSurface,
    crest: Crest,
    x: NDArray[np.float64],
    t: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Walk each section from the spine: column b, y and z at the arc lengths t, (nx, nt) each."""
    grid, depth = surface.grid, surface.depth
    fine = np.linspace(grid.b[0], grid.b[-1], 2 * len(grid.b) - 1)
    index = grid.index(*np.broadcast_arrays(x[:, None], fine[None, :]))
    radius = ndimage.map_coordinates(nearest_filled(surface.radius), index, order=3, mode="nearest")
    axis_z = np.interp(x, grid.a, surface.axis_z)
    y = radius * np.sin(fine / depth)
    z = radius * np.cos(fine / depth) + axis_z[:, None]
    arc = np.cumsum(np.hypot(np.diff(y, prepend=y[:, :1]), np.diff(z, prepend=z[:, :1])), axis=1)
    spine_y = np.interp(x, crest.x, crest.y)
    spine_z = np.interp(x, crest.x, crest.z)
    spine = depth * np.arctan2(spine_y, spine_z - axis_z)
    b = np.empty((len(x), len(t)))
    for row in range(len(x)):
        start = np.interp(spine[row], fine, arc[row])
        b[row] = np.interp(start + t, arc[row], fine)
    index = grid.index(*np.broadcast_arrays(x[:, None], b))
    radius = ndimage.map_coordinates(nearest_filled(surface.radius), index, order=3, mode="nearest")
    return b, radius * np.sin(b / depth), radius * np.cos(b / depth) + axis_z[:, None]


def _holes_filled(measured: NDArray[np.bool_], spacing: float) -> NDArray[np.bool_]:
    """Measured nodes and the holes among them that are small enough to fill."""
    # Specks of cover beyond the scan's edge are no surface.
    pieces, count = ndimage.label(measured)
    if count == 0:
        return measured
    sizes = ndimage.sum_labels(measured, pieces, np.arange(1, count + 1)) * spacing**2
    main = measured & np.append(False, sizes >= min(SMALLEST_PIECE, sizes.max()))[pieces]
    holes, count = ndimage.label(~main)
    valid: NDArray[np.bool_] = main.copy()
    edge = np.zeros_like(main)
    edge[[0, -1], :] = True
    edge[:, [0, -1]] = True
    inside = ndimage.distance_transform_edt(~main) * spacing
    for hole in range(1, count + 1):
        cells = holes == hole
        if not (cells & edge).any() and 2 * inside[cells].max() <= WIDEST_HOLE:
            valid |= cells
    return valid


def _curvature(
    surface: TrunkSurface, body: Samples, index: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Curvature of the sections at the chart's nodes, smoothed over the depth of the tissue."""
    grid = surface.grid
    wide = trunk_surface(
        thinned(body, FEW),
        (float(grid.a[0]), float(grid.a[-1])),
        surface.depth,
        (2 * grid.cell, BEND_WIDTH),
    )
    radius = nearest_filled(wide.radius)
    first = np.gradient(radius, wide.angle, axis=1)
    second = np.gradient(first, wide.angle, axis=1)
    bend = (radius**2 + 2 * first**2 - radius * second) / (radius**2 + first**2) ** 1.5
    places = wide.grid.index(grid.a[0] + index[0] * grid.cell, grid.b[0] + index[1] * grid.cell)
    return ndimage.map_coordinates(bend, places, order=1, mode="nearest")


def _colours(body: Samples, points: NDArray[np.float64]) -> NDArray[np.uint8] | None:
    """Colour of the sample nearest to each node."""
    if body.colours is None:
        return None
    _, near = cKDTree(body.points, balanced_tree=False).query(points.reshape(-1, 3))
    return body.colours[near, :3].reshape(points.shape).astype(np.uint8)
