"""One view laid on another from many starts, and how far to trust where it came to lie.

A smooth back slides on itself with a small residual, so the residual alone proves nothing. A
place is believed when what overlaps agrees to the views' own noise, nothing lies in the way of
either camera, and no other place that any start led to fits nearly as well.
"""

from __future__ import annotations

from dataclasses import dataclass
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
_FINE_STAGES: Final = (0.05, 0.02)
_STEPS: Final = 30
_ALIGNED: Final = float(np.cos(np.radians(35.0)))
_FLOOR: Final = 0.0005  # m: what thinning leaves of a perfect fit's residual
_FINALISTS: Final = 4
_AS_GOOD: Final = 1.3  # a rival's disagreement over the best's
_AS_WIDE: Final = 0.6  # a rival's overlap over the best's
_NORMAL_MEDIAN: Final = 0.6745  # of the absolute value of a standard normal number
_GUILT: Final = 2.0  # what is in the way counts twice against what agrees


@dataclass(frozen=True)
class Place:
    """Where a source view lies on a target, and how well it lies there.

    Attributes
    ----------
    T_target_source : (4, 4) array.
    overlap : share of the smaller view that finds the other within `REACH`.
    residual : m, median distance of measured points to the other's surface where they overlap.
    blocked : share of a view's points that would lie in the way of the other's camera.
    score : what agrees, less what is in the way; higher is better.
    """

    T_target_source: NDArray[np.float64]
    overlap: float
    residual: float
    blocked: float
    score: float


@dataclass(frozen=True)
class Pair:
    """Two views and their best place.

    Attributes
    ----------
    place : the best.
    noise : m, median disagreement that the views' own noise explains.
    rival : the best other place that fits nearly as well, or None.
    apart : m, root mean square way between the two; 0 without a rival.
    """

    place: Place
    noise: float
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
    fine = [
        settled_place(target, source, place.T_target_source) for place in rough[:_FINALISTS]
    ]
    ranked = distinct(fine, source)
    best = ranked[0]
    rival = next((other for other in ranked[1:] if _nearly_as_good(other, best)), None)
    apart = 0.0 if rival is None else way(source.sample, best, rival)
    return Pair(best, expected(target, source), rival, apart)


def settled_place(target: View, source: View, T: NDArray[np.float64]) -> Place:
    """Refine a place to the end and judge it."""
    return placed(target, source, refined(target.fine, source.fine, T, _FINE_STAGES))


def expected(target: View, source: View) -> float:
    """Median disagreement, m, that noise alone makes between two views."""
    noise = np.sqrt((target.noise**2 + source.noise**2) / 2.0)
    return float(_NORMAL_MEDIAN * np.hypot(noise, _FLOOR))


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
        loss = registration.TukeyLoss(reach / 2.0)
        T = registration.registration_icp(
            source.cloud,
            target.cloud,
            reach,
            T,
            registration.TransformationEstimationPointToPlane(loss),
            registration.ICPConvergenceCriteria(1e-6, 1e-6, _STEPS),
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
    back = np.linalg.inv(T)
    there = met(target.fine, source.sample, source, T, reach)
    here = met(source.fine, target.sample, target, back, reach)
    shares = len(there) / len(source.sample), len(here) / len(target.sample)
    off = np.concatenate([there, here])
    blocked = max(_blocked(target, source, T), _blocked(source, target, back))
    scale = 3.0 * expected(target, source) / _NORMAL_MEDIAN
    agrees = np.exp(-((there / scale) ** 2)).sum() / len(source.sample)
    agreed = np.exp(-((here / scale) ** 2)).sum() / len(target.sample)
    return Place(
        T,
        overlap=float(max(shares)),
        residual=float(np.median(off)) if len(off) else float("inf"),
        blocked=blocked,
        score=float(max(agrees, agreed) - _GUILT * blocked),
    )


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


def _nearly_as_good(other: Place, best: Place) -> bool:
    return (
        other.residual <= _AS_GOOD * best.residual
        and other.overlap >= _AS_WIDE * best.overlap
        and other.blocked <= best.blocked + 0.01  # noqa: PLR2004 - a hundredth of a view is no proof
    )
