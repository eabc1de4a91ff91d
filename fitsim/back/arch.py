"""Forward and up of a trunk alone: its surface runs along it, its flanks hang below its spine."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from numpy.typing import NDArray

NEIGHBOURS = 16
"""Points that give a surface normal."""

LEANING = 0.15
"""A normal leaning this far (as a cosine) along the trunk counts half: neck and croup."""

STATIONS = 20
"""Parts of the length within which height is compared with the distance to the mirror plane."""


class Arch(NamedTuple):
    """A trunk seen as an arch drawn out lengthwise.

    Attributes
    ----------
    plane : (3, 2) array, columns unit: forward (either way) and up.
    agreement : 0..1: how well the height goes with the squared distance to the mirror plane.
    length, depth, width : extents, in the points' unit, a hundredth left out at either end.
    """

    plane: NDArray[np.float64]
    agreement: float
    length: float
    depth: float
    width: float


def arch_of(points: NDArray[np.float64], normal: NDArray[np.float64], offset: float) -> Arch:
    """Find the length and the upper side of a trunk whose mirror plane is known.

    Parameters
    ----------
    points : (n, 3) array, evenly spread; a few thousand.
    normal : (3,) array, unit, of the mirror plane.
    offset : float
        ``normal @ p`` on the plane.

    Returns
    -------
    Arch

    Notes
    -----
    The length is the direction in the mirror plane that the surface's normals lean towards least
    (Cauchy weights leave neck and croup behind). Unlike the longest extent it does not move when
    parts of the trunk were not scanned.
    """
    first = np.linalg.svd(normal[None, :])[2][1]
    plane = np.column_stack([first, np.cross(normal, first)])
    near = np.asarray(cKDTree(points).query(points, k=min(NEIGHBOURS, len(points)))[1])
    spread = points[near] - points[near].mean(axis=1, keepdims=True)
    lean = np.linalg.eigh(np.einsum("nki,nkj->nij", spread, spread))[1][:, :, 0] @ plane
    along = np.linalg.eigh(lean.T @ lean)[1][:, 0]
    for _ in range(8):
        weight = 1.0 / (1.0 + (lean @ along / LEANING) ** 2)
        along = np.linalg.eigh((lean * weight[:, None]).T @ lean)[1][:, 0]
    up = np.array([-along[1], along[0]])
    station, height, aside = points @ plane @ along, points @ plane @ up, points @ normal - offset
    agreement = _agreement(station, height, aside)
    if agreement > 0.0:
        up = -up
    length, depth, width = (
        float(np.ptp(np.percentile(extent, [1, 99]))) for extent in (station, height, aside)
    )
    forward = np.array([up[1], -up[0]])
    plane = np.column_stack([plane @ forward, plane @ up])
    return Arch(plane, abs(agreement), length, depth, width)


def _agreement(
    station: NDArray[np.float64], height: NDArray[np.float64], aside: NDArray[np.float64]
) -> float:
    """Correlation of height with squared distance to the mirror plane, within stations."""
    edges = np.linspace(station.min(), station.max(), STATIONS + 1)
    part = np.digitize(station, edges)
    count = np.maximum(np.bincount(part), 1)
    rest = [
        values - (np.bincount(part, weights=values) / count)[part] for values in (height, aside**2)
    ]
    size = np.linalg.norm(rest[0]) * np.linalg.norm(rest[1])
    return float(rest[0] @ rest[1] / size) if size > 0.0 else 0.0
