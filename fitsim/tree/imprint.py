"""The underside of a bar as found on its mesh: heights and outline on a regular grid."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import binary_fill_holes, distance_transform_edt, label

from fitsim.errors import BadSettings
from fitsim.scan.triangles import area_normals
from fitsim.tree.bar import MARGIN, STEEPEST_ROLL
from fitsim.tree.raster import rasterised
from fitsim.tree.tree import Underside

if TYPE_CHECKING:
    from numpy.polynomial import Polynomial
    from numpy.typing import NDArray

#: Grid of the underside, m, and how many times finer its outline is looked at.
SPACING, FINER = 0.002, 4

#: A triangle belongs to the underside when its normal is within 75 degrees of straight down.
FACING = np.cos(np.radians(75.0))

#: How far beyond the inner edge as fitted the face may reach, m.
EDGE_SLACK = 0.003

#: Departures from the lengthwise curve at which a flare is measured, m: a flare that rises with
#: the square of the length reaches the second twice as far from its start as the first.
FIRST, SECOND = 0.001, 0.004


def measured_underside(
    points: NDArray[np.float64],
    triangles: NDArray[np.int32],
    inward: float,
    inner: Polynomial | None,
    where: str,
) -> Underside:
    """Measure the face that looks down in the bar's frame.

    Parameters
    ----------
    points : (n, 3) array, m, vertices in the bar's frame.
    triangles : (m, 3) int array, outward.
    inward : +1 or -1, the way of eta that leads to the middle of the tree.
    inner : eta (m) of the bar's inner edge by xi (m), where there is arch further in; else None.
    where : file, for faults.

    Returns
    -------
    Underside

    Raises
    ------
    BadSettings
        No face looks down.
    """
    down = triangles[_facing_down(points, triangles)]
    if len(down) == 0:
        raise BadSettings(where, "has no underside", "check that the normals point outwards")
    fine = SPACING / FINER
    xi, eta = (_ticks(points[down, axis], fine) for axis in range(2))
    zeta = rasterised(points, down, xi, eta, "lowest")
    seen = np.isfinite(zeta)
    if inner is not None:
        seen &= inward * eta[None, :] <= inward * inner(xi)[:, None] + EDGE_SLACK
    seen = _largest(binary_fill_holes(seen))
    inside = fine * (distance_transform_edt(seen) - distance_transform_edt(~seen))
    # The outline runs half a step beyond the outermost point that is seen.
    inside += np.where(seen, -fine / 2.0, fine / 2.0)
    rows = xi[seen.any(axis=1)]
    coarse = (slice(None, None, FINER), slice(None, None, FINER))
    known = seen[coarse] & np.isfinite(zeta[coarse]) & (inside[coarse] > fine)
    height = extended(zeta[coarse], known, SPACING)
    return Underside(
        xi[::FINER],
        eta[::FINER],
        height,
        inside[coarse],
        front=float(rows[-1]),
        rear=float(rows[0]),
    )


def extended(
    height: NDArray[np.float64], known: NDArray[np.bool_], spacing: float
) -> NDArray[np.float64]:
    """Run a height field on beyond where it is known, straight from the nearest known point.

    Parameters
    ----------
    height : (m, k) array, m.
    known : (m, k) bool array.
    spacing : m.

    Returns
    -------
    (m, k) array, m.
    """
    nearest = distance_transform_edt(~known, return_distances=False, return_indices=True)
    held = height[tuple(nearest)]
    masked = np.where(known, height, np.nan)
    steepest = np.tan(STEEPEST_ROLL)
    out = held.copy()
    for axis in range(2):
        slope = _one_sided_slope(masked, spacing, axis)[tuple(nearest)]
        here = np.indices(height.shape)[axis]
        out += np.clip(slope, -steepest, steepest) * (here - nearest[axis]) * spacing
    return np.where(known, height, out)


def bearing_ends(face: Underside) -> tuple[float, float]:
    """Where the bearing length ends: where the tips leave the lengthwise curve.

    Parameters
    ----------
    face : of one bar.

    Returns
    -------
    rear, front : m, on the xi axis; the tip itself where it is not flared.

    Notes
    -----
    A parabola is laid through the middle half of the middle line. A flare starts as far before the
    place where the line has left it by 1 mm as that place is before the one of 4 mm.
    """
    near = np.abs(face.eta) <= 0.012  # noqa: PLR2004 - the middle line and a little beside it
    line = np.median(face.height[:, near], axis=1)
    middle, half = (face.front + face.rear) / 2.0, (face.front - face.rear) / 2.0
    centre = np.abs(face.xi - middle) <= 0.5 * half
    curve = np.polynomial.Polynomial.fit(face.xi[centre], line[centre], 2)
    departure = line - curve(face.xi)
    ends = []
    for sign, tip in ((-1.0, face.rear), (1.0, face.front)):
        outer = (sign * (face.xi - middle) > 0.5 * half) & (face.inside[:, near].max(axis=1) > 0)
        along = np.sort(sign * face.xi[outer])
        risen = departure[outer][np.argsort(sign * face.xi[outer])]
        if len(along) == 0 or risen[-1] < SECOND:
            ends.append(tip)
            continue
        first, second = (along[np.argmax(risen >= level)] for level in (FIRST, SECOND))
        ends.append(sign * (2.0 * first - second))
    return ends[0], ends[1]


def _facing_down(points: NDArray[np.float64], triangles: NDArray[np.int32]) -> NDArray[np.bool_]:
    normal = area_normals(points, triangles)
    return np.asarray(normal[:, 2] < -FACING * np.linalg.norm(normal, axis=1))


def _ticks(values: NDArray[np.float64], step: float) -> NDArray[np.float64]:
    """Even grid over the values and a margin, with zero on one of its coarse points."""
    coarse = step * FINER
    low = np.floor((values.min() - MARGIN) / coarse) * FINER
    high = np.ceil((values.max() + MARGIN) / coarse) * FINER
    return np.arange(low, high + 1) * step


def _largest(seen: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Largest connected part."""
    parts, _ = label(seen)
    sizes = np.bincount(parts.ravel())
    sizes[0] = 0
    return np.asarray(parts == sizes.argmax())


def _one_sided_slope(height: NDArray[np.float64], spacing: float, axis: int) -> NDArray[np.float64]:
    """Slope along an axis, from whichever neighbours are known, 0 where none is."""
    step = np.diff(height, axis=axis) / spacing
    empty = np.full_like(np.take(step, [0], axis=axis), np.nan)
    ahead = np.concatenate([step, empty], axis=axis)
    behind = np.concatenate([empty, step], axis=axis)
    both = np.stack([ahead, behind])
    count = np.isfinite(both).sum(axis=0)
    return np.asarray(np.nan_to_num(both).sum(axis=0) / np.maximum(count, 1))
