"""Two scans of one animal: laid on each other where it stayed the same, and what changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage
from scipy.interpolate import RectBivariateSpline
from scipy.spatial import cKDTree

from fitsim.errors import BadScan

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Back, Chart, ZoneName

    Array = NDArray[np.float64]

FINE = 0.005
"""m: the later surface is looked at every so far."""
REACH = 0.06
"""m: the two surfaces are no farther apart than this once they lie on each other."""
LOOSE, TIGHT = 0.020, 0.004
"""m: what differs by more has no say in where the later scan is laid, at first and at last."""
ROUNDS = 40
STILL = 2e-5
"""rad, m: a step smaller than this is none."""
ENOUGH = 2_500
"""Nodes that are enough to lay one surface on the other."""
STARTS = (-0.06, -0.03, 0.0, 0.03, 0.06)
"""m along the spine: the shoulder blade's place, on which both frames hang, is no surer."""
LEAST_COMMON = 0.4
"""Share of the earlier back that the later one must show too."""
BLOCK = 0.06
"""m: waves of a scanner's error are about so long; squares of this size err independently."""
SURE = 2.0
"""Standard deviations: what is smaller is called noise."""
LEAST = 0.0003
"""m: no scanner and no coat of hair is surer than this."""
SMALLEST = 0.0020
"""m2: a changed patch smaller than this is not named."""
SHARED = 0.5
"""Of a square's error this share is the laying's and is not averaged out over a zone."""


@dataclass(frozen=True)
class ZoneChange:
    """Gain or loss in one zone.

    Attributes
    ----------
    name : of the zone.
    mean : m, average along the normal, gain positive.
    floor : m, an average smaller than this is noise.
    volume : m3, gain positive.
    area : m2, seen in both scans.
    """

    name: ZoneName
    mean: float
    floor: float
    volume: float
    area: float

    @property
    def sure(self) -> bool:
        """Whether the change stands out of the noise."""
        return abs(self.mean) > self.floor


@dataclass(frozen=True)
class Patch:
    """One place that changed by more than the noise.

    Attributes
    ----------
    x, t : m, chart coordinates of its middle, in the earlier scan.
    most : m, greatest change, gain positive.
    area : m2.
    """

    x: float
    t: float
    most: float
    area: float


@dataclass(frozen=True)
class Change:
    """What changed from an earlier scan to a later one.

    Attributes
    ----------
    height : (nx, nt) array, m, on the earlier chart: gain along the normal; NaN where one of the
        scans shows nothing.
    floor : m: at a single place less than this is noise.
    T_before_after : (4, 4) array, rigid: lays the later body frame on the earlier one.
    zones : every zone seen in both.
    patches : largest change first.
    cautions : sentences.
    """

    height: Array
    floor: float
    T_before_after: Array
    zones: tuple[ZoneChange, ...]
    patches: tuple[Patch, ...]
    cautions: tuple[str, ...] = ()


def change(before: Back, after: Back) -> Change:
    """Lay a later scan of an animal on an earlier one, and measure what changed.

    Parameters
    ----------
    before, after : Back
        Both in metres; both stood much alike.

    Returns
    -------
    Change

    Raises
    ------
    BadScan
        The two show too little of the same back, or do not fit on each other.

    Notes
    -----
    Point-to-plane registration of both surfaces with Tukey's biweight whose width narrows from
    20 to 4 mm: muscle that grew or sank loses its say, bone and all else that stayed leads. A
    smooth back slides along itself almost freely, so it starts from several stations and the
    laying with the least robust distance wins. The noise floor is twice the spread of the change
    between squares of 60 mm, from the median of their sizes, which half of the back may change
    without moving.
    """
    surface = _surface(after.chart)
    nodes = before.chart.valid & ~before.chart.filled
    points, normals = before.chart.points[nodes], before.chart.normals[nodes]
    few = slice(None, None, max(1, len(points) // ENOUGH))
    T = _laid(points[few], normals[few], surface, after.provenance.name)
    height = np.full(nodes.shape, np.nan)
    height[nodes] = _gain(points, normals, surface, np.asarray(np.linalg.inv(T)))
    seen = np.isfinite(height)
    if seen.sum() < LEAST_COMMON * nodes.sum():
        raise BadScan(
            after.provenance.name,
            f"it shows only {100 * seen.sum() / nodes.sum():.0f} % of the back in "
            f"{before.provenance.name}",
            "compare scans of the same part of the same animal, in the same unit",
        )
    block = _block_spread(before.chart, height)
    floor = max(SURE * max(_spread(height[seen]), block), LEAST)
    return Change(
        height, floor, T, _zones(before, height, block), _patches(before.chart, height, floor),
        _cautions(before, after, height),
    )  # fmt: skip


def _surface(chart: Chart) -> tuple[cKDTree, Array, Array]:
    """The later surface as a dense set of points with their normals."""
    x = np.arange(chart.x[0], chart.x[-1] + 1e-9, FINE)
    t = np.arange(chart.t[0], chart.t[-1] + 1e-9, FINE)
    fields = [
        np.stack([RectBivariateSpline(chart.x, chart.t, f[..., k])(x, t) for k in range(3)], -1)
        for f in (np.nan_to_num(chart.points), np.nan_to_num(chart.normals))
    ]
    measured = (chart.valid & ~chart.filled).astype(float)
    whole = RectBivariateSpline(chart.x, chart.t, measured, kx=1, ky=1)(x, t) > 0.999  # noqa: PLR2004 - all four nodes
    points, normals = fields[0][whole], fields[1][whole]
    normals = normals / np.linalg.norm(normals, axis=1, keepdims=True)
    return cKDTree(points), points, normals


def _laid(points: Array, normals: Array, surface: tuple[cKDTree, Array, Array], name: str) -> Array:
    """T_before_after, the best of several starts."""
    tries = []
    for start in STARTS:
        T = np.eye(4)  # after from before
        T[0, 3] = start
        for k in range(ROUNDS):
            width = max(TIGHT, LOOSE * 0.8**k)
            step = _step(T, points, normals, surface, width)
            T = step @ T
            if width == TIGHT and np.abs(step - np.eye(4)).max() < STILL:
                break
        tries.append((_misfit(T, points, normals, surface), T))
    best = min(tries, key=lambda one: one[0])
    if best[0] > WORST:
        raise BadScan(
            name, f"the two backs differ by {1e3 * best[0]:.0f} mm everywhere",
            "compare two scans of one animal, in the same unit",
        )  # fmt: skip
    return np.asarray(np.linalg.inv(best[1]))


WORST = 0.012
"""m: typical distance between the scans beyond which they are not of one animal."""


def _residuals(
    T: Array, points: Array, normals: Array, surface: tuple[cKDTree, Array, Array]
) -> tuple[Array, Array, Array]:
    """Points in the later frame, the normal that a distance counts along, and the distance."""
    tree, there, outward = surface
    moved = points @ T[:3, :3].T + T[:3, 3]
    far, near = tree.query(moved, distance_upper_bound=REACH)
    found = np.isfinite(far)
    at = np.asarray(near)[found]
    # both normals, so that neither scan leads
    along = outward[at] + normals[found] @ T[:3, :3].T
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    return moved[found], along, np.einsum("ij,ij->i", there[at] - moved[found], along)


def _step(
    T: Array, points: Array, normals: Array, surface: tuple[cKDTree, Array, Array], width: float
) -> Array:
    """One Gauss-Newton step of the rigid laying, (4, 4)."""
    moved, along, off = _residuals(T, points, normals, surface)
    weight = np.maximum(1.0 - (off / (3.0 * width)) ** 2, 0.0)
    effect = np.hstack([np.cross(moved, along), along])
    turn = np.linalg.lstsq(effect * weight[:, None], off * weight, rcond=1e-8)[0]
    step = np.eye(4)
    skew = np.array([[0, -turn[2], turn[1]], [turn[2], 0, -turn[0]], [-turn[1], turn[0], 0]])
    u, _, vt = np.linalg.svd(np.eye(3) + skew)  # the nearest rotation
    step[:3, :3], step[:3, 3] = u @ vt, turn[3:]
    return step


def _misfit(
    T: Array, points: Array, normals: Array, surface: tuple[cKDTree, Array, Array]
) -> float:
    """Median distance between the surfaces, m; points that see no other count as far."""
    _, _, off = _residuals(T, points, normals, surface)
    lost = len(points) - len(off)
    return float(np.median(np.r_[np.abs(off), np.full(min(lost, len(points) // 4), REACH)]))


def _gain(
    points: Array, normals: Array, surface: tuple[cKDTree, Array, Array], T_after_before: Array
) -> Array:
    """How far the later surface lies outside the earlier one, along its normal, m."""
    tree, there, outward = surface
    moved = points @ T_after_before[:3, :3].T + T_after_before[:3, 3]
    along = normals @ T_after_before[:3, :3].T
    gain = np.zeros(len(points))
    for _ in range(3):  # walk along the normal until the nearest point lies on it
        far, near = tree.query(moved + gain[:, None] * along, distance_upper_bound=2.0 * FINE)
        found = np.isfinite(far)
        at = np.where(found, near, 0)
        lean = np.einsum("ij,ij->i", outward[at], along)
        step = np.einsum("ij,ij->i", there[at] - moved, outward[at]) / np.maximum(lean, 0.3)
        if not found.any():
            break
        gain = np.where(found, step, gain)
    far, _ = tree.query(moved + gain[:, None] * along, distance_upper_bound=1.5 * FINE)
    return np.where(np.isfinite(far), gain, np.nan)


def _spread(values: Array) -> float:
    """Standard deviation from the median of the sizes: what half of the values do."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _block_spread(chart: Chart, height: Array) -> float:
    """Spread of the mean change between squares of `BLOCK`, m."""
    side = max(1, round(BLOCK / chart.spacing))
    i, j = (np.arange(count) // side for count in height.shape)
    block = (i[:, None] * (j.max() + 1) + j[None, :])[np.isfinite(height)]
    count = np.bincount(block)
    mean = np.bincount(block, weights=height[np.isfinite(height)]) / np.maximum(count, 1)
    return _spread(mean[count > side**2 // 2])


def _zones(before: Back, height: Array, block: float) -> tuple[ZoneChange, ...]:
    """Gain and loss by zone."""
    found = []
    for number, zone in enumerate(before.zones):
        mine = (before.zone_code == number) & np.isfinite(height)
        area = float(before.chart.area[mine].sum())
        if area < BLOCK**2:
            continue
        volume = float((height * before.chart.area)[mine].sum())
        apart = SHARED + (1.0 - SHARED) * BLOCK**2 / area
        floor = max(SURE * block * float(np.sqrt(apart)), LEAST)
        found.append(ZoneChange(zone.name, volume / area, floor, volume, area))
    return tuple(found)


def _patches(chart: Chart, height: Array, floor: float) -> tuple[Patch, ...]:
    """Places that changed by more than the noise, largest change first."""
    found = []
    seen = np.isfinite(height)
    filled = np.where(seen, height, 0.0)
    cover = ndimage.gaussian_filter(seen.astype(float), 1.0)
    level = ndimage.gaussian_filter(filled, 1.0) / np.maximum(cover, 0.1)
    for sign in (1.0, -1.0):
        parts, count = ndimage.label((sign * level > floor) & seen)
        for part in range(1, count + 1):
            nodes = np.argwhere(parts == part)
            area = float(chart.area[tuple(nodes.T)].sum())
            if area < SMALLEST:
                continue
            values = level[tuple(nodes.T)]
            middle = (nodes * np.abs(values)[:, None]).sum(axis=0) / np.abs(values).sum()
            x = float(np.interp(middle[0], np.arange(len(chart.x)), chart.x))
            t = float(np.interp(middle[1], np.arange(len(chart.t)), chart.t))
            found.append(Patch(x, t, float(sign * np.abs(values).max()), area))
    return tuple(sorted(found, key=lambda patch: -abs(patch.most)))


def _cautions(before: Back, after: Back, height: Array) -> tuple[str, ...]:
    """What a reader of the map must know."""
    said = []
    middle = len(before.chart.t) // 2
    spine = height[:, middle - 1 : middle + 2]
    spine = spine[np.isfinite(spine)]
    bend = float(np.ptp(np.percentile(spine, [5, 95]))) if len(spine) else 0.0
    if bend > BENT:
        said.append(
            f"Along the spine, where there is little to gain or lose, the scans differ by "
            f"{1e3 * bend:.0f} mm: the animal stood otherwise, and part of the map is posture."
        )
    ratio = after.withers_height / before.withers_height
    if abs(ratio - 1.0) > GREW:
        said.append(
            f"The later animal is {100 * (ratio - 1.0):+.0f} % as high at the withers: "
            "check both units, or let the withers height be told."
        )
    said.append("Hair, sweat and stance change a surface too: scan in the same coat and stance.")
    return tuple(said)


BENT = 0.010
"""m: a standing spine keeps its line within this from scan to scan (from memory)."""
GREW = 0.04
"""A grown animal's height read off two scans differs by less."""
