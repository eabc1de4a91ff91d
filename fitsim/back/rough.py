"""First placement of a scan: mirror plane, side view, up and forward, good to a few degrees."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.samples import thinned
from fitsim.back.silhouette import Posture, Silhouette, posture, silhouette
from fitsim.back.symmetry import mirror_plane
from fitsim.errors import BadScan

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.samples import Samples

WORST_MIRROR = 0.10
"""Mean distance of mirrored points over the scan's longest standard deviation: more is no animal
seen from both sides (animals here: 0.01-0.04)."""

LEAST_ARCH = 0.25
"""Correlation of height with distance to the mirror plane, squared; a trunk arches over."""

NO_BACK = "scan the whole back from the neck to the croup, down both sides, and nothing else"


@dataclass(frozen=True)
class RoughFrame:
    """A scan roughly placed: x forward, y left, z up, origin on the trunk's middle.

    Attributes
    ----------
    T_rough_scan : (4, 4) array, rigid, in the scan's unit.
    trunk : (n,) bool array: samples of the trunk.
    stance : Posture or None: what legs, feet and head told; None for a trunk alone.
    length, depth : of the trunk in the side view, in the scan's unit.
    ground : height of the ground in the rough frame, or None where no feet were seen.
    front_leg : station of the front legs in the rough frame, or None.
    """

    T_rough_scan: NDArray[np.float64]
    trunk: NDArray[np.bool_]
    stance: Posture | None
    length: float
    depth: float
    ground: float | None
    front_leg: float | None


def rough_frame(samples: Samples, name: str) -> RoughFrame:
    """Place a scan roughly, however it is turned.

    Parameters
    ----------
    samples : Samples
    name : of the file, for messages.

    Returns
    -------
    RoughFrame

    Raises
    ------
    BadScan
        The scan has no left and right, no length, or is flat.
    """
    normal, offset, misfit = mirror_plane(thinned(samples, 4000).points)
    if misfit > WORST_MIRROR:
        raise BadScan(name, "no back was found in it: left and right do not match", NO_BACK)
    first = np.linalg.svd(normal[None, :])[2][1]
    plane = np.column_stack([first, np.cross(normal, first)])
    even = thinned(samples, EVEN)
    # Twice: the second side view lies along the body, so its cells do not depend on the scan's
    # own axes and a turned scan gives the same trunk.
    for _ in range(2):
        view = silhouette(even.points @ plane)
        stance = posture(view)
        trunk = view.places(view.trunk)
        centre = trunk.mean(axis=0)
        if stance is None:
            forward, up = _arched(
                even.points, plane, trunk - centre, even.points @ normal - offset, name
            )
        else:
            forward, up = stance.forward, stance.up
        middle = np.array([centre @ forward, centre @ up])
        plane = np.column_stack([plane @ forward, plane @ up])
    return _placed(samples, (view, stance), plane, normal * offset, middle)


EVEN = 40_000
"""Samples drawn in the side view: several for each of its cells."""


def _placed(
    samples: Samples,
    seen: tuple[Silhouette, Posture | None],
    plane: NDArray[np.float64],
    foot: NDArray[np.float64],
    middle: NDArray[np.float64],
) -> RoughFrame:
    """The frame with its origin on the trunk's middle, and what belongs to the trunk."""
    view, stance = seen
    x, z = plane.T
    T = np.eye(4)
    T[:3, :3] = np.stack([x, np.cross(z, x), z])
    T[:3, 3] = -T[:3, :3] @ (plane @ middle + foot)
    placed = samples.points @ T[:3, :3].T + T[:3, 3]
    length, depth = np.ptp(view.places(view.trunk), axis=0)
    leg = ground = None
    if stance is not None:
        on_trunk = view.on_trunk(placed[:, [0, 2]] + middle, 2.0 * view.size)
        on_trunk |= _above_trunk(placed, on_trunk, view.size)
        leg = None if stance.front_leg is None else stance.front_leg - middle[0]
        ground = None if stance.ground is None else stance.ground - middle[1]
    else:
        # Nothing hangs below a trunk: only a neck or a tail beyond its ends is let go.
        on_trunk = np.abs(placed[:, 0]) < 0.6 * length
    return RoughFrame(T, on_trunk, stance, float(length), float(depth), ground, leg)


def _above_trunk(
    placed: NDArray[np.float64], on_trunk: NDArray[np.bool_], cell: float
) -> NDArray[np.bool_]:
    """Samples above the trunk's lower edge: the withers and the root of the neck belong to it."""
    x, z = placed[:, 0], placed[:, 2]
    first, last = x[on_trunk].min(), x[on_trunk].max()
    column = ((x - first) / (4 * cell)).astype(int)
    low = np.full(max(int(column.max()), 0) + 1, np.inf)
    np.minimum.at(low, column[on_trunk], z[on_trunk])
    within = (x >= first) & (x <= last)
    above = np.zeros(len(x), dtype=bool)
    above[within] = z[within] > low[column[within]]
    return above


def _arched(
    points: NDArray[np.float64],
    plane: NDArray[np.float64],
    trunk: NDArray[np.float64],
    aside: NDArray[np.float64],
    name: str,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Forward (either way) and up of a trunk alone: its flanks hang below its spine."""
    _, axes = np.linalg.eigh(np.cov(trunk.T))
    length, depth = np.ptp(trunk @ axes[:, 1]), np.ptp(trunk @ axes[:, 0])
    width = float(np.ptp(aside))
    if min(depth, width) < FLAT * length:
        raise BadScan(name, "no back was found in it: the surface is flat", NO_BACK)
    if length < STOUT * max(depth, 0.9 * width):
        raise BadScan(name, "no back was found in it: it is as wide as it is long", NO_BACK)
    agreement = float(np.corrcoef(points @ plane @ axes[:, 0], aside**2)[0, 1])
    if abs(agreement) < LEAST_ARCH:
        raise BadScan(name, "no back was found in it: nothing tells its upper side", NO_BACK)
    up = axes[:, 0] * -np.sign(agreement)
    return np.array([up[1], -up[0]]), up


FLAT, STOUT = 0.06, 1.15
"""A trunk is deeper than the first and longer than the second, over its length and its width."""
