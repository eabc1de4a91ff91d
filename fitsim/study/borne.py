"""How much more the tree bears before it leaves, pulled at by a spring scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.contact.leaving import leaving
from fitsim.contact.pose import Pose
from fitsim.contact.solve import solve
from fitsim.rig.spring_scale import NAME, with_spring_scale

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.contact.equilibrium import Equilibrium, Way
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case

    Array = NDArray[np.float64]

# m, stretches of the scale at which the tree is looked at.
_STRETCHES = np.array([4.0, 10.0, 18.0, 28.0, 40.0, 54.0, 70.0, 88.0, 108.0, 130.0]) * 1e-3
_FALLEN = 0.98  # of the top: the scale has passed it


@dataclass(frozen=True)
class Borne:
    """What the tree bears.

    Attributes
    ----------
    force : N, the most the spring scale showed.
    leaves : the way the tree goes when it is pulled on; None where the scale ran out first, and
        then it bears more than `force`.
    """

    force: float
    leaves: Way | None


def borne(
    problem: Problem, case: Case, rest: Equilibrium, point_tree: Array, towards: Array
) -> Borne:
    """Pull at a tree at rest until it gives way.

    Parameters
    ----------
    problem : Problem
    case : Case
        Under which it rests.
    rest : Equilibrium
        That rest; one that was found.
    point_tree : (3,) array, m
        Where it is pulled, tree frame.
    towards : (3,) array
        Which way, body frame.

    Returns
    -------
    Borne
    """
    shown, last = [0.0], rest
    for stretch in _STRETCHES:
        pulled = with_spring_scale(case, point_tree, towards, float(stretch), rest.T_body_tree)
        now = solve(problem, pulled, last)
        if not now.found:
            return Borne(max(shown), now.leaves)
        shown.append(_shown(now))
        if shown[-1] < _FALLEN * max(shown):
            pose = Pose(now.T_body_tree, now.joint_angles)
            return Borne(_top(np.array(shown)), leaving(problem, pose, at_end=True))
        last = now
    return Borne(max(shown), None)


def _top(shown: Array) -> float:
    """Top of the parabola through the highest reading and its neighbours, N."""
    at = np.concatenate([[0.0], _STRETCHES])[: len(shown)]
    peak = min(max(int(shown.argmax()), 1), len(shown) - 2)
    a, b, c = np.polyfit(at[peak - 1 : peak + 2], shown[peak - 1 : peak + 2], 2)
    return float(max(shown.max(), c - b**2 / (4.0 * a))) if a < 0.0 else float(shown.max())


def _shown(rest: Equilibrium) -> float:
    """What the spring scale shows, N."""
    scale = next(force for force in rest.forces if force.name == NAME)
    return float(np.linalg.norm(scale.force))
