"""Two partial views of one surface laid on each other, and how far to trust that.

Candidates come from feature matching (FPFH, Rusu et al. 2009,
https://doi.org/10.1109/ROBOT.2009.5152473, with sample consensus) and from a start if there is
one; each is refined point to plane. A smooth back slides on itself with a small residual, so the
residual alone proves nothing: candidates that end elsewhere with nearly the same overlap are the
measure of doubt.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

VOXEL: Final = 0.020
"""Spacing to which views are thinned before they are compared, m."""
REACH: Final = 0.030
"""Points farther from the other view than this do not overlap it, m."""

_STAGES: Final = (0.12, 0.06, REACH)  # m, search distance from coarse to fine
_ALIGNED: Final = np.cos(np.radians(30.0))
_NEAR: Final = 0.92  # share of the best score at which another place is as good
_SAME: Final = 0.010  # m: candidates closer than this are one place


@dataclass(frozen=True)
class Thinned:
    """A view made ready for comparison.

    Attributes
    ----------
    points : (n, 3) array, m.
    normals : (n, 3) array, towards the camera or any one side.
    cloud : Open3D's cloud of the same points.
    features : Open3D's FPFH features of them.
    """

    points: NDArray[np.float64]
    normals: NDArray[np.float64]
    cloud: Any
    features: Any


@dataclass(frozen=True)
class Laid:
    """One view laid on another.

    Attributes
    ----------
    T_target_source : (4, 4) array.
    overlap : float, share of the smaller view that finds the other.
    residual : float, m, median distance point to plane where they overlap.
    doubt : float, m, how far the best other place that fits nearly as well lies away; 0 if none.
    information : (6, 6) array, weight of the pair in a pose graph.
    """

    T_target_source: NDArray[np.float64]
    overlap: float
    residual: float
    doubt: float
    information: NDArray[np.float64]


def thinned(points: NDArray[np.float64]) -> Thinned:
    """Thin a cloud evenly, with normals and features.

    Parameters
    ----------
    points : (n, 3) array, m
        In the view's own frame, camera at the origin.

    Returns
    -------
    Thinned
    """
    from fitsim.scan.open3d_loader import open3d

    o3d = open3d()
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(points)).voxel_down_sample(VOXEL)
    cloud.estimate_normals(o3d.geometry.KDTreeSearchParamHybrid(2.5 * VOXEL, 30))
    cloud.orient_normals_towards_camera_location(np.zeros(3))
    features = o3d.pipelines.registration.compute_fpfh_feature(
        cloud, o3d.geometry.KDTreeSearchParamHybrid(8 * VOXEL, 120)
    )
    return Thinned(np.asarray(cloud.points), np.asarray(cloud.normals), cloud, features)


def laid(
    target: Thinned,
    source: Thinned,
    start: NDArray[np.float64] | None = None,
    *,
    tries: int = 6,
    seed: int = 0,
) -> Laid:
    """Lay `source` on `target`.

    Parameters
    ----------
    target, source : Thinned
    start : (4, 4) array, optional
        Rough T_target_source; it is varied by a few degrees and centimetres to see if the
        views slide. Without it places are found by feature matching.
    tries : int
        How many candidates.
    seed : int
        Everything random follows from it.

    Returns
    -------
    Laid
        The best, however poor: the caller judges it.
    """
    starts = (
        _matched(target, source, tries, seed)
        if start is None
        else _varied(start, source, tries, seed)
    )
    refined = [_refined(target, source, T) for T in starts]
    tree = cKDTree(target.points)
    scored = [(_met(target, source, T, tree), T) for T in refined]
    score = np.array([_score(distance) for distance, _ in scored])
    best = int(score.argmax())
    distance, T = scored[best]
    smaller = min(len(target.points), len(source.points))
    return Laid(
        T,
        overlap=min(1.0, len(distance) / smaller),
        residual=float(np.median(distance)) if len(distance) else np.inf,
        doubt=_doubt(source, refined, score, best),
        information=_information(target, source, T),
    )


def _matched(target: Thinned, source: Thinned, tries: int, seed: int) -> list[NDArray[np.float64]]:
    from fitsim.scan.open3d_loader import open3d

    o3d = open3d()
    registration = o3d.pipelines.registration
    found = []
    for number in range(tries):
        o3d.utility.random.seed(seed + number)
        result = registration.registration_ransac_based_on_feature_matching(
            source.cloud,
            target.cloud,
            source.features,
            target.features,
            True,  # noqa: FBT003 - Open3D takes it by place: both ways round
            3 * VOXEL,
            registration.TransformationEstimationPointToPoint(),
            3,
            [registration.CorrespondenceCheckerBasedOnEdgeLength(0.9)],
            registration.RANSACConvergenceCriteria(30_000, 0.999),
        )
        found.append(np.array(result.transformation))
    return found


def _varied(
    start: NDArray[np.float64], source: Thinned, tries: int, seed: int
) -> list[NDArray[np.float64]]:
    rng = np.random.default_rng(seed)
    centre = start[:3, :3] @ source.points.mean(axis=0) + start[:3, 3]
    found = [_orthonormal(start)]
    for _ in range(tries - 1):
        T = np.eye(4)
        T[:3, :3] = Rotation.from_rotvec(np.radians(5.0) * rng.standard_normal(3)).as_matrix()
        T[:3, 3] = centre - T[:3, :3] @ centre + 0.03 * rng.standard_normal(3)
        found.append(T @ found[0])
    return found


def _orthonormal(T: NDArray[np.float64]) -> NDArray[np.float64]:
    u, _, vt = np.linalg.svd(T[:3, :3])
    clean = np.array(T, dtype=np.float64)
    clean[:3, :3] = u @ np.diag([1.0, 1.0, np.linalg.det(u @ vt)]) @ vt
    return clean


def _refined(target: Thinned, source: Thinned, T: NDArray[np.float64]) -> NDArray[np.float64]:
    from fitsim.scan.open3d_loader import open3d

    registration = open3d().pipelines.registration
    for reach in _STAGES:
        T = registration.registration_icp(
            source.cloud,
            target.cloud,
            reach,
            T,
            registration.TransformationEstimationPointToPlane(registration.TukeyLoss(reach / 2)),
            registration.ICPConvergenceCriteria(1e-6, 1e-6, 30),
        ).transformation
    return np.array(T)


def _met(
    target: Thinned, source: Thinned, T: NDArray[np.float64], tree: cKDTree
) -> NDArray[np.float64]:
    """Distances point to plane, m, of the source's points that find the target."""
    moved = source.points @ T[:3, :3].T + T[:3, 3]
    near, place = (np.asarray(a) for a in tree.query(moved, distance_upper_bound=REACH))
    found = np.flatnonzero(np.isfinite(near))
    place = place[found]
    aligned = (
        np.einsum("ij,ij->i", source.normals[found] @ T[:3, :3].T, target.normals[place]) > _ALIGNED
    )
    off = moved[found][aligned] - target.points[place[aligned]]
    return np.asarray(np.abs(np.einsum("ij,ij->i", off, target.normals[place[aligned]])))


def _score(distance: NDArray[np.float64]) -> float:
    """Overlap in which close points count more."""
    return float(np.exp(-((distance / 0.008) ** 2)).sum())


def _doubt(
    source: Thinned, refined: Sequence[NDArray[np.float64]], score: NDArray[np.float64], best: int
) -> float:
    if score[best] == 0.0:
        return float("inf")
    sample = source.points[:: max(1, len(source.points) // 500)]
    placed = [sample @ T[:3, :3].T + T[:3, 3] for T in refined]
    away = np.array([np.linalg.norm(p - placed[best], axis=1).mean() for p in placed])
    rivals = (score >= _NEAR * score[best]) & (away > _SAME)
    return float(away[rivals].max(initial=0.0))


def _information(target: Thinned, source: Thinned, T: NDArray[np.float64]) -> NDArray[np.float64]:
    from fitsim.scan.open3d_loader import open3d

    registration = open3d().pipelines.registration
    return np.array(
        registration.get_information_matrix_from_point_clouds(source.cloud, target.cloud, REACH, T)
    )
