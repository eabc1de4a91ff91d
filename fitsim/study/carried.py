"""A tree's contact problem carried along by a moving back, and how the tree works on the coat."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial.transform import Rotation

from fitsim.back.motion.posture import carried_points
from fitsim.contact.friction import slide

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.motion.kinematics import Kinematics
    from fitsim.back.motion.posture import Posture
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case

    Array = NDArray[np.float64]


@dataclass(frozen=True)
class Working:
    """How far the tree stands from where the skin under it would have carried it.

    Attributes
    ----------
    slid : (3,) array: forward (m), left (m) and turn to the left (rad).
    slipped : (3,) array, the part of it that is slip; the rest is held by friction and given back.
    """

    slid: Array
    slipped: Array


def carried_on(problem: Problem, now: Posture) -> tuple[Problem, Array]:
    """The problem as the moving back has carried it, and how far it has.

    Parameters
    ----------
    problem : Problem
        As laid on the standing back.
    now : Posture

    Returns
    -------
    Problem
        See `carried_problem`.
    T_now_standing : (4, 4) array
        See `carry`.
    """
    T_now_standing = carry(problem.foundation.points[problem.near], now.carried[problem.near])
    return carried_problem(problem, now, T_now_standing), T_now_standing


def carried_problem(problem: Problem, now: Posture, T_now_standing: Array) -> Problem:
    """The problem with the skin where it is now, and the seat carried along with it.

    Parameters
    ----------
    problem : Problem
        As laid on the standing back.
    now : Posture
    T_now_standing : (4, 4) array
        From `carry`.

    Returns
    -------
    Problem
        Its compliance is that of the standing back: it belongs to the tissue, and a few
        millimetres of motion change neither its depth nor how far its nodes lie apart.
    """
    return replace(
        problem,
        foundation=problem.foundation.moved(now.points, now.normals),
        T_body_tree_seat=T_now_standing @ problem.T_body_tree_seat,
        T_body_tree_near=T_now_standing @ problem.T_body_tree_near,
    )


def carry(standing: Array, carried: Array) -> Array:
    """How the skin under the tree has moved as a whole: T_now_standing (4, 4).

    Parameters
    ----------
    standing, carried : (m, 3) arrays, m
        The same places of skin, before and after.

    Returns
    -------
    (4, 4) array
        The rigid motion nearest to theirs in the least-squares sense.

    References
    ----------
    Kabsch W 1976 Acta Cryst A32:922-923, doi:10.1107/S0567739476001873.

    Examples
    --------
    >>> places = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
    >>> bool(np.allclose(carry(places, places + [0.0, 0.0, 0.01])[:3, 3], [0.0, 0.0, 0.01]))
    True
    """
    before, after = standing.mean(axis=0), carried.mean(axis=0)
    turn, _ = Rotation.align_vectors(carried - after, standing - before)
    T = np.eye(4)
    T[:3, :3] = turn.as_matrix()
    T[:3, 3] = after - T[:3, :3] @ before
    return T


def carried_case(case: Case, moving: Kinematics, phase: float, load: float) -> Case:
    """The case at one moment: weights as heavy as they are then, straps where the barrel is.

    Parameters
    ----------
    case : Case
        Standing.
    moving : Kinematics
    phase : float, -
    load : float, -
        How heavy everything is, over its weight.

    Returns
    -------
    Case
        The straps keep their tension: what a cinch's tension does within a stride is not known.
    """
    forces = tuple(replace(one, force_body=load * one.force_body) for one in case.forces)
    if not case.straps:
        return replace(case, forces=forces)
    anchors = np.array([strap.anchor_body for strap in case.straps])
    places = carried_points(moving, phase, anchors)
    straps = tuple(
        replace(strap, anchor_body=place) for strap, place in zip(case.straps, places, strict=True)
    )
    return replace(case, straps=straps, forces=forces)


def working(problem: Problem, rest: Equilibrium) -> Working:
    """How the tree stands against the skin under it.

    Parameters
    ----------
    problem : Problem
        Carried to this moment.
    rest : Equilibrium
        Found in it.

    Returns
    -------
    Working

    Notes
    -----
    A node holds until friction is used up; what goes beyond is slip. The slip of the tree as a
    whole is the rigid slide that would ask the same of the nodes' sideways springs as their own
    slips do: least squares weighted with those springs' stiffness.
    """
    slid = slide(rest.T_body_tree, problem.T_body_tree_seat, problem.centre_tree)
    near = problem.near
    pressed = rest.pressure[near] > 0.0
    chosen = near[pressed]
    if not len(chosen):
        return Working(slid, slid)
    foundation, pad = problem.foundation, problem.pad
    compliance = foundation.shear_compliance[chosen] + pad.thickness / pad.shear_modulus
    centre = rest.T_body_tree[:3, :3] @ problem.centre_tree + rest.T_body_tree[:3, 3]
    basis = _sideways(foundation.points[chosen] - centre, foundation.normals[chosen])
    motion = basis @ slid
    size = np.linalg.norm(motion, axis=1)
    held = pad.friction * rest.pressure[chosen] * compliance
    share = np.where(size > held, 1.0 - held / np.where(size > 0.0, size, 1.0), 0.0)
    stiff = np.sqrt(foundation.area[chosen] / compliance)[:, None, None]
    slipped = np.linalg.lstsq(
        (stiff * basis).reshape(-1, 3),
        (stiff[..., 0] * share[:, None] * motion).ravel(),
        rcond=None,
    )[0]
    return Working(slid, np.asarray(slipped, dtype=np.float64))


def _sideways(arms: Array, normals: Array) -> Array:
    """Motion of nodes in their own plane per slide of the tree, (n, 3, 3)."""
    basis = np.zeros((len(arms), 3, 3))
    basis[:, 0, 0] = basis[:, 1, 1] = 1.0
    basis[:, 0, 2], basis[:, 1, 2] = -arms[:, 1], arms[:, 0]
    along = np.einsum("ni,nij->nj", normals, basis)
    return np.asarray(basis - normals[:, :, None] * along[:, None, :])
