"""The bars over the back in one pose: how far, how much of each cell, and how it changes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.bars import Hinge, overhead, place_bar

if TYPE_CHECKING:
    from fitsim.contact.pose import Pose
    from fitsim.contact.problem import Problem

Array = NDArray[np.float64]

_EDGE_ON = 0.1  # cosine between ray and underside below which its slope is not used


@dataclass(frozen=True)
class Above:
    """The bars over the near nodes in one pose.

    Attributes
    ----------
    centre : (3,) array, m, body frame: the tree's centre, to which motion and moments refer.
    distance : (m,) array, m, skin to underside along the node's normal.
    cover : (m,) array, 0..1, share of the node's cell under the bar.
    closing : (m, 6 + j) array, decrease of distance per unit of motion.
    pushing : (m, 6 + j) array, generalised force on the tree per normal newton.
    turning : (m, j, 3) array, m, travel of the node's place per radian of each joint; 0 for the
        joints of the other bar.
    arms : (m, 3) array, m, from the tree's centre to the point of the underside above.
    inside, along : (m,) arrays, m and -, see `fitsim.contact.bars.Overhead`.
    """

    centre: Array
    distance: Array
    cover: Array
    closing: Array
    pushing: Array
    turning: Array
    arms: Array
    inside: Array
    along: Array


def look(problem: Problem, pose: Pose, guess: Array | None = None) -> Above:
    """Evaluate the bars over the near nodes.

    Parameters
    ----------
    problem : Problem
    pose : Pose
    guess : (m,) array, m, optional
        Distances in a neighbouring pose.

    Returns
    -------
    Above
    """
    count, size = len(problem.near), 6 + sum(problem.joints)
    above = Above(
        centre=problem.centre_tree @ pose.T_body_tree[:3, :3].T + pose.T_body_tree[:3, 3],
        distance=np.zeros(count),
        cover=np.zeros(count),
        closing=np.zeros((count, size)),
        pushing=np.zeros((count, size)),
        turning=np.zeros((count, size - 6, 3)),
        arms=np.zeros((count, 3)),
        inside=np.zeros(count),
        along=np.zeros(count),
    )
    first = 6
    for side, mounted in enumerate(problem.tree.bars):
        mine = np.flatnonzero(problem.bar == side)
        joints = slice(first, first + len(mounted.joints))
        angles = pose.angles[first - 6 : joints.stop - 6]
        T_body_bar, hinges = place_bar(pose.T_body_tree, mounted, angles)
        points, normals = problem.points[mine], problem.normals[mine]
        near = None if guess is None else guess[mine]
        hit = overhead(problem.faces[side], T_body_bar, points, normals, near)
        above.distance[mine], above.inside[mine] = hit.distance, hit.inside
        above.along[mine] = hit.along
        above.cover[mine] = np.clip(0.5 + hit.inside / problem.foundation.spacing, 0.0, 1.0)
        above.arms[mine] = hit.hit - above.centre
        facing = np.einsum("ni,ni->n", hit.normal, normals)
        lever = hit.normal / np.where(facing > _EDGE_ON, facing, 1.0)[:, None]
        above.closing[mine] = -_motion_along(lever, hit.hit, above.centre, hinges, joints, size)
        above.pushing[mine] = _motion_along(normals, points, above.centre, hinges, joints, size)
        for number, hinge in enumerate(hinges, start=first - 6):
            above.turning[mine, number] = np.cross(hinge.axis, points - hinge.point)
        first = joints.stop
    return above


def _motion_along(  # noqa: PLR0917 - directions at points, and all that can move them
    directions: Array,
    points: Array,
    centre: Array,
    hinges: tuple[Hinge, ...],
    joints: slice,
    size: int,
) -> Array:
    """Motion of points along directions per unit of each of the tree's motions, (n, size)."""
    rows = np.zeros((len(points), size))
    rows[:, :3] = directions
    rows[:, 3:6] = cross(points - centre, directions)
    for column, hinge in zip(range(joints.start, joints.stop), hinges, strict=True):
        rows[:, column] = cross(points - hinge.point, directions) @ hinge.axis
    return rows


def cross(a: Array, b: Array) -> Array:
    """Cross products of rows (n, 3), several times as fast as the general one."""
    product = np.empty_like(b)
    product[:, 0] = a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1]
    product[:, 1] = a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2]
    product[:, 2] = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return product
