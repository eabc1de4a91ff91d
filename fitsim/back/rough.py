"""First placement of a scan: mirror plane, side view, up and forward, good to a few degrees."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.silhouette import Posture, posture, silhouette
from fitsim.back.samples import thinned
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
    even = thinned(samples, 40_000).points
    view = silhouette(even @ plane)
    trunk = view.places(view.trunk)
    centre = trunk.mean(axis=0)
    spread, axes = np.linalg.eigh(np.cov((trunk - centre).T))
    length, depth = (float(np.ptp((trunk - centre) @ axes[:, k])) for k in (1, 0))
    stance = posture(view)
    if stance is None:
        _refuse_shapeless(name, length, depth, samples, normal)
        up = axes[:, 0] * _arch(even, plane @ axes[:, 0], normal, offset, name)
        forward = np.array([up[1], -up[0]])
    else:
        forward, up = stance.forward, stance.up
    z, x = plane @ up, plane @ forward
    y = np.cross(z, x)
    origin = plane @ centre + offset * normal
    T = np.eye(4)
    T[:3, :3] = np.stack([x, y, z])
    T[:3, 3] = -T[:3, :3] @ origin
    on_trunk = view.on_trunk(samples.points @ plane, 2.0 * view.size)
    on_trunk |= _above_trunk(samples.points @ T[:3, :3].T + T[:3, 3], on_trunk, view.size)
    leg = ground = None
    if stance is not None and stance.front_leg is not None:
        leg = float(stance.front_leg - centre @ forward)
    if stance is not None and stance.ground is not None:
        ground = float(stance.ground - centre @ up)
    return RoughFrame(T, on_trunk, stance, length, depth, ground, leg)


def _refuse_shapeless(
    name: str, length: float, depth: float, samples: Samples, normal: NDArray[np.float64]
) -> None:
    """Refuse what cannot be a trunk: a ball, a wall."""
    width = float(np.ptp(samples.points @ normal))
    if min(depth, width) < 0.04 * length:
        raise BadScan(name, "no back was found in it: the surface is flat", NO_BACK)
    if length < 1.15 * max(depth, 0.9 * width):
        raise BadScan(name, "no back was found in it: it is as wide as it is long", NO_BACK)


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


def _arch(
    points: NDArray[np.float64],
    across: NDArray[np.float64],
    normal: NDArray[np.float64],
    offset: float,
    name: str,
) -> float:
    """+1 if the trunk arches towards `across`, -1 if away: its flanks hang below its spine."""
    height = points @ across
    aside = (points @ normal - offset) ** 2
    agreement = float(np.corrcoef(height, aside)[0, 1])
    if abs(agreement) < LEAST_ARCH:
        raise BadScan(name, "no back was found in it: nothing tells its upper side", NO_BACK)
    return -float(np.sign(agreement))
