"""One state of the search for balance, with everything worked out there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.above import Above, look
from fitsim.contact.applied import longest_slack
from fitsim.contact.balance import Balance, share_of_load, weigh
from fitsim.contact.leaving import leaving
from fitsim.contact.problem import Problem, prepare
from fitsim.contact.skin import Skin, press

if TYPE_CHECKING:
    from fitsim.contact.equilibrium import Way
    from fitsim.contact.pose import Pose
    from fitsim.rig.case import Case

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SKIN_TOLERANCE = 1e-6  # m, of linear sinking
# m of travel, less than the margin of the nodes near the bars, after which they are chosen anew
_REMAKE = 0.025


@dataclass(frozen=True)
class State:
    """A pose with trial normal forces (m,) N; negative ones are nodes about to let go."""

    pose: Pose
    force: Array


@dataclass(frozen=True)
class View:
    """A state with everything worked out there.

    Attributes
    ----------
    problem, state : with the nodes near the bars chosen for this pose.
    above, skin, balance : bars overhead, contact law, and what is out of balance.
    active : (m,) bool array, nodes in contact.
    force : (m,) array, N, >= 0.
    left : -, share of the applied load out of balance.
    way : the way the tree is leaving, if it is.
    """

    problem: Problem
    state: State
    above: Above
    active: Flags
    force: Array
    skin: Skin
    balance: Balance
    left: float
    way: Way | None

    @property
    def settled(self) -> bool:
        """Whether every node obeys the contact law."""
        return self.settled_to(SKIN_TOLERANCE)

    def settled_to(self, tolerance: float) -> bool:
        """Whether every node obeys the contact law to within some sinking, m."""
        if not self.active.any() or (self.state.force[self.active] < 0.0).any():
            return False
        within = np.abs(self.skin.excess[self.active]).max() < tolerance
        return bool(within and (self.skin.excess[~self.active] > -tolerance).all())


def viewed(problem: Problem, case: Case, state: State, last: View | None = None) -> View:
    """Work everything out in one state, near nodes chosen anew where the tree has travelled.

    Parameters
    ----------
    problem : Problem
    case : Case
    state : State
    last : View, optional
        Of a neighbouring state, which saves work.

    Returns
    -------
    View
    """
    if _travel(problem, state.pose) > _REMAKE:
        problem, state = _remade(problem, state)
    above = _looked(problem, state.pose, last)
    active, force, skin = _contact(problem, above, state.force)
    balance = weigh(problem, case, state.pose, above, force)
    left = share_of_load(problem, balance, balance.unbalanced)
    slack = longest_slack(case, problem.T_body_tree_seat)
    way = leaving(problem, state.pose, slack=slack)
    return View(problem, state, above, active, force, skin, balance, left, way)


def _looked(problem: Problem, pose: Pose, last: View | None) -> Above:
    """The bars overhead, from what a neighbouring state saw where that helps."""
    if last is None or last.problem is not problem:
        return look(problem, pose)
    return last.above if last.state.pose is pose else look(problem, pose, last.above.distance)


def _remade(problem: Problem, state: State) -> tuple[Problem, State]:
    """The same problem with the nodes near the bars chosen where the tree is now."""
    everywhere = np.zeros(len(problem.foundation.nodes))
    everywhere[problem.near] = state.force
    fresh = prepare(
        problem.foundation,
        problem.tree,
        problem.pad,
        problem.T_body_tree_seat,
        state.pose.T_body_tree,
    )
    return fresh, State(state.pose, everywhere[fresh.near])


def _travel(problem: Problem, pose: Pose) -> float:
    """How far either end of the tree's middle line has gone past the nodes chosen, m.

    Sinking moves a bar across the back by its slope alone, and so counts half.
    """
    reach = np.array([problem.half_length, 0.0, 0.0])
    ends = problem.centre_tree + np.array([reach, -reach])
    change = pose.T_body_tree - problem.T_body_tree_near
    shift = ends @ change[:3, :3].T + change[:3, 3]
    return float((np.hypot(shift[:, 0], shift[:, 1]) + 0.5 * np.abs(shift[:, 2])).max())


def _contact(problem: Problem, above: Above, trial: Array) -> tuple[Flags, Array, Skin]:
    """Nodes in contact by the complementarity rule, their forces, and the law's excess there."""
    skin = press(problem, above, trial)
    stiffness = 1.0 / (problem.compliance.diagonal + skin.own)
    active = trial - stiffness * skin.excess > 0.0
    force = np.where(active, trial, 0.0)
    if (force != trial).any():
        skin = press(problem, above, force)
    return active, force, skin
