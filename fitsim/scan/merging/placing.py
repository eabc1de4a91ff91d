"""One view laid on another from many starts, and how far to trust where it came to lie.

A smooth back slides on itself, and opposite flanks fit each other, with a residual hardly above
the noise. So the residual alone proves nothing. Noise differs from point to point while a wrong
place errs in whole patches: means over patches tell them apart. A place is believed when its
patches agree, nothing lies in the way of either camera, and no other place that any start led to
fits nearly as well.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from fitsim.scan.merging.sight import IN_THE_WAY, in_the_way
from fitsim.scan.open3d_loader import open3d

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fitsim.scan.merging.view import Thinned, View

REACH: Final = 0.030
"""m: points farther from the other view than this do not overlap it."""
SAME: Final = 0.010
"""m: places closer than this are one place, told apart by noise alone."""

_COARSE_STAGES: Final = (0.15, 0.08)  # m, search distance from coarse to fine
_FINE_STAGES: Final = (0.05, 0.02, 0.01)  # the last takes out what the rims of views pull aside
_MOVED_STAGES: Final = (0.05, 0.025)  # an animal that moved fits nowhere to 10 mm
_TUKEY: Final = 0.4  # of the reach: beyond it a point counts no more
_STEPS: Final = 20
_ALIGNED: Final = float(np.cos(np.radians(35.0)))
_FLOOR: Final = 0.0005  # m: what thinning leaves of a perfect fit's residual
_FINALISTS: Final = 4
_HOPEFUL: Final = 0.5  # of the best coarse score: what is worse is not refined to the end
_AS_GOOD: Final = 1.3  # a rival's misfit over the best's
_AS_WIDE: Final = 0.6  # a rival's overlap over the best's
_NORMAL_MEDIAN: Final = 0.6745  # of the absolute value of a standard normal number
_NORMAL_QUARTILE: Final = 1.1503  # upper, of the absolute value of a standard normal number
_PATCH_LEAST: Final = 5  # thinned points in a patch
_PATCHES_LEAST: Final = 8
_BENT: Final = 0.0008  # m: what depth cameras bend a surface by, and thinning
_SURE: Final = 1.5  # standard deviations
_NO_PROOF: Final = 0.01  # of a view that stands in the way
_GUILT: Final = 0.05  # blocked share at which agreement counts for 37 %


@dataclass(frozen=True)
class Place:
    """Where a source view lies on a target, and how well it lies there.

    Attributes
    ----------
    T_target_source : (4, 4) array.
    overlap : share of the smaller view that finds the other within `REACH`.
    residual : m, median distance of measured points to the other's surface where they overlap.
    misfit : m, what whole patches disagree by once noise is averaged out.
    blocked : share of a view's points that would lie in the way of the other's camera.
    score : what agrees, the less the more patches err or stand in the way; higher is better.
    """

    T_target_source: NDArray[np.float64]
    overlap: float
    residual: float
    misfit: float
    blocked: float
    score: float


@dataclass(frozen=True)
class Pair:
    """Two views and their best place.

    Attributes
    ----------
    place : the best.
    noise : m, median disagreement that the views' own noise explains.
    even : m, what patches may disagree by for noise alone and what a scanner bends.
    rival : the best other place that fits nearly as well, or None.
    apart : m, root mean square way between the two; 0 without a rival.
    """

    place: Place
    noise: float
    even: float
    rival: Place | None
    apart: float


def paired(target: View, source: View, starts: Sequence[NDArray[np.float64]]) -> Pair:
    """Lay a source view on a target from each start, and judge the best.

    Parameters
    ----------
    target, source : View
    starts : sequence of (4, 4) arrays
        T_target_source to begin from.

    Returns
    -------
    Pair
        However poor: the caller judges it.
    """
    coarse = [refined(target.coarse, source.coarse, T, _COARSE_STAGES) for T in starts]
    rough = distinct([placed(target, source, T, REACH) for T in coarse], source)
    fine = [settled_place(target, source, place.T_target_source) for place in rough[:_FINALISTS]]
    ranked = distinct(fine, source)
    best, even = ranked[0], evenness(target, source)
    rival = next((other for other in ranked[1:] if _nearly_as_good(other, best, even)), None)
    apart = 0.0 if rival is None else way(source.sample, best, rival)
    return Pair(best, expected(target, source), even, rival, apart)


def settled_place(target: View, source: View, T: NDArray[np.float64]) -> Place:
    """Refine a place to the end and judge it."""
    return placed(target, source, refined(target.fine, source.fine, T, _FINE_STAGES))


def laid_by_trunk(target: View, source: View, pair: Pair) -> Pair:
    """Lay an animal that moved by its trunk, from where the whole of it came to lie.

    Parameters
    ----------
    target, source : View
    pair : Pair
        Of the whole views.

    Returns
    -------
    Pair
        Judged on the trunk alone.
    """
    T = pair.place.T_target_source
    T = refined(target.trunk.fine, source.trunk.fine, T, _MOVED_STAGES)
    place = placed(target.trunk, source.trunk, T)
    return replace(pair, place=place)


def expected(target: View, source: View) -> float:
    """Median disagreement, m, that noise alone makes between two views."""
    noise = np.sqrt((target.noise**2 + source.noise**2) / 2.0)
    return float(_NORMAL_MEDIAN * np.hypot(noise, _FLOOR))


def evenness(target: View, source: View) -> float:
    """What the means of patches may disagree by, m, when two views show the same still surface."""
    many = [view.noise / np.sqrt(view.crowd) for view in (target, source)]
    return float(_BENT + _SURE * np.hypot(*many))


def refined(
    target: Thinned, source: Thinned, T: NDArray[np.float64], stages: Sequence[float]
) -> NDArray[np.float64]:
    """Refine a pose point to plane, with far points counting less and less (Open3D).

    Parameters
    ----------
    target, source : Thinned
    T : (4, 4) array
        T_target_source to begin from.
    stages : sequence of float, m
        Distances within which points are matched, one stage after the other.

    Returns
    -------
    (4, 4) array
        T_target_source; the start if nothing is near.
    """
    registration = open3d().pipelines.registration
    for reach in stages:
        loss = registration.TukeyLoss(_TUKEY * reach)
        T = registration.registration_icp(
            source.cloud,
            target.cloud,
            reach,
            T,
            registration.TransformationEstimationPointToPlane(loss),
            registration.ICPConvergenceCriteria(1e-5, 1e-5, _STEPS),
        ).transformation
    return np.array(T)


def placed(target: View, source: View, T: NDArray[np.float64], reach: float = REACH) -> Place:
    """Judge a place, both ways round.

    Parameters
    ----------
    target, source : View
    T : (4, 4) array
        T_target_source.
    reach : float, m
        Points farther from the other view do not overlap it.

    Returns
    -------
    Place
    """
    back = np.linalg.inv(T).astype(np.float64)
    there = met(target.fine, source.sample, source, T, reach)
    here = met(source.fine, target.sample, target, back, reach)
    shares = len(there) / len(source.sample), len(here) / len(target.sample)
    off = np.concatenate([there, here])
    blocked = max(_blocked(target, source, T), _blocked(source, target, back))
    scale = 3.0 * expected(target, source) / _NORMAL_MEDIAN
    agrees = np.exp(-((there / scale) ** 2)).sum() / len(source.sample)
    agreed = np.exp(-((here / scale) ** 2)).sum() / len(target.sample)
    misfit = min(patched(target.fine, source.fine, T), patched(source.fine, target.fine, back))
    like = np.exp(-blocked / _GUILT) / (1.0 + (misfit / evenness(target, source)) ** 2)
    return Place(
        T,
        overlap=float(max(shares)),
        residual=float(np.median(off)) if len(off) else float("inf"),
        misfit=misfit,
        blocked=blocked,
        score=float(like * max(agrees, agreed)),
    )


def patched(target: Thinned, source: Thinned, T: NDArray[np.float64]) -> float:
    """What patches of the source, 50 mm wide, disagree by with the target's surface.

    Parameters
    ----------
    target, source : Thinned
    T : (4, 4) array
        T_target_source.

    Returns
    -------
    float, m
        Standard deviation of the patches' means about none, from their upper quartile, so that
        a few patches may move: a tail, a knee. Infinite if there are hardly any.
    """
    moved = moved_by(T, source.points)
    near, place = (np.asarray(a) for a in target.tree.query(moved, distance_upper_bound=REACH))
    found = np.flatnonzero(np.isfinite(near))
    normals = target.normals[place[found]]
    facing = np.einsum("ij,ij->i", source.normals[found] @ T[:3, :3].T, normals) > _ALIGNED
    found, normals = found[facing], normals[facing]
    off = np.einsum("ij,ij->i", moved[found] - target.points[place[found]], normals)
    patch = source.patch[found]
    count = np.bincount(patch)
    means = np.bincount(patch, weights=off)[count >= _PATCH_LEAST] / count[count >= _PATCH_LEAST]
    if len(means) < _PATCHES_LEAST:
        return float("inf")
    return float(np.quantile(np.abs(means), 0.75) / _NORMAL_QUARTILE)


def met(
    target: Thinned,
    points: NDArray[np.float64],
    source: View,
    T: NDArray[np.float64],
    reach: float,
) -> NDArray[np.float64]:
    """Distances to the target's surface, m, of those points that find it facing their way."""
    moved = moved_by(T, points)
    near, place = (np.asarray(a) for a in target.tree.query(moved, distance_upper_bound=reach))
    own = source.fine.normals[np.asarray(source.fine.tree.query(points)[1])] @ T[:3, :3].T
    found = np.flatnonzero(np.isfinite(near))
    normals = target.normals[place[found]]
    facing = np.einsum("ij,ij->i", own[found], normals) > _ALIGNED
    off = moved[found] - target.points[place[found]]
    return np.asarray(np.abs(np.einsum("ij,ij->i", off, normals))[facing])


def _blocked(target: View, source: View, T: NDArray[np.float64]) -> float:
    if target.sight is None:
        return 0.0
    tolerance = IN_THE_WAY + 4.0 * (target.noise + source.noise)
    return float(in_the_way(target.sight, moved_by(T, source.sample), tolerance).mean())


def distinct(places: Sequence[Place], source: View) -> list[Place]:
    """Different places only, the best first."""
    ranked: list[Place] = []
    for place in sorted(places, key=lambda one: -one.score):
        if all(way(source.sample, place, other) > SAME for other in ranked):
            ranked.append(place)
    return ranked


def way(points: NDArray[np.float64], one: Place, other: Place) -> float:
    """Root mean square way, m, of points between two places."""
    off = moved_by(one.T_target_source, points) - moved_by(other.T_target_source, points)
    return float(np.sqrt((off**2).sum(axis=1).mean()))


def moved_by(T: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points under a transform, (n, 3) m."""
    return np.asarray(points @ T[:3, :3].T + T[:3, 3])


def _nearly_as_good(other: Place, best: Place, even: float) -> bool:
    return (
        other.misfit <= max(_AS_GOOD * best.misfit, even)
        and other.overlap >= _AS_WIDE * best.overlap
        and other.blocked <= best.blocked + _NO_PROOF
    )
