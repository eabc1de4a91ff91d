"""Rigid registration of a tree's undersides against a back, with its result looked at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial.transform import Rotation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Chart

#: Farthest a point of the underside may be from the back to count, m.
REACH = 0.030

#: Least share of points that must find the back, -.
ENOUGH = 0.4

#: Largest turn (rad) and shift (m) from the coarse placement that is believed.
TURN, SHIFT = np.radians(15.0), 0.06


@dataclass(frozen=True)
class Registration:
    """Outcome of a registration.

    Attributes
    ----------
    T_body_tree : (4, 4) array; the starting pose where the result was not believed.
    believed : whether it passed the checks.
    notes : sentences for the user.
    """

    T_body_tree: NDArray[np.float64]
    believed: bool
    notes: tuple[str, ...] = ()


def registered(
    chart: Chart, points: NDArray[np.float64], T_start: NDArray[np.float64]
) -> Registration:
    """Register points of the undersides against the back's surface, point to plane.

    Parameters
    ----------
    chart : of the back.
    points : (n, 3) array, m, tree frame.
    T_start : (4, 4) array, T_body_tree of a coarse placement.

    Returns
    -------
    Registration
        small_gicp reports success for fits that found nothing or ran away; such a result is
        dropped, and said so.
    """
    import small_gicp

    target = small_gicp.PointCloud(np.ascontiguousarray(chart.points[chart.valid]))
    source = small_gicp.PointCloud(np.ascontiguousarray(points))
    tree = small_gicp.KdTree(target)
    small_gicp.estimate_normals(target, tree, num_neighbors=12)
    result = small_gicp.align(
        target,
        source,
        tree,
        T_start,
        registration_type="PLANE_ICP",
        max_correspondence_distance=REACH,
        max_iterations=80,
        rotation_epsilon=1e-4,
        translation_epsilon=1e-4,
    )
    T = np.asarray(result.T_target_source, dtype=np.float64)
    found = result.num_inliers / len(points)
    fault = _fault(T_start, T, found, converged=result.converged)
    if fault is None:
        return Registration(T, believed=True)
    return Registration(
        T_start.copy(),
        believed=False,
        notes=(f"the tree was laid on without registration: {fault}",),
    )


def _fault(
    T_start: NDArray[np.float64], T: NDArray[np.float64], found: float, *, converged: bool
) -> str | None:
    """Why a result is not believed, if it is not."""
    if not np.isfinite(T).all():
        return "it gave no numbers"
    turn = Rotation.from_matrix(T[:3, :3] @ T_start[:3, :3].T).magnitude()
    # The slide along the spine is not held against it: the station is put back afterwards.
    shift = np.linalg.norm((T[:3, 3] - T_start[:3, 3])[1:])
    if found < ENOUGH:
        return f"only {found:.0%} of the bars came near the back"
    if turn > TURN or shift > SHIFT:
        return f"it ran {shift * 1e3:.0f} mm and {np.degrees(turn):.0f} deg away"
    if not converged:
        return "it did not settle"
    return None
