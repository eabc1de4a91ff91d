"""Where to begin laying one view on another: from a rough pose, or from shape alone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.spatial.transform import Rotation

from fitsim.scan.open3d_loader import open3d

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.scan.merging.view import Thinned, View

TURNS: Final = (15.0, 30.0)
"""deg: a rough pose is tried turned by these, both ways about three axes."""
SLIDES: Final = (0.08, 0.20)
"""m: and slid by these along the two long axes of the view."""

_MATCHES: Final = 6
_EDGE_LIKENESS: Final = 0.9
_TRIALS: Final = 40_000
_FEATURE_REACH: Final = 6.0  # spacings


def around(T: NDArray[np.float64], source: View) -> list[NDArray[np.float64]]:
    """A rough pose and its neighbours: turned about the view's middle, and slid along it.

    Parameters
    ----------
    T : (4, 4) array
        T_target_source.
    source : View

    Returns
    -------
    list of (4, 4) arrays
        The rough pose first, made a proper motion if rounding had spoilt it.
    """
    T = orthonormal(T)
    middle = source.sample.mean(axis=0)
    axes = np.linalg.svd(source.sample - middle, full_matrices=False)[2]
    moves = [_turned(sign * np.radians(deg) * axis, middle)
             for deg in TURNS for axis in axes for sign in (1.0, -1.0)]  # fmt: skip
    moves += [_slid(sign * by * axis) for by in SLIDES for axis in axes[:2] for sign in (1.0, -1.0)]
    return [T, *(T @ move for move in moves)]


def flipped(T: NDArray[np.float64], source: View) -> list[NDArray[np.float64]]:
    """A place turned end for end about each axis of the view: a trunk is nearly its own mirror."""
    middle = source.sample.mean(axis=0)
    axes = np.linalg.svd(source.sample - middle, full_matrices=False)[2]
    return [T @ _turned(np.pi * axis, middle) for axis in axes]


def matched(target: View, source: View, seed: int) -> list[NDArray[np.float64]]:
    """Poses found by matching features of shape.

    Parameters
    ----------
    target, source : View
    seed : int
        Everything random follows from it.

    Returns
    -------
    list of (4, 4) arrays
        T_target_source.

    References
    ----------
    Rusu et al. 2009, https://doi.org/10.1109/ROBOT.2009.5152473
    """
    o3d = open3d()
    registration = o3d.pipelines.registration
    one, other = _features(o3d, target.coarse), _features(o3d, source.coarse)
    found = []
    for number in range(_MATCHES):
        o3d.utility.random.seed(seed + number)
        result = registration.registration_ransac_based_on_feature_matching(
            source.coarse.cloud,
            target.coarse.cloud,
            other,
            one,
            number % 2 == 0,  # both ways round, or one way: fewer matches or more
            0.06,
            registration.TransformationEstimationPointToPoint(),
            3,
            [registration.CorrespondenceCheckerBasedOnEdgeLength(_EDGE_LIKENESS)],
            registration.RANSACConvergenceCriteria(_TRIALS, 0.999),
        )
        found.append(np.array(result.transformation))
    return found


def orthonormal(T: NDArray[np.float64]) -> NDArray[np.float64]:
    """The proper motion nearest a transform: rough poses are rounded.

    Examples
    --------
    >>> import numpy as np
    >>> T = np.eye(4)
    >>> T[0, 1] = 0.02
    >>> float(np.linalg.det(orthonormal(T)).round(12))
    1.0
    """
    u, _, vt = np.linalg.svd(T[:3, :3])
    proper = np.array(T, dtype=np.float64)
    proper[:3, :3] = u @ np.diag([1.0, 1.0, np.linalg.det(u @ vt)]) @ vt
    return proper


def _features(o3d: Any, thinned: Thinned) -> Any:  # noqa: ANN401 - Open3D has no types
    reach = o3d.geometry.KDTreeSearchParamHybrid(0.03 * _FEATURE_REACH, 120)
    return o3d.pipelines.registration.compute_fpfh_feature(thinned.cloud, reach)


def _turned(turn: NDArray[np.float64], middle: NDArray[np.float64]) -> NDArray[np.float64]:
    T = np.eye(4)
    T[:3, :3] = Rotation.from_rotvec(turn).as_matrix()
    T[:3, 3] = middle - T[:3, :3] @ middle
    return T


def _slid(by: NDArray[np.float64]) -> NDArray[np.float64]:
    T = np.eye(4)
    T[:3, 3] = by
    return T
