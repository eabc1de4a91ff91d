"""The animal seen from the side: which part is trunk, where legs and neck leave it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage
from scipy.spatial import ConvexHull

if TYPE_CHECKING:
    from numpy.typing import NDArray

OPENING = 0.7
"""Trunk: what a disc of this share of the largest inscribed radius can reach."""


GAP = 0.25
"""Gaps up to twice this share of the largest inscribed radius were not scanned and are closed;
those between legs are wider."""

LEAST_LEGS = 0.04
"""Least area of the legs over the trunk's, seen from the side."""

LEG_REACH, FOOT_REACH = 0.65, 0.80
"""Legs reach this many trunk depths below the trunk's middle (0.5 is its underside); whole legs
the second: 0.85 on a toy with stumps, 1.4-1.6 on real animals."""

_FAN = np.array([[np.cos(k), np.sin(k)] for k in np.arange(8) * np.pi / 8]).T


@dataclass(frozen=True)
class Silhouette:
    """Side view on square cells.

    Attributes
    ----------
    cells : (nu, nv) bool array, covered by the animal.
    trunk : (nu, nv) bool array, the thick part.
    origin : (2,) array: place of the centre of cell (0, 0).
    size : float, edge of a cell.
    radius : float, of the largest disc inside, same unit.
    """

    cells: NDArray[np.bool_]
    trunk: NDArray[np.bool_]
    origin: NDArray[np.float64]
    size: float
    radius: float

    def places(self, mask: NDArray[np.bool_]) -> NDArray[np.float64]:
        """Centres of the cells in `mask`, (k, 2)."""
        return self.origin + np.argwhere(mask) * self.size

    def on_trunk(self, side_view: NDArray[np.float64], margin: float = 0.0) -> NDArray[np.bool_]:
        """Which points of the side view lie on the trunk.

        Parameters
        ----------
        side_view : (n, 2) array.
        margin : grow the trunk by this much first.

        Returns
        -------
        (n,) bool array
        """
        mask = ndimage.distance_transform_edt(~self.trunk) <= margin / self.size
        index = np.rint((side_view - self.origin) / self.size).astype(int)
        inside = np.all((index >= 0) & (index < mask.shape), axis=1)
        index = index.clip(0, np.array(mask.shape) - 1)
        return np.asarray(inside & mask[index[:, 0], index[:, 1]])


def silhouette(side_view: NDArray[np.float64], cells: int = 160) -> Silhouette:
    """Rasterise the side view and find the trunk in it.

    Parameters
    ----------
    side_view : (n, 2) array, any unit: the points projected onto the mirror plane.
    cells : along the longer side.

    Returns
    -------
    Silhouette

    Notes
    -----
    The trunk is the morphological opening of the silhouette by a disc of 0.7 of the largest
    inscribed disc: legs, head, tail and the upper neck are thinner than that on every animal
    here, and the result does not depend on how the scan is turned.
    """
    low, high = side_view.min(axis=0), side_view.max(axis=0)
    size = float((high - low).max() / cells)
    pad = 4
    index = np.rint((side_view - low) / size).astype(int) + pad
    mask = np.zeros(tuple(index.max(axis=0) + pad + 1), dtype=bool)
    mask[index[:, 0], index[:, 1]] = True
    mask = ndimage.binary_fill_holes(ndimage.binary_closing(mask, iterations=2))
    mask = _closed(mask, GAP * float(ndimage.distance_transform_edt(mask).max()))
    inside = ndimage.distance_transform_edt(mask)
    radius = float(inside.max())
    core, count = ndimage.label(inside >= OPENING * radius)
    # The longest thick part: a big round head may hold the largest disc.
    reach = [np.ptp(np.argwhere(core == k + 1) @ _FAN, axis=0).max() for k in range(count)]
    core = core == int(np.argmax(reach)) + 1
    trunk = mask & (ndimage.distance_transform_edt(~core) <= OPENING * radius)
    return Silhouette(mask, trunk, low - pad * size, size, radius * size)


def _closed(mask: NDArray[np.bool_], radius: float) -> NDArray[np.bool_]:
    """Morphological closing by a disc, in cells; places that were not scanned become whole."""
    around = int(np.ceil(radius)) + 1
    wide = np.pad(mask, around)
    grown = ndimage.distance_transform_edt(~wide) <= radius
    closed = ndimage.distance_transform_edt(grown) > radius
    return np.asarray(ndimage.binary_fill_holes(mask | closed[around:-around, around:-around]))


@dataclass(frozen=True)
class Posture:
    """How the side view stands.

    Attributes
    ----------
    forward : (2,) array, unit: towards the head, in side-view axes.
    up : (2,) array, unit.
    ground : float or None: height of the ground along `up`; None when no feet were seen.
    front_leg : float or None: place of the front legs along `forward`.
    head : float in [-1, 1]: evidence that `forward` is right, from what leaves the trunk's ends.
    """

    forward: NDArray[np.float64]
    up: NDArray[np.float64]
    ground: float | None
    front_leg: float | None
    head: float


def posture(view: Silhouette) -> Posture | None:
    """Read up and forward off a whole standing animal.

    Parameters
    ----------
    view : Silhouette

    Returns
    -------
    Posture or None
        None when no legs leave the trunk to one side: half an animal or a trunk.
    """
    trunk = view.places(view.trunk)
    centre = trunk.mean(axis=0)
    spread, axes = np.linalg.eigh(np.cov((trunk - centre).T))
    along, across = axes[:, 1], axes[:, 0]
    thin = view.places(view.cells & ~view.trunk) - centre
    reach_along = np.ptp((trunk - centre) @ along) / 2.0
    depth = 2.0 * np.sqrt(3.0 * spread[0])
    beside = np.abs(thin @ along) < 1.05 * reach_along
    thin = thin[beside]
    if not len(thin):
        return None
    down = max((across, -across), key=lambda way: _legs_on(thin, way, along, depth))
    area = 2.0 * _legs_on(thin, down, along, depth) / len(trunk)
    reach = float((thin @ down).max())
    if area < LEAST_LEGS or reach < LEG_REACH * depth:
        return None
    return _standing(view, centre, -down, feet=reach > FOOT_REACH * depth)


def _legs_on(
    thin: NDArray[np.float64], way: NDArray[np.float64], along: NDArray[np.float64], depth: float
) -> int:
    """Cells that hang off the trunk one way, at the end that has fewer.

    Legs hang at both ends, a raised neck stands at one.
    """
    hanging = thin @ way > 0.5 * depth
    front = thin @ along > 0
    return int(min((hanging & front).sum(), (hanging & ~front).sum()))


def _standing(
    view: Silhouette,
    centre: NDArray[np.float64],
    up: NDArray[np.float64],
    *,
    feet: bool,
) -> Posture:
    """Posture once legs were seen below the trunk."""
    if feet:
        up = _ground_normal(view, up)
    forward = np.array([up[1], -up[0]])
    trunk = (view.places(view.trunk) - centre) @ np.column_stack([forward, up])
    thin = (view.places(view.cells & ~view.trunk) - centre) @ np.column_stack([forward, up])
    first, last = np.percentile(trunk[:, 0], [3, 97])
    # A head is carried above the belly; hind feet set far back, or a tail, are not a head.
    high = thin[:, 1] > np.percentile(trunk[:, 1], 40)
    ahead = float((high & (thin[:, 0] > last)).sum())
    behind = float((high & (thin[:, 0] < first)).sum())
    head = (ahead - behind) / max(ahead + behind, 1.0)
    if head < 0:
        forward, head = -forward, -head
        trunk[:, 0], thin[:, 0] = -trunk[:, 0], -thin[:, 0]
        first, last = -last, -first
    low = np.percentile(trunk[:, 1], 5)
    legs = thin[(thin[:, 1] < low) & (thin[:, 0] > 0.5 * (first + last))]
    front = float(legs[:, 0].mean() + centre @ forward) if len(legs) else None
    ground = float((view.places(view.cells) @ up).min()) if feet else None
    return Posture(forward, up, ground, front, head)


def _ground_normal(view: Silhouette, up: NDArray[np.float64]) -> NDArray[np.float64]:
    """Upward normal of the line the feet stand on: the hull's longest edge facing down."""
    edge_cells = view.cells & ~ndimage.binary_erosion(view.cells)
    points = view.places(edge_cells)
    hull = points[ConvexHull(points).vertices]
    edges = np.roll(hull, -1, axis=0) - hull
    length = np.linalg.norm(edges, axis=1)
    # The hull runs anticlockwise, so the outward normal lies to the right of each edge.
    outward = np.column_stack([edges[:, 1], -edges[:, 0]]) / length[:, None]
    facing = outward @ -up > np.cos(np.radians(35.0))
    if not facing.any():
        return up
    return np.asarray(-outward[np.argmax(np.where(facing, length, 0.0))])
