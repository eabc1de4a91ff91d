"""First placement of a scan: mirror plane, side view, up and forward, good to a few degrees."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.arch import Arch, arch_of
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
    ground : height of the ground in the rough frame, None where neither feet nor floor were seen.
    floor : (4,) array or None: a floor that was seen, as normal and offset in the scan's frame.
    front_leg : station of the front legs in the rough frame, or None.
    """

    T_rough_scan: NDArray[np.float64]
    trunk: NDArray[np.bool_]
    stance: Posture | None
    length: float
    depth: float
    ground: float | None
    front_leg: float | None
    floor: NDArray[np.float64] | None = None


def rough_frame(
    samples: Samples, name: str, sheets: NDArray[np.float64] | None = None
) -> RoughFrame:
    """Place a scan roughly, however it is turned.

    Parameters
    ----------
    samples : Samples
    name : of the file, for messages.
    sheets : (k, 4) array or None: floors and walls, see `fitsim.scan.scan.Scan`.

    Returns
    -------
    RoughFrame

    Raises
    ------
    BadScan
        The scan has no left and right, no length, or is flat.
    """
    few = thinned(samples, 4000).points
    normal, offset, misfit = mirror_plane(few)
    if misfit > WORST_MIRROR:
        raise BadScan(name, "no back was found in it: left and right do not match", NO_BACK)
    arch = arch_of(few, normal, offset)
    if arch.agreement < CLEAR_ARCH and sheets is not None:
        normal, offset, arch = _upright(few, sheets, (normal, offset, arch))
    plane, stance = arch.plane, None
    even = thinned(samples, EVEN).points
    # Twice: the second side view lies along the body, so its cells do not depend on the scan's
    # own axes and a turned scan gives the same trunk.
    for _ in range(2):
        view = silhouette(even @ plane)
        stance = posture(view)
        if stance is None or arch.agreement > CLEAR_ARCH:
            stance, plane = None, arch.plane
            _require_trunk(arch, name)
            break
        plane = plane @ np.column_stack([stance.forward, stance.up])
    middle = view.places(view.trunk).mean(axis=0) if stance is not None else _middle(even @ plane)
    if stance is not None:
        middle = np.array([middle @ stance.forward, middle @ stance.up])
    rough = _placed(samples, (view, stance), plane, normal * offset, middle)
    return rough if sheets is None else _on_its_floor(rough, sheets)


def _upright(
    points: NDArray[np.float64],
    sheets: NDArray[np.float64],
    found: tuple[NDArray[np.float64], float, Arch],
) -> tuple[NDArray[np.float64], float, Arch]:
    """A mirror plane that stands on a floor and makes a clear arch of the trunk, else as found.

    With most of one side missing the parts left may mirror each other better across than along;
    the floor tells the two apart.
    """
    for sheet in sheets[:3]:
        normal, offset, _ = mirror_plane(points, sheet[:3])
        arch = arch_of(points, normal, offset)
        if arch.agreement > CLEAR_ARCH:
            return normal, offset, arch
    return found


def _on_its_floor(rough: RoughFrame, sheets: NDArray[np.float64]) -> RoughFrame:
    """The frame with the floor that lies under the trunk, if there is one."""
    T_scan_rough = np.linalg.inv(rough.T_rough_scan)
    for sheet in sheets:
        normal, offset = sheet[:3], sheet[3] - sheet[:3] @ T_scan_rough[:3, 3]
        upward = float(normal @ T_scan_rough[:3, 2])
        height = offset / upward if abs(upward) > FLOOR_TILT else np.inf
        if abs(upward) > FLOOR_TILT and height < -0.5 * rough.depth:
            return replace(rough, floor=sheet, ground=height)
    return rough


FLOOR_TILT = np.cos(np.radians(30.0))
"""A floor is level within this of the rough frame, whose up may be off by some degrees."""


def _middle(side_view: NDArray[np.float64]) -> NDArray[np.float64]:
    """Middle of the extents, a hundredth left out at either end: parts may be missing."""
    return np.asarray(np.percentile(side_view, [1, 99], axis=0).mean(axis=0))


def _require_trunk(arch: Arch, name: str) -> None:
    """Refuse what is flat, stout, or has no upper side."""
    if min(arch.depth, arch.width) < FLAT * arch.length:
        raise BadScan(name, "no back was found in it: the surface is flat", NO_BACK)
    if arch.length < STOUT * max(arch.depth, 0.9 * arch.width):
        raise BadScan(name, "no back was found in it: it is as wide as it is long", NO_BACK)
    if arch.agreement < LEAST_ARCH:
        raise BadScan(name, "no back was found in it: nothing tells its upper side", NO_BACK)


CLEAR_ARCH = 0.8
"""Agreement above which there is nothing but a trunk open below, and what looks like legs is the
edge of what was scanned (made-up trunks with 30 % missing: 0.90-0.94; a horse cut at half its
height, neck and head left on: 0.54)."""

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
    if stance is None:
        length, depth = np.ptp(np.percentile(placed[:, [0, 2]], [0.5, 99.5], axis=0), axis=0)
    else:
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
    if not on_trunk.any():
        return on_trunk
    first, last = x[on_trunk].min(), x[on_trunk].max()
    column = ((x - first) / (4 * cell)).astype(int)
    low = np.full(max(int(column.max()), 0) + 1, np.inf)
    np.minimum.at(low, column[on_trunk], z[on_trunk])
    within = (x >= first) & (x <= last)
    above = np.zeros(len(x), dtype=bool)
    above[within] = z[within] > low[column[within]]
    return above


FLAT, STOUT = 0.06, 1.15
"""A trunk is deeper than the first and longer than the second, over its length and its width."""
