"""Straps, weights and loads: what they do to the tree, and how that changes as it moves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.equilibrium import AppliedForce

if TYPE_CHECKING:
    from fitsim.rig.case import Case, Strap

Array = NDArray[np.float64]


def cross_matrix(v: Array) -> Array:
    """(3, 3) matrix whose product with w is v x w."""
    return np.array([[0.0, -v[2], v[1]], [v[2], 0.0, -v[0]], [-v[1], v[0], 0.0]])


def applied_forces(case: Case, T_body_tree: Array) -> tuple[AppliedForce, ...]:
    """Every strap, weight and load acting on the tree in this pose, N at m, body frame."""
    turn, shift = T_body_tree[:3, :3], T_body_tree[:3, 3]
    straps = []
    for strap in case.straps:
        point = turn @ strap.attach_tree + shift
        pull, length = _direction(strap, point)
        straps.append(AppliedForce(strap.name, point, _tension(strap, length) * pull))
    dead = [
        AppliedForce(force.name, turn @ force.point_tree + shift, force.force_body)
        for force in case.forces
    ]
    return (*straps, *dead)


def wrench(forces: tuple[AppliedForce, ...], centre: Array) -> Array:
    """Sum of forces and of moments about a point: (6,) array, N and N*m."""
    total = np.zeros(6)
    for force in forces:
        total[:3] += force.force
        total[3:] += np.cross(force.point - centre, force.force)
    return total


def wrench_change(case: Case, T_body_tree: Array, centre: Array) -> Array:
    """Change (6, 6) of the applied wrench about a fixed point with the tree's motion.

    Columns: translation (per m) and rotation about the centre (per rad). A strap of given
    tension swings about its anchor (T/L across its line); an elastic one also stretches.
    """
    turn, shift = T_body_tree[:3, :3], T_body_tree[:3, 3]
    change = np.zeros((6, 6))
    for strap in case.straps:
        point = turn @ strap.attach_tree + shift
        pull, length = _direction(strap, point)
        tension = _tension(strap, length)
        stretching = strap.stiffness if tension > 0.0 else 0.0
        stiffness = tension / length * (np.eye(3) - np.outer(pull, pull))
        stiffness = stiffness + stretching * np.outer(pull, pull)
        change += _force_change(point - centre, tension * pull, -stiffness)
    for force in case.forces:
        point = turn @ force.point_tree + shift
        change += _force_change(point - centre, force.force_body, np.zeros((3, 3)))
    return change


def longest_slack(case: Case, T_body_tree: Array) -> float:
    """How much the slackest strap must be stretched from this pose before it pulls, m; 0 if none.

    Parameters
    ----------
    case : Case
    T_body_tree : (4, 4) array

    Returns
    -------
    float, m
    """
    slack = 0.0
    for strap in case.straps:
        if strap.stiffness > 0.0:
            point = T_body_tree[:3, :3] @ strap.attach_tree + T_body_tree[:3, 3]
            unloaded = strap.tight_length - strap.tension / strap.stiffness
            slack = max(slack, unloaded - _direction(strap, point)[1])
    return slack


def _force_change(arm: Array, force: Array, gradient: Array) -> Array:
    """(6, 6) change of one force's wrench when its point moves with the tree."""
    motion = np.hstack([np.eye(3), -cross_matrix(arm)])
    top = gradient @ motion
    bottom = cross_matrix(arm) @ top - cross_matrix(force) @ motion
    return np.vstack([top, bottom])


def _direction(strap: Strap, point: Array) -> tuple[Array, float]:
    """Unit pull (3,) towards the anchor and the strap's length, m."""
    line = strap.anchor_body - point
    length = float(np.linalg.norm(line))
    return line / length, length


def _tension(strap: Strap, length: float) -> float:
    """Tension, N, of a strap of this length; a slack elastic strap does not push."""
    if strap.stiffness == 0.0:
        return strap.tension
    return max(0.0, strap.tension + strap.stiffness * (length - strap.tight_length))
