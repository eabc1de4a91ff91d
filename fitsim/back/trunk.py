"""The trunk's surface as radius over (station, angle) around an axis inside it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from fitsim.back.smoothing import PlaneGrid, Scattered, local_quadratic
from fitsim.scan.ranked import by_group, ranked

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.samples import Samples

DEPTH = 0.28
"""m: the axis runs this far below the crest on an animal of 1.5 m; grows with the animal."""

WIDEST_ANGLE = float(np.radians(130.0))

SEEN = 0.4
"""Least cover of the smoothing kernel that counts as measured; 0.5 is the scan's very edge."""


@dataclass(frozen=True)
class TrunkSurface:
    """Radius of the trunk around an axis, smoothed.

    Attributes
    ----------
    grid : over a = x (m) and b = angle * depth (m); angle from up, positive to the left.
    depth : float, m, scale between angle and b.
    axis_z : (na,) array, m: height of the axis at each station.
    radius : (na, nb) array, m; NaN where nothing was measured near.
    cover : (na, nb) array: share of the smoothing kernel that was measured.
    """

    grid: PlaneGrid
    depth: float
    axis_z: NDArray[np.float64]
    radius: NDArray[np.float64]
    cover: NDArray[np.float64]

    @property
    def angle(self) -> NDArray[np.float64]:
        """Angles of the columns, rad, (nb,)."""
        return self.grid.b / self.depth

    def moved(self, x: float, z: float) -> TrunkSurface:
        """The same surface with its origin shifted by x and z, m."""
        grid = PlaneGrid(self.grid.a + x, self.grid.b)
        return replace(self, grid=grid, axis_z=self.axis_z + z)

    def sections(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Lateral place y and height z of every grid node, (na, nb) each, m."""
        y = self.radius * np.sin(self.angle)
        z = self.radius * np.cos(self.angle) + self.axis_z[:, None]
        return y, z


def trunk_surface(
    samples: Samples,
    x_range: tuple[float, float],
    depth: float,
    fineness: tuple[float, float] = (0.005, 0.015),
    *,
    widest: float = WIDEST_ANGLE,
) -> TrunkSurface:
    """Smooth the trunk's surface out of its samples.

    Parameters
    ----------
    samples : Samples
        In the body frame (or near it), trunk only.
    x_range : (float, float), m: stations wanted.
    depth : float, m: of the axis below the crest.
    fineness : (float, float), m: cell of the grid, standard deviation of the smoothing kernel.
    widest : float, rad: how far down both sides from the top.

    Returns
    -------
    TrunkSurface
    """
    cell, width = fineness
    first, last = int(np.floor(x_range[0] / cell)), int(np.ceil(x_range[1] / cell))
    columns = int(np.ceil(widest * depth / cell))
    grid = PlaneGrid(
        cell * np.arange(first, last + 1, dtype=float),
        cell * np.arange(-columns, columns + 1, dtype=float),
    )
    near = np.abs(samples.points[:, 0] - grid.a.mean()) < np.ptp(grid.a) / 2 + 5 * width
    samples = samples.only(near)
    x, y, z = samples.points.T
    axis_z = _axis_height(x, y, z, grid.a, depth)
    height = z - np.interp(x, grid.a, axis_z)
    angle, radius = np.arctan2(y, height), np.hypot(y, height)
    # The area seen from the axis: what the sample covers in (a, b).
    weight = samples.area * depth / np.maximum(radius, 0.2 * depth)
    weight = weight * _outermost(x, angle, radius, depth)
    used = np.abs(angle) < widest + 4 * width / depth
    x, angle, radius, weight = x[used], angle[used], radius[used], weight[used]
    value, cover = local_quadratic(grid, Scattered(x, angle * depth, radius, weight), width)
    bad = ~(value > 0.1 * depth) | (value > 4.0 * depth)
    return TrunkSurface(grid, depth, axis_z, np.where(bad, np.nan, value), cover)


def _axis_height(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    z: NDArray[np.float64],
    stations: NDArray[np.float64],
    depth: float,
) -> NDArray[np.float64]:
    """Height of the axis: the crest's, smoothed over 0.1 m, less the depth."""
    bins = np.arange(stations[0], stations[-1] + 0.03, 0.02)
    middle = np.abs(y) < 0.25 * depth
    index = np.digitize(x[middle], bins)
    order = by_group(z[middle], index)
    index, height = index[order], z[middle][order]
    crest = np.full(len(bins) + 1, np.nan)
    ends = np.searchsorted(index, np.arange(len(bins) + 1), side="right")
    starts = np.searchsorted(index, np.arange(len(bins) + 1), side="left")
    for k in np.flatnonzero(ends > starts):
        crest[k] = height[starts[k] + int(0.95 * (ends[k] - starts[k] - 1))]
    crest = crest[1:]
    seen = np.isfinite(crest)
    if not seen.any():
        return np.full(len(stations), (float(np.max(z)) if len(z) else 0.0) - depth)
    crest = np.interp(bins, bins[seen], crest[seen])
    crest = ndimage.gaussian_filter1d(ndimage.median_filter(crest, 5, mode="nearest"), 5.0,
                                      mode="nearest")  # fmt: skip
    return np.asarray(np.interp(stations, bins + 0.01, crest) - depth)


def _outermost(
    x: NDArray[np.float64],
    angle: NDArray[np.float64],
    radius: NDArray[np.float64],
    depth: float,
) -> NDArray[np.float64]:
    """Weight 0 for samples well off the common radius of their neighbourhood, else 1.

    A leg's inner face, an ear or a doubled sheet lies decimetres off; the surface itself stays
    within a few centimetres of the median over 40 mm by 8 degrees.
    """
    step_x, step_angle = 0.04, np.radians(8.0)
    i = np.floor((x - x.min()) / step_x).astype(int) if len(x) else np.zeros(0, int)
    j = np.floor((angle + np.pi) / step_angle).astype(int)
    columns = int(2 * np.pi / step_angle) + 2
    median = ranked(radius, i * columns + j, (i.max(initial=0) + 1) * columns, 0.5)
    table = median.reshape(-1, columns)
    known = table > 0
    near = ndimage.distance_transform_edt(~known, return_distances=False, return_indices=True)
    table = ndimage.median_filter(table[tuple(near)], size=3, mode="nearest")
    return np.asarray(np.abs(radius - table[i, j]) < 0.25 * depth, dtype=float)
