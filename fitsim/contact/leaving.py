"""Which way a tree leaves a back that cannot hold it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

if TYPE_CHECKING:
    from fitsim.contact.equilibrium import Way
    from fitsim.contact.pose import Pose
    from fitsim.contact.problem import Problem

Array = NDArray[np.float64]

# A tree that has tilted or travelled this far since it was laid on is taken as leaving: it no
# longer lies where anybody would leave it, whatever might hold it farther on.
TILT = np.deg2rad(15.0)
TRAVEL = 0.06  # m

_WAYS: tuple[tuple[Way, Way], ...] = (
    ("slides forward", "slides back"),
    ("slides left", "slides right"),
    ("lifts off", "sinks in"),
    ("rolls right", "rolls left"),
    ("tips forward", "tips back"),
    ("turns left", "turns right"),
)


def leaving(
    problem: Problem, pose: Pose, *, slack: float = 0.0, at_end: bool = False
) -> Way | None:
    """Name the way the tree is leaving, or None while it may still come to rest.

    Parameters
    ----------
    problem : Problem
    pose : Pose
        Where the tree is now.
    slack : float, m
        Of the straps that hold the tree back: it may travel so much farther before they can.
    at_end : bool
        No more steps will be taken: name the largest motion so far.

    Returns
    -------
    Way or None
        Positive roll lowers the animal's right side, positive pitch the front.
    """
    motion = motion_since_seat(problem, pose)
    share = np.abs(motion) / np.array([TRAVEL + slack, TRAVEL, TRAVEL, TILT, TILT, TILT])
    if share.max() < 1.0 and not at_end:
        return None
    worst = int(share.argmax())
    return _WAYS[worst][0 if motion[worst] > 0.0 else 1]


def motion_since_seat(problem: Problem, pose: Pose) -> Array:
    """Travel of the tree's middle (m) and turn (rad) since it was seated, (6,) body frame."""
    seat = problem.T_body_tree_seat
    centre = problem.centre_tree
    now = pose.T_body_tree[:3, :3] @ centre + pose.T_body_tree[:3, 3]
    travel = now - (seat[:3, :3] @ centre + seat[:3, 3])
    turn = Rotation.from_matrix(pose.T_body_tree[:3, :3] @ seat[:3, :3].T).as_rotvec()
    return np.concatenate([travel, turn])
