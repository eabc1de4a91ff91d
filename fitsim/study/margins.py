"""How far a tree at rest is from leaving: pushed along, across, and weighed down aside or ahead."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fitsim.measure.balance import friction_used
from fitsim.measure.measures import Margins
from fitsim.measure.rocking import bar_ends
from fitsim.rig.going import GRAVITY
from fitsim.rig.load import Weight, place_of
from fitsim.study.borne import Borne, borne

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case

    Array = NDArray[np.float64]

_ASIDE = 0.40  # m, where a side pack hangs
_DOWN = np.array([0.0, 0.0, -1.0])


def grip(problem: Problem, rest: Equilibrium) -> Margins:
    """The friction used, which costs no solution.

    Parameters
    ----------
    problem : Problem
    rest : Equilibrium
        One that was found.

    Returns
    -------
    Margins
        With `friction_used` alone.
    """
    area = problem.foundation.area
    return Margins(friction_used(rest.pressure, rest.shear, area, problem.pad.friction))


def margins(problem: Problem, case: Case, rest: Equilibrium) -> Margins:
    """How far a tree at rest is from leaving, by about fifty warm solutions.

    Parameters
    ----------
    problem : Problem
    case : Case
        Under which it rests.
    rest : Equilibrium
        That rest; one that was found.

    Returns
    -------
    Margins
    """
    tree = problem.tree
    middle, (front, rear) = problem.centre_tree, bar_ends(tree)
    sides = [place_of(Weight("weight", 1.0, y, 0.0), tree) for y in (_ASIDE, -_ASIDE)]
    x, y = np.eye(3)[:2]

    def least(*pulls: tuple[Array, Array]) -> Borne:
        return min((borne(problem, case, rest, *pull) for pull in pulls), key=lambda b: b.force)

    along = least((middle, x), (middle, -x))
    across = least((middle, y), (middle, -y))
    aside = least(*((side, _DOWN) for side in sides))
    ahead = least((front, _DOWN), (rear, _DOWN))
    weakest = min((along, across, aside, ahead), key=lambda one: one.force)
    return replace(
        grip(problem, rest),
        push_along=along.force,
        push_across=across.force,
        side_weight=aside.force / GRAVITY,
        end_weight=ahead.force / GRAVITY,
        leaves=weakest.leaves,
    )
