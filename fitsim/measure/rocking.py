"""Rocking: how far the tree pitches under a test moment, about which place, with what play."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial.transform import Rotation

from fitsim.measure.measures import Rocking

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from fitsim.tree.tree import Tree

    Array = NDArray[np.float64]

# N*m about the body's y axis; positive presses the front down.
TEST_MOMENTS = (-10.0, -5.0, 0.0, 5.0, 10.0)
_NO_TURN = 1e-12  # m: ends that rise alike to this have not turned


def rocking(tree: Tree, pose_under: Callable[[float], Array | None]) -> Rocking | None:
    """Rock the tree with the test moments and measure how it answers.

    Parameters
    ----------
    tree : Tree
        Its bars tell where their ends are.
    pose_under : callable
        Equilibrium pose ``T_body_tree``, (4, 4), under an extra moment (N*m) about the body's y
        axis on top of the case; None where the tree does not stay.

    Returns
    -------
    Rocking or None
        None where a test moment alone takes the tree off.
    """
    poses = []
    for moment in TEST_MOMENTS:
        pose = pose_under(moment)
        if pose is None:
            return None
        poses.append(pose)
    return rocking_from_poses(np.array(TEST_MOMENTS), np.stack(poses), *bar_ends(tree))


def rocking_from_poses(moments: Array, poses: Array, front: Array, rear: Array) -> Rocking:
    """Rocking from poses already solved.

    Parameters
    ----------
    moments : (m,) array, N*m
        Ascending, at least four: two at either end show how stiff the contact is there.
    poses : (m, 4, 4) array
        T_body_tree under each.
    front, rear : (3,) arrays, m
        Front and rear end of the bars' middle, tree frame.

    Returns
    -------
    Rocking
        `pivot_along` may lie off the bar (below 0 or above 1), and is nan where nothing turns.

    Notes
    -----
    Free play is the pitch over the whole range less what the contact explains, that is the pitch
    it would make if it were as stiff throughout as in the two outer steps: 0 for a linear
    contact, the angle of idle rocking for one that tips over from one seat to another.

    Examples
    --------
    >>> moments = np.array([-10.0, -5.0, 5.0, 10.0])
    >>> pitch = 1e-3 * moments + 5e-3 * np.sign(moments)  # 1 mrad per N*m and 10 mrad of play
    >>> poses = np.stack([pose_pitched(angle, np.zeros(3)) for angle in pitch])
    >>> found = rocking_from_poses(moments, poses, np.array([0.3, 0, 0]), np.array([-0.3, 0, 0]))
    >>> round(found.rad_per_nm, 5), round(found.pivot_along, 3), round(found.free_play, 5)
    (0.0015, 0.5, 0.01)
    """
    pitch = np.array([pitch_of(poses[0], pose) for pose in poses])
    span = float(moments[-1] - moments[0])
    slopes = np.diff(pitch) / np.diff(moments)
    explained = 0.5 * (slopes[0] + slopes[-1]) * span
    return Rocking(
        rad_per_nm=float(pitch[-1]) / span,
        pivot_along=pivot_along(poses[0], poses[-1], front, rear),
        free_play=max(float(pitch[-1] - explained), 0.0),
    )


def pitch_of(T_body_first: Array, T_body_second: Array) -> float:
    """Pitch from one pose to another, rad: positive where the front goes down.

    Parameters
    ----------
    T_body_first, T_body_second : (4, 4) arrays
        Poses of the tree.

    Returns
    -------
    float, rad
        About the body's y axis, of the turn between them as a rotation vector.

    Examples
    --------
    >>> round(pitch_of(np.eye(4), pose_pitched(0.02, np.array([0.1, 0.0, 0.0]))), 12)
    0.02
    """
    turn = T_body_second[:3, :3] @ T_body_first[:3, :3].T
    return float(Rotation.from_matrix(turn).as_rotvec()[1])


def pivot_along(T_body_first: Array, T_body_second: Array, front: Array, rear: Array) -> float:
    """Station of the bar that neither rises nor falls between two poses.

    Parameters
    ----------
    T_body_first, T_body_second : (4, 4) arrays
        Poses of the tree.
    front, rear : (3,) arrays, m
        Ends of the bars' middle, tree frame.

    Returns
    -------
    float, -
        0 at the front end, 1 at the rear; nan where the bar does not pitch.

    Examples
    --------
    >>> tipped = pose_pitched(0.01, np.array([0.15, 0.0, 0.0]))
    >>> round(pivot_along(np.eye(4), tipped, np.array([0.3, 0, 0]), np.array([-0.3, 0, 0])), 3)
    0.25
    """
    rise_front, rise_rear = (
        float(((T_body_second - T_body_first) @ np.append(point, 1.0))[2])
        for point in (front, rear)
    )
    fall = rise_front - rise_rear
    if abs(fall) < _NO_TURN:
        return float("nan")
    return rise_front / fall


def pose_pitched(angle: float, about: Array) -> Array:
    """Pose turned about an axis along y through a point.

    Parameters
    ----------
    angle : float, rad
        Positive presses the front down.
    about : (3,) array, m

    Returns
    -------
    (4, 4) array
    """
    cos, sin = np.cos(angle), np.sin(angle)
    pose = np.eye(4)
    pose[:3, :3] = [[cos, 0.0, sin], [0.0, 1.0, 0.0], [-sin, 0.0, cos]]
    pose[:3, 3] = about - pose[:3, :3] @ about
    return pose


def bar_ends(tree: Tree) -> tuple[Array, Array]:
    """Front and rear end of the bars' middle line, mean of the two bars.

    Parameters
    ----------
    tree : Tree
        Any tree.

    Returns
    -------
    front, rear : (3,) arrays, m
        Tree frame.
    """
    ends = [
        [bar.T_tree_bar @ np.array([xi, 0.0, 0.0, 1.0]) for bar in tree.bars]
        for xi in (
            np.mean([bar.underside.front for bar in tree.bars]),
            np.mean([bar.underside.rear for bar in tree.bars]),
        )
    ]
    front, rear = (np.asarray(np.mean(end, axis=0)[:3]) for end in ends)
    return front, rear
