"""Contact of a rigid tree on the compliant back in full balance, or which way it leaves.

Unknowns are the normal force at every node under the bars, the tree's six rigid motions and the
angles of its joints. One semismooth Newton step, which is also a primal-dual active set step
(Hintermueller, Ito, Kunisch 2003 SIAM J Optim 13:865-888, from memory), is taken for all of them
at once: the forces are eliminated by solving with the compliance between the nodes in contact,
which leaves a small dense system for the motion. A drag on the motion, taken
off as the balance improves (pseudo-transient continuation: Kelley, Keyes 1998 SIAM J Numer Anal
35:508-523, from memory), makes a tree without equilibrium wander off the way it would really go.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.contact.at_rest import at_rest
from fitsim.contact.balance import share_of_load
from fitsim.contact.leaving import leaving
from fitsim.contact.pose import Pose
from fitsim.contact.step import skin_stepped, stepped
from fitsim.contact.view import SKIN_TOLERANCE, State, View, viewed

if TYPE_CHECKING:
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case

BALANCED = 1e-5  # share of the applied load left over; the contract asks for 1e-3
GOOD_ENOUGH = 5e-4  # the same, for a tree that creeps so slowly that more steps gain nothing
# All in units of the drag that a step takes for the stiffness of a back.
_LEAST_DRAG, _MOST_DRAG = 1e-9, 1e3
_FLOW_DRAG = 0.03  # below it a step no longer follows the tree's own path
_RUNNING = 1e-3  # negative stiffness, in the same units, of a balance that does not last
_QUICK_STEPS, _CREEP_STEPS, _SKIN_STEPS = 25, 250, 30
_NEAR_DRAG = 1e-3  # the first step's from a neighbouring solution


@dataclass(frozen=True)
class Goal:
    """How far to go.

    Attributes
    ----------
    balance : -, share of the load that may be left over.
    skin : m, of linear sinking that may be.
    springs : begin with a step of springs, see `fitsim.contact.step.stepped`.
    """

    balance: float
    skin: float
    springs: bool

    def reached(self, view: View) -> bool:
        """Whether no more than that is left over."""
        return view.left < self.balance and view.settled_to(self.skin)


_EXACT = Goal(BALANCED, SKIN_TOLERANCE, springs=False)
_SAMPLED = Goal(GOOD_ENOUGH, 5e-5, springs=True)


def solve(
    problem: Problem, case: Case, start: Equilibrium | None = None, *, sample: bool = False
) -> Equilibrium:
    """Find where the tree comes to rest under one case.

    Parameters
    ----------
    problem : Problem
        From `fitsim.contact.problem.prepare`.
    case : Case
        Straps, weights and loads.
    start : Equilibrium, optional
        A neighbouring solution to start from.
    sample : bool
        One of many whose spread is asked for, started from the rest on other tissue: the first
        step is taken with springs, and it is left where it is balanced to 5e-4 of the load and the
        skin to 50 um, which is far below the spread.

    Returns
    -------
    Equilibrium
        With ``found`` False and ``leaves`` said in words where the tree does not stay on.
    """
    drag = 1.0 if start is None else _NEAR_DRAG
    goal = _SAMPLED if sample and start is not None else _EXACT
    view, steps, lasts = _run(problem, case, _start(problem, start), drag, goal)
    if lasts:
        return at_rest(view, case, steps, None)
    view, more = _creep(problem, case, _start(problem, None))
    if view.left < GOOD_ENOUGH and view.way is None:
        return at_rest(view, case, steps + more, None)
    way = view.way or leaving(problem, view.state.pose, at_end=True)
    return at_rest(view, case, steps + more, way)


def _run(
    problem: Problem, case: Case, state: State, drag: float, goal: Goal
) -> tuple[View, int, bool]:
    """Full Newton steps in forces and motion together: few, and enough for nearly every case.

    The last answer says whether they end in a balance that lasts. Newton's steps may end in one
    that the least touch upsets, from which the tree would go on to another or off.
    """
    view = viewed(problem, case, state)
    running = 0.0
    for number in range(_QUICK_STEPS):
        if goal.reached(view) or view.way is not None:
            return view, number, view.way is None and running < _RUNNING
        last = view.left
        step = stepped(view, drag, springs=goal.springs and number == 0)
        running = step.running
        view = viewed(view.problem, case, step.state, view)
        drag = float(
            np.clip(drag * np.clip((view.left / last) ** 1.5, 0.05, 4.0), _LEAST_DRAG, 10.0)
        )
    return view, _QUICK_STEPS, goal.reached(view) and running < _RUNNING


def _creep(problem: Problem, case: Case, state: State) -> tuple[View, int]:
    """Follow the tree as it would creep to rest, or off, with the skin at rest at every pose.

    Implicit Euler steps of drag * motion = unbalanced force: a step is kept when what is left
    over afterwards is what the step foresaw to within half of it, else it is shortened. The drag
    is taken off only while the balance improves: without it a Newton step would run to an
    equilibrium that does not last, such as a tree balanced on a ridge.
    """
    view = _skin_settled(viewed(problem, case, state), case)
    drag, steps = 1.0, 0
    while steps < _CREEP_STEPS and view.way is None and view.left > BALANCED:
        steps += 1
        step = stepped(view, drag, follow=True)
        trial = _skin_settled(viewed(view.problem, case, step.state, view), case)
        missed = trial.balance.unbalanced - step.foreseen
        surprise = share_of_load(trial.problem, trial.balance, missed)
        if surprise > 0.5 * view.left + BALANCED and drag < _MOST_DRAG:
            drag = min(4.0 * drag, _MOST_DRAG)
            continue
        drag = _eased(drag, trial.left / view.left, surprise / view.left)
        view = trial
    return view, steps


def _eased(drag: float, left: float, surprise: float) -> float:
    """Drag for the next step of a creep, from how well the last one went."""
    if left < 0.9:  # noqa: PLR2004 - the balance improves
        return max(0.3 * drag, _LEAST_DRAG)
    if surprise < 0.1:  # noqa: PLR2004 - foreseen well, but getting no better: keep to the flow
        return max(0.5 * drag, min(drag, _FLOW_DRAG))
    return min(1.5 * drag, 10.0)


def _skin_settled(view: View, case: Case) -> View:
    """The same pose with its contact forces solved for."""
    for _ in range(_SKIN_STEPS):
        if view.settled or not view.active.any():
            break
        view = viewed(view.problem, case, skin_stepped(view), view)
    return view


def _start(problem: Problem, start: Equilibrium | None) -> State:
    """The seat with no force, or a neighbouring solution."""
    joints = sum(problem.joints)
    if start is None:
        return State(Pose(problem.T_body_tree_seat, np.zeros(joints)), np.zeros(len(problem.near)))
    force = (start.pressure * problem.foundation.area)[problem.near]
    return State(Pose(start.T_body_tree, start.joint_angles), force)
