"""Contact of a rigid tree on the compliant back in full balance, or which way it leaves.

Unknowns are the normal force at every node under the bars, the tree's six rigid motions and the
angles of its joints. One semismooth Newton step, which is also a primal-dual active set step
(Hintermueller, Ito, Kunisch 2003 SIAM J Optim 13:865-888, from memory), is taken for all of them
at once: the forces are eliminated with one Cholesky factorisation of the compliance between the
nodes in contact, which leaves a small dense system for the motion. A drag on the motion, taken
off as the balance improves (pseudo-transient continuation: Kelley, Keyes 1998 SIAM J Numer Anal
35:508-523, from memory), makes a tree without equilibrium wander off the way it would really go.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from fitsim.contact.above import Above, look
from fitsim.contact.applied import applied_forces
from fitsim.contact.balance import Balance, weigh
from fitsim.contact.equilibrium import Equilibrium
from fitsim.contact.leaving import leaving
from fitsim.contact.pose import Pose
from fitsim.contact.problem import Problem, prepare
from fitsim.contact.skin import Skin, press
from fitsim.contact.stiffening import true_indentation
from fitsim.rig.pad import pad_compression

if TYPE_CHECKING:
    from fitsim.rig.case import Case

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

BALANCED = 1e-5  # share of the applied load left over; the contract asks for 1e-3
GOOD_ENOUGH = 5e-4  # the same, for a tree that creeps so slowly that more steps gain nothing
_SKIN_TOLERANCE = 1e-6  # m, of linear sinking
_LONGEST_STEP = 0.006  # m, and the same at half the bar's length for rotations
_DRAG = 2.0e4  # N/m: about the stiffness of a back under a tree
_LEAST_DRAG, _MOST_DRAG = 1e-9, 1e3  # times _DRAG
_FLOW_DRAG = 0.03  # times _DRAG: below it a step no longer follows the tree's own path
_REMAKE = 0.02  # m of travel after which the nodes near the bars are chosen anew
_QUICK_STEPS, _CREEP_STEPS, _SKIN_STEPS = 25, 250, 30


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
    """

    problem: Problem
    state: State
    above: Above
    active: Flags
    force: Array
    skin: Skin
    balance: Balance
    left: float

    @property
    def settled(self) -> bool:
        """Whether every node obeys the contact law."""
        if not self.active.any() or (self.state.force[self.active] < 0.0).any():
            return False
        within = np.abs(self.skin.excess[self.active]).max() < _SKIN_TOLERANCE
        return bool(within and (self.skin.excess[~self.active] > -_SKIN_TOLERANCE).all())

    @property
    def way(self) -> str | None:
        """The way the tree is leaving, if it is."""
        return leaving(self.problem, self.state.pose)


def solve(problem: Problem, case: Case, start: Equilibrium | None = None) -> Equilibrium:
    """Find where the tree comes to rest under one case.

    Parameters
    ----------
    problem : Problem
        From `fitsim.contact.problem.prepare`.
    case : Case
        Straps, weights and loads.
    start : Equilibrium, optional
        A neighbouring solution to start from.

    Returns
    -------
    Equilibrium
        With ``found`` False and ``leaves`` said in words where the tree does not stay on.
    """
    view, steps = _run(problem, case, _start(problem, start), 1.0 if start is None else 1e-3)
    if view.left < BALANCED and view.settled:
        return _result(view, case, steps, None)
    view, more = _creep(problem, case, _start(problem, None))
    if view.left < GOOD_ENOUGH and view.way is None:
        return _result(view, case, steps + more, None)
    return _result(view, case, steps + more, leaving(problem, view.state.pose, at_end=True))


def _run(problem: Problem, case: Case, state: State, drag: float) -> tuple[View, int]:
    """Full Newton steps in forces and motion together: few, and enough for nearly every case."""
    view = _viewed(problem, case, state)
    for step in range(_QUICK_STEPS):
        if (view.left < BALANCED and view.settled) or view.way is not None:
            return view, step
        last = view.left
        view = _viewed(view.problem, case, _stepped(view, drag)[0])
        drag = float(
            np.clip(drag * np.clip((view.left / last) ** 1.5, 0.05, 4.0), _LEAST_DRAG, 10.0)
        )
    return view, _QUICK_STEPS


def _creep(problem: Problem, case: Case, state: State) -> tuple[View, int]:
    """Follow the tree as it would creep to rest, or off, with the skin at rest at every pose.

    Implicit Euler steps of drag * motion = unbalanced force: a step is kept when what is left
    over afterwards is what the step foresaw to within half of it, else it is shortened. The drag
    is taken off only while the balance improves: without it a Newton step would run to an
    equilibrium that does not last, such as a tree balanced on a ridge.
    """
    view = _skin_settled(_viewed(problem, case, state), case)
    drag, steps = 1.0, 0
    while steps < _CREEP_STEPS and view.way is None and view.left > BALANCED:
        steps += 1
        moved, foreseen = _stepped(view, drag)
        trial = _skin_settled(_viewed(view.problem, case, moved), case)
        surprise = _share(trial, trial.balance.unbalanced - foreseen)
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
        trial = np.zeros_like(view.force)
        chosen = np.flatnonzero(view.active)
        trial[chosen] = view.force[chosen] - _eliminated(view, chosen)[:, 0]
        view = _viewed(view.problem, case, State(view.state.pose, trial))
    return view


def _viewed(problem: Problem, case: Case, state: State) -> View:
    """Work everything out in one state, near nodes chosen anew where the tree has travelled."""
    if _travel(problem, state.pose) > _REMAKE:
        problem, state = _remade(problem, state)
    above = look(problem, state.pose)
    active, force, skin = _contact(problem, above, state.force)
    balance = weigh(problem, case, state.pose, above, force)
    size = np.abs(balance.unbalanced)
    size[3:] /= problem.half_length
    left = float(size.max() / balance.scale)
    return View(problem, state, above, active, force, skin, balance, left)


def _share(view: View, unbalanced: Array) -> float:
    """Largest component of a generalised force as a share of the applied load."""
    size = np.abs(unbalanced)
    size[3:] = size[3:] / view.problem.half_length
    return float(size.max() / view.balance.scale)


def _start(problem: Problem, start: Equilibrium | None) -> State:
    """The seat with no force, or a neighbouring solution."""
    joints = sum(problem.joints)
    if start is None:
        return State(Pose(problem.T_body_tree_seat, np.zeros(joints)), np.zeros(len(problem.near)))
    force = (start.pressure * problem.foundation.area)[problem.near]
    return State(Pose(start.T_body_tree, start.joint_angles), force)


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
    """Farthest either end of the tree's middle line is from where near nodes were chosen, m."""
    reach = np.array([problem.half_length, 0.0, 0.0])
    ends = problem.centre_tree + np.array([reach, -reach])
    change = pose.T_body_tree - problem.T_body_tree_near
    shift = ends @ change[:3, :3].T + change[:3, 3]
    return float(np.linalg.norm(shift, axis=1).max())


def _contact(problem: Problem, above: Above, trial: Array) -> tuple[Flags, Array, Skin]:
    """Nodes in contact by the complementarity rule, their forces, and the law's excess there."""
    skin = press(problem, above, trial)
    stiffness = 1.0 / (np.diagonal(problem.compliance) + skin.own)
    active = trial - stiffness * skin.excess > 0.0
    force = np.where(active, trial, 0.0)
    return active, force, press(problem, above, force)


def _stepped(view: View, drag: float) -> tuple[State, Array]:
    """One semismooth Newton step, and the unbalanced force it foresees afterwards."""
    size = 6 + sum(view.problem.joints)
    lengths = np.concatenate([np.ones(3), np.full(size - 3, view.problem.half_length)])
    resist = drag * _DRAG * lengths**2
    matrix = np.diag(resist) - view.balance.change
    right = view.balance.unbalanced.copy()
    chosen = np.flatnonzero(view.active)
    answer = np.zeros((0, 1 + size))
    if len(chosen):
        answer = _eliminated(view, chosen)
        matrix = matrix + view.balance.by_normal[chosen].T @ answer[:, 1:]
        right = right - view.balance.by_normal[chosen].T @ answer[:, 0]
    step = np.linalg.solve(matrix, right)
    share = min(1.0, _LONGEST_STEP / np.abs(step * lengths).max()) if step.any() else 0.0
    trial = np.zeros_like(view.force)
    # minus: motion that opens the bar from the skin takes force off
    trial[chosen] = view.force[chosen] - answer[:, 0] - answer[:, 1:] @ (step * share)
    foreseen = (1.0 - share) * right + share * resist * step
    return State(view.state.pose.moved(step * share, view.above.centre), trial), foreseen


def _eliminated(view: View, chosen: NDArray[np.int_]) -> Array:
    """Forces that answer the law's excess (column 0) and each unit motion: (a, 1 + 6 + j)."""
    skin = view.skin
    # Single precision is enough for a step: what is left over is worked out in double.
    stiff = view.problem.compliance_single[np.ix_(chosen, chosen)]
    stiff[np.diag_indices(len(chosen))] += skin.own[chosen]
    factor = linalg.cho_factor(stiff, lower=True, overwrite_a=True, check_finite=False)
    right = np.column_stack(
        [skin.excess[chosen], -skin.slope[chosen, None] * view.above.closing[chosen]]
    ).astype(np.float32)
    answer = linalg.cho_solve(factor, right, overwrite_b=True, check_finite=False)
    return answer.astype(np.float64)


def _result(view: View, case: Case, steps: int, way: str | None) -> Equilibrium:
    """Spread the near nodes' answer over the whole back."""
    problem, pose, above = view.problem, view.state.pose, view.above
    foundation, near = problem.foundation, problem.near
    count = len(foundation.nodes)
    force, shear = np.zeros(count), np.zeros((count, 3))
    force[near] = view.force
    shear[near] = -view.balance.shear.force / foundation.area[near, None]
    indentation = true_indentation(foundation.deflection(force), foundation.depth)
    under = above.cover > 0.0
    bar, along = np.zeros(count, dtype=np.int_), np.full(count, np.nan)
    bar[near[under]] = np.where(problem.bar[under] == 0, 1, -1)
    along[near[under]] = np.clip(above.along[under], 0.0, 1.0)
    return Equilibrium(
        found=way is None,
        leaves=way,
        residual=view.left,
        iterations=steps,
        T_body_tree=pose.T_body_tree,
        T_body_tree_seat=problem.T_body_tree_seat,
        joint_angles=pose.angles,
        pressure=force / foundation.area,
        shear=shear,
        gap=_gap(problem, above, force, indentation, under),
        indentation=indentation,
        bar=bar,
        along=along,
        forces=applied_forces(case, pose.T_body_tree),
    )


def _gap(problem: Problem, above: Above, force: Array, indentation: Array, under: Flags) -> Array:
    """Clearance (n,) m between bar and pad over the deformed skin; nan where no bar is above."""
    gap = np.full(len(force), np.nan)
    near, pad = problem.near, problem.pad
    area = problem.foundation.area[near] * np.where(under, above.cover, 1.0)
    left_of_pad = pad.thickness * (1.0 - pad_compression(pad, force[near] / area))
    clear = above.distance + indentation[near] - left_of_pad
    gap[near[under]] = np.where(force[near] > 0.0, 0.0, np.clip(clear, 0.0, None))[under]
    return gap
