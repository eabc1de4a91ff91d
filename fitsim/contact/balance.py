"""Everything that acts on the tree, added up, and how it changes as the tree moves."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.above import cross
from fitsim.contact.applied import applied_forces, wrench, wrench_change
from fitsim.contact.friction import Shear, coulomb, slide

if TYPE_CHECKING:
    from fitsim.contact.above import Above
    from fitsim.contact.pose import Pose
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case

Array = NDArray[np.float64]

_STOP_STIFFNESS = 2.0e3  # N*m/rad, of a hinge against its stop: stiff beside any back


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
    total[3:6] += cross(from_skin, shear.force).sum(axis=0)
    total[6:] += np.einsum("njc,nc->j", above.turning, shear.force)
    change[:6, :6] = wrench_change(case, pose.T_body_tree, above.centre)
    change[:3, :6] += shear.by_slide.sum(axis=0)
    change[3:6, :6] += _moment_of(from_skin, shear.by_slide)
    change[6:, :6] += np.einsum("njc,ncq->jq", above.turning, shear.by_slide)
    _add_by_cover(above, from_skin, shear, change)
    _add_hinge_travel(problem, above, force[:, None] * problem.normals + shear.force, change)
    by_normal = above.pushing.copy()
    by_normal[:, :3] += shear.by_normal
    by_normal[:, 3:6] += cross(from_skin, shear.by_normal)
    by_normal[:, 6:] += np.einsum("njc,nc->nj", above.turning, shear.by_normal)
    _add_joints(problem, pose, total, change)
    scale = float(sum(np.linalg.norm(one.force) for one in applied))
    return Balance(total, change, by_normal, scale, shear)


def share_of_load(problem: Problem, balance: Balance, unbalanced: Array) -> float:
    """Largest component of a generalised force (6 + j,) as a share of the applied load.

    Moments are made comparable with forces by half the bar's length.
    """
    size = np.abs(unbalanced)
    size[3:] /= problem.half_length
    return float(size.max() / balance.scale)


def _moment_of(arms: Array, forces: Array) -> Array:
    """Sum over nodes of arm x force for (n, 3, c) force columns: (3, c)."""
    x, y, z = arms.T
    fx, fy, fz = forces[:, 0], forces[:, 1], forces[:, 2]
    return np.stack([y @ fz - z @ fy, z @ fx - x @ fz, x @ fy - y @ fx])


def _add_by_cover(above: Above, from_skin: Array, shear: Shear, change: Array) -> None:
    """Shear of nodes that stick, of which more comes under the bar: it stiffens with the cover."""
    sticking = (above.cover > 0.0) & ~shear.slipping
    more = np.where(sticking, 1.0 / np.where(sticking, above.cover, 1.0), 0.0)
    by_cover = shear.force * more[:, None]
    change[:3] += by_cover.T @ above.covering
    change[3:6] += cross(from_skin, by_cover).T @ above.covering
    change[6:] += np.einsum("njc,nc->jn", above.turning, by_cover) @ above.covering


def _add_hinge_travel(problem: Problem, above: Above, force: Array, change: Array) -> None:
    """Moments of the skin's forces (m, 3) N about hinges that travel and turn with the tree."""
    for number, (side, hinge) in enumerate(above.hinges):
        own = problem.bar == side
        moment = cross(problem.points[own] - hinge.point, force[own]).sum(axis=0)
        lever = np.cross(force[own].sum(axis=0), hinge.axis)
        turned = np.cross(hinge.axis, moment)
        change[6 + number, :3] -= lever
        change[6 + number, 3:6] += turned - np.cross(hinge.point - above.centre, lever)
        for inner, (other, before) in enumerate(above.hinges[:number]):
            if other == side:
                travel = np.cross(before.axis, hinge.point - before.point)
                change[6 + number, 6 + inner] += before.axis @ turned - travel @ lever


def _shear(problem: Problem, pose: Pose, above: Above, force: Array) -> Shear:
    """Tangential forces in this pose."""
    foundation, pad = problem.foundation, problem.pad
    compliance = foundation.shear_compliance[problem.near] + pad.thickness / pad.shear_modulus
    touching = np.where(force > 0.0, above.cover, 0.0)
    stiffness = foundation.area[problem.near] * touching / compliance
    slid = slide(pose.T_body_tree, problem.T_body_tree_seat, problem.centre_tree)
    shear = coulomb(
        slid,
        above.arms,
        problem.normals,
        stiffness=stiffness,
        limit=force,
        coefficient=pad.friction,
    )
    # As the tree's centre travels, a place on the skin lies otherwise from it: yaw slides it so.
    yaw, along, across = slid[2], shear.by_slide[:, :, 0], shear.by_slide[:, :, 1]
    by_slide = shear.by_slide.copy()
    by_slide[:, :, 0] -= yaw * across
    by_slide[:, :, 1] += yaw * along
    return replace(shear, by_slide=by_slide)


def _add_joints(problem: Problem, pose: Pose, total: Array, change: Array) -> None:
    """Springs and stops of the joints."""
    joints = [joint for bar in problem.tree.bars for joint in bar.joints]
    for number, (joint, angle) in enumerate(zip(joints, pose.angles, strict=True)):
        low, high = joint.stops
        beyond = angle - min(max(angle, low), high)
        stiffness = joint.stiffness + (_STOP_STIFFNESS if beyond != 0.0 else 0.0)
        total[6 + number] -= joint.stiffness * angle + _STOP_STIFFNESS * beyond
        change[6 + number, 6 + number] -= stiffness
