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
Index = NDArray[np.int_]

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
    covering : (m, 6 + j) array, increase of cover per unit of motion; 0 where none or all of a cell
        is covered.
    pushing : (m, 6 + j) array, generalised force on the tree per normal newton.
    turning : (m, j, 3) array, m, travel of the node's place per radian of each joint; 0 for the
        joints of the other bar.
    hinges : every joint as it stands, with the bar it carries.
    arms : (m, 3) array, m, from the tree's centre to the point of the underside above.
    inside, along : (m,) arrays, m and -, see `fitsim.contact.bars.Overhead`.
    """

    centre: Array
    distance: Array
    cover: Array
    closing: Array
    covering: Array
    pushing: Array
    turning: Array
    hinges: tuple[tuple[int, Hinge], ...]
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
    centre = problem.centre_tree @ pose.T_body_tree[:3, :3].T + pose.T_body_tree[:3, 3]
    placed, hinges = place_bars(problem, pose)
    points, normals, bar = problem.points, problem.normals, problem.bar
    hit = overhead(problem.face, placed, points, normals, guess, bar)
    facing = np.einsum("ni,ni->n", hit.normal, normals)
    lever = hit.normal / np.where(facing > _EDGE_ON, facing, 1.0)[:, None]
    arms = hit.hit - centre
    turning = np.zeros((len(points), len(hinges), 3))
    for number, (side, hinge) in enumerate(hinges):
        own = bar == side
        turning[own, number] = cross_with(hinge.axis, points[own] - hinge.point)
    closing = -_motion_along(lever, hit.hit, centre, hinges, bar)
    cover = np.clip(0.5 + hit.inside / problem.foundation.spacing, 0.0, 1.0)
    cut = (cover > 0.0) & (cover < 1.0)
    # The bar takes its outline along, and the node's ray is met farther up or down.
    entering = -_motion_along(hit.inward[cut], hit.hit[cut], centre, hinges, bar[cut])
    entering -= np.einsum("ni,ni->n", hit.inward[cut], normals[cut])[:, None] * closing[cut]
    covering = np.zeros_like(closing)
    covering[cut] = entering / problem.foundation.spacing
    return Above(
        centre=centre,
        distance=hit.distance,
        cover=cover,
        closing=closing,
        covering=covering,
        pushing=_motion_along(normals, points, centre, hinges, bar),
        turning=turning,
        hinges=tuple(hinges),
        arms=arms,
        inside=hit.inside,
        along=hit.along,
    )


def place_bars(problem: Problem, pose: Pose) -> tuple[Array, list[tuple[int, Hinge]]]:
    """Poses (b, 4, 4) of the bars, and every hinge with the bar it carries."""
    placed, hinges, first = [], [], 0
    for side, mounted in enumerate(problem.tree.bars):
        last = first + len(mounted.joints)
        T_body_bar, own = place_bar(pose.T_body_tree, mounted, pose.angles[first:last])
        placed.append(T_body_bar)
        hinges += [(side, hinge) for hinge in own]
        first = last
    return np.array(placed), hinges


def _motion_along(
    directions: Array,
    points: Array,
    centre: Array,
    hinges: list[tuple[int, Hinge]],
    bar: Index,
) -> Array:
    """Motion of points along directions per unit of each of the tree's motions, (n, 6 + j)."""
    rows = np.zeros((len(points), 6 + len(hinges)))
    rows[:, :3] = directions
    rows[:, 3:6] = cross(points - centre, directions)
    for column, (side, hinge) in enumerate(hinges, start=6):
        own = bar == side
        rows[own, column] = cross(points[own] - hinge.point, directions[own]) @ hinge.axis
    return rows


def cross_with(axis: Array, b: Array) -> Array:
    """Cross products of one vector (3,) with rows (n, 3)."""
    return cross(np.broadcast_to(axis, b.shape), b)


def cross(a: Array, b: Array) -> Array:
    """Cross products of rows (n, 3), several times as fast as the general one."""
    product = np.empty_like(b)
    product[:, 0] = a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1]
    product[:, 1] = a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2]
    product[:, 2] = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return product
