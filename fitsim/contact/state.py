"""The tree in one pose with one set of contact forces, and what is out of balance there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.applied import applied_forces, wrench, wrench_change
from fitsim.contact.bars import Hinge, about, overhead, place_bar
from fitsim.contact.friction import Shear, coulomb, slide
from fitsim.contact.stiffening import linear_sinking
from fitsim.rig.pad import pad_compliance, pad_compression

if TYPE_CHECKING:
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

# A cell of which a share w lies under the bar is softer by this much of its own compliance
# times (1/w - 1): force fades out smoothly as a bar's edge leaves a cell.
_PARTIAL_CELL = 0.5
_STOP_STIFFNESS = 2.0e3  # N*m/rad, of a hinge against its stop: stiff beside any back


@dataclass(frozen=True)
class Pose:
    """Where the tree is: T_body_tree (4, 4) and joint angles (j,) rad, left bar's first."""

    T_body_tree: Array
    angles: Array

    def moved(self, step: Array, centre: Array) -> Pose:
        """Pose after a step (6 + j,): translation m, rotation rad about a body point, joints."""
        T = about(centre, step[3:6]) @ self.T_body_tree
        T[:3, 3] += step[:3]
        return Pose(T, self.angles + step[6:])


@dataclass(frozen=True)
class Above:
    """The bars over the near nodes in one pose.

    Attributes
    ----------
    distance : (m,) array, m, skin to underside along the node's normal.
    cover : (m,) array, 0..1, share of the node's cell under the bar.
    closing : (m, 6 + j) array, decrease of distance per unit of motion.
    pushing : (m, 6 + j) array, generalised force on the tree per normal newton.
    arms : (m, 3) array, m, contact point from the tree's centre.
    inside, along : (m,) arrays, see `fitsim.contact.bars.Overhead`.
    centre : (3,) array, m, body frame.
    """

    distance: Array
    cover: Array
    closing: Array
    pushing: Array
    arms: Array
    inside: Array
    along: Array
    centre: Array


def look(problem: Problem, pose: Pose) -> Above:
    """Evaluate the bars over the near nodes."""
    count = len(problem.near)
    size = 6 + sum(problem.joints)
    above = Above(
        *(np.zeros(count) for _ in range(2)),
        np.zeros((count, size)),
        np.zeros((count, size)),
        np.zeros((count, 3)),
        *(np.zeros(count) for _ in range(2)),
        problem.centre_tree @ pose.T_body_tree[:3, :3].T + pose.T_body_tree[:3, 3],
    )
    first = 6
    for side, mounted in enumerate(problem.tree.bars):
        mine = np.flatnonzero(problem.bar == side)
        angles = pose.angles[first - 6 : first - 6 + len(mounted.joints)]
        T_body_bar, hinges = place_bar(pose.T_body_tree, mounted, angles)
        _look_at_bar(problem, above, side, mine, T_body_bar, hinges, first)
        first += len(mounted.joints)
    return above


def _look_at_bar(  # noqa: PLR0913 - one bar's share of `look`
    problem: Problem,
    above: Above,
    side: int,
    mine: NDArray[np.int_],
    T_body_bar: Array,
    hinges: tuple[Hinge, ...],
    first: int,
) -> None:
    """Fill one bar's rows of `above`."""
    points, normals = problem.points[mine], problem.normals[mine]
    hit = overhead(problem.faces[side], T_body_bar, points, normals)
    above.distance[mine], above.inside[mine] = hit.distance, hit.inside
    above.along[mine] = hit.along
    above.cover[mine] = np.clip(0.5 + hit.inside / problem.foundation.spacing, 0.0, 1.0)
    facing = np.einsum("ni,ni->n", hit.normal, normals)
    lever = hit.normal / np.where(facing > 0.1, facing, 1.0)[:, None]  # noqa: PLR2004
    above.arms[mine] = hit.hit - above.centre
    from_skin = points - above.centre
    above.closing[mine, :3] = -lever
    above.closing[mine, 3:6] = -np.cross(above.arms[mine], lever)
    above.pushing[mine, :3] = normals
    above.pushing[mine, 3:6] = np.cross(from_skin, normals)
    for number, hinge in enumerate(hinges):
        travel = np.cross(hinge.axis, hit.hit - hinge.point)
        above.closing[mine, first + number] = -np.einsum("ni,ni->n", lever, travel)
        travel = np.cross(hinge.axis, points - hinge.point)
        above.pushing[mine, first + number] = np.einsum("ni,ni->n", normals, travel)


@dataclass(frozen=True)
class Skin:
    """How far each near node is from obeying the contact law under given normal forces.

    Attributes
    ----------
    excess : (m,) array, m, linear sinking in force minus that asked for by the bar's position;
        0 in contact, positive where the skin has sunk clear of the bar.
    slope : (m,) array, -, change of the asked-for sinking per indentation.
    own : (m,) array, m/N, compliance added to the back's by pad and partial cells.
    """

    excess: Array
    slope: Array
    own: Array


def press(problem: Problem, above: Above, force: Array) -> Skin:
    """Hold normal forces (m,) N against the contact law of every near node."""
    foundation, pad = problem.foundation, problem.pad
    covered = above.cover > 0.0
    cover = np.where(covered, above.cover, 1.0)
    area = foundation.area[problem.near] * cover
    partial = _PARTIAL_CELL * np.diagonal(problem.compliance) * (1.0 / cover - 1.0)
    sinking = problem.compliance @ force + partial * force
    pressure = np.clip(force, 0.0, None) / area
    squeezed = pad.thickness * pad_compression(pad, pressure)
    softness = pad.thickness * pad_compliance(pad, pressure) / area
    asked, slope = linear_sinking(
        pad.thickness - above.distance - squeezed, foundation.depth[problem.near]
    )
    excess = np.where(covered, sinking - asked, np.inf)
    return Skin(excess, slope, partial + slope * softness)


@dataclass(frozen=True)
class Balance:
    """What is out of balance and how it changes.

    Attributes
    ----------
    unbalanced : (6 + j,) array, N and N*m, on the tree about its centre, and on the joints.
    change : (6 + j, 6 + j) array, change with motion at constant normal forces.
    by_normal : (m, 6 + j) array, change per normal newton, friction included.
    scale : N, sum of the sizes of all applied forces.
    shear : tangential forces.
    """

    unbalanced: Array
    change: Array
    by_normal: Array
    scale: float
    shear: Shear


def weigh(problem: Problem, case: Case, pose: Pose, above: Above, force: Array) -> Balance:
    """Add up everything that acts on the tree in one pose."""
    shear = _shear(problem, pose, above, force)
    applied = applied_forces(case, pose.T_body_tree)
    size = 6 + sum(problem.joints)
    total, change = np.zeros(size), np.zeros((size, size))
    from_skin = problem.points - above.centre
    total[:6] = wrench(applied, above.centre)
    total += force @ above.pushing
    total[:3] += shear.force.sum(axis=0)
    total[3:6] += np.cross(from_skin, shear.force).sum(axis=0)
    change[:6, :6] = wrench_change(case, pose.T_body_tree, above.centre)
    change[:3, :6] += shear.by_slide.sum(axis=0)
    change[3:6, :6] += _moment_of(from_skin, shear.by_slide)
    by_normal = above.pushing.copy()
    by_normal[:, :3] += shear.by_normal
    by_normal[:, 3:6] += np.cross(from_skin, shear.by_normal)
    _add_joints(problem, pose, total, change)
    scale = float(sum(np.linalg.norm(one.force) for one in applied))
    return Balance(total, change, by_normal, scale, shear)


def _moment_of(arms: Array, forces: Array) -> Array:
    """Sum over nodes of arm x force for (n, 3, c) force columns: (3, c)."""
    x, y, z = arms.T
    fx, fy, fz = forces[:, 0], forces[:, 1], forces[:, 2]
    return np.stack([y @ fz - z @ fy, z @ fx - x @ fz, x @ fy - y @ fx])


def _shear(problem: Problem, pose: Pose, above: Above, force: Array) -> Shear:
    """Tangential forces in this pose."""
    foundation, pad = problem.foundation, problem.pad
    compliance = foundation.shear_compliance[problem.near] + pad.thickness / pad.shear_modulus
    touching = np.where(force > 0.0, above.cover, 0.0)
    stiffness = foundation.area[problem.near] * touching / compliance
    slid = slide(pose.T_body_tree, problem.T_body_tree_seat, problem.centre_tree)
    return coulomb(slid, above.arms, problem.normals, stiffness, force, pad.friction)


def _add_joints(problem: Problem, pose: Pose, total: Array, change: Array) -> None:
    """Springs and stops of the joints."""
    joints = [joint for bar in problem.tree.bars for joint in bar.joints]
    for number, (joint, angle) in enumerate(zip(joints, pose.angles, strict=True)):
        low, high = joint.stops
        beyond = angle - min(max(angle, low), high)
        stiffness = joint.stiffness + (_STOP_STIFFNESS if beyond != 0.0 else 0.0)
        total[6 + number] -= joint.stiffness * angle + _STOP_STIFFNESS * beyond
        change[6 + number, 6 + number] -= stiffness
