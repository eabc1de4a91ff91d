"""Contact of a rigid tree on the compliant back in full balance, or which way it leaves.

Unknowns are the normal force at every node under the bars, the tree's six rigid motions and the
angles of its joints. A semismooth Newton step (equivalently a primal-dual active set: Hintermueller,
Ito, Kunisch 2003 SIAM J Optim 13:865-888, from memory) is taken for all of them at once: the forces
are eliminated with one Cholesky factorisation of the compliance between the nodes in contact, which
leaves a small dense system for the motion. A drag on the motion, taken off as the balance improves
(pseudo-transient continuation: Kelley, Keyes 1998 SIAM J Numer Anal 35:508-523, from memory), makes a
tree without equilibrium wander off in the direction it would really go.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from fitsim.contact.applied import applied_forces
from fitsim.contact.equilibrium import Equilibrium
from fitsim.contact.leaving import leaving
from fitsim.contact.problem import Problem, prepare
from fitsim.contact.state import Above, Balance, Pose, Skin, look, press, weigh
from fitsim.contact.stiffening import true_indentation
from fitsim.rig.pad import pad_compression

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitsim.rig.case import Case

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

BALANCED = 1e-5  # share of the applied load left over; the contract asks for 1e-3
_SKIN_TOLERANCE = 1e-6  # m, of linear sinking
_MOST_STEPS = 120
_LONGEST_STEP = 0.006  # m, and the same at half the bar's length for rotations
_DRAG = 2.0e4  # N/m, to start with: about the stiffness of a back under a tree
_LEAST_DRAG = 1e-9
_REMAKE = 0.02  # m of travel after which the nodes near the bars are chosen anew


@dataclass(frozen=True)
class State:
    """A pose with trial normal forces (m,) N; negative ones are nodes about to let go."""

    pose: Pose
    force: Array


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
    state = _start(problem, start)
    drag, last, travelled = (1.0 if start is None else 1e-3), np.inf, state.pose
    for iteration in range(_MOST_STEPS):
        if _distance(problem, travelled, state.pose) > _REMAKE:
            problem, state = _remade(problem, state)
            travelled = state.pose
        above = look(problem, state.pose)
        active, force, skin = _contact(problem, above, state.force)
        balance = weigh(problem, case, state.pose, above, force)
        left = _left_over(problem, balance)
        settled = _settled(active, skin, state.force)
        if left < BALANCED and settled:
            return _result(problem, case, State(state.pose, force), above, left, iteration, None)
        way = leaving(problem, state.pose, force)
        if way is not None:
            return _result(problem, case, State(state.pose, force), above, left, iteration, way)
        drag = _next_drag(drag, left, last)
        last = left
        state = _stepped(problem, state, above, active, force, skin, balance, drag)
    return _result(
        problem, case, State(state.pose, force), above, left, _MOST_STEPS,
        leaving(problem, state.pose, force, at_end=True),
    )


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
        problem.foundation, problem.tree, problem.pad, problem.T_body_tree_seat,
        state.pose.T_body_tree,
    )
    return fresh, State(state.pose, everywhere[fresh.near])


def _distance(problem: Problem, a: Pose, b: Pose) -> float:
    """Farthest either end of the tree's middle line is from where it was, m."""
    ends = problem.centre_tree + np.array([[problem.half_length, 0, 0], [-problem.half_length, 0, 0]])
    shift = ends @ (a.T_body_tree - b.T_body_tree)[:3, :3].T
    shift += (a.T_body_tree - b.T_body_tree)[:3, 3]
    return float(np.linalg.norm(shift, axis=1).max())


def _contact(problem: Problem, above: Above, trial: Array) -> tuple[Flags, Array, Skin]:
    """Nodes in contact by the complementarity rule, their forces, and the law's excess there."""
    skin = press(problem, above, trial)
    stiffness = 1.0 / (np.diagonal(problem.compliance) + skin.own)
    active = trial - stiffness * skin.excess > 0.0
    force = np.where(active, trial, 0.0)
    return active, force, press(problem, above, force)


def _settled(active: Flags, skin: Skin, trial: Array) -> bool:
    """Whether every node obeys the contact law."""
    if not active.any() or (trial[active] < 0.0).any():
        return False
    within = np.abs(skin.excess[active]).max() < _SKIN_TOLERANCE
    return bool(within and (skin.excess[~active] > -_SKIN_TOLERANCE).all())


def _left_over(problem: Problem, balance: Balance) -> float:
    """Largest unbalanced component as a share of the applied load."""
    size = np.abs(balance.unbalanced)
    size[3:] /= problem.half_length
    return float(size.max() / balance.scale)


def _next_drag(drag: float, left: float, last: float) -> float:
    """Less drag as the balance improves, more when it worsens."""
    if not np.isfinite(last):
        return drag
    ratio = left / last
    return float(np.clip(drag * np.clip(ratio**1.5, 0.05, 4.0), _LEAST_DRAG, 10.0))


def _stepped(  # noqa: PLR0913 - the whole state of a Newton step
    problem: Problem,
    state: State,
    above: Above,
    active: Flags,
    force: Array,
    skin: Skin,
    balance: Balance,
    drag: float,
) -> State:
    """One semismooth Newton step."""
    size = 6 + sum(problem.joints)
    lengths = np.concatenate([np.ones(3), np.full(size - 3, problem.half_length)])
    matrix = np.diag(drag * _DRAG * lengths**2) - balance.change
    right = balance.unbalanced.copy()
    chosen = np.flatnonzero(active)
    if len(chosen):
        answer = _eliminated(problem, above, skin, chosen)
        matrix = matrix + balance.by_normal[chosen].T @ answer[:, 1:]
        right = right - balance.by_normal[chosen].T @ answer[:, 0]
    step = np.linalg.solve(matrix, right)
    share = min(1.0, _LONGEST_STEP / np.abs(step * lengths).max())
    if not np.isfinite(share):
        share = 0.0
    trial = np.zeros_like(force)
    if len(chosen):
        # minus: motion that opens the bar from the skin takes force off
        trial[chosen] = force[chosen] - answer[:, 0] + answer[:, 1:] @ (-step * share)
    return State(state.pose.moved(step * share, above.centre), trial)


def _eliminated(
    problem: Problem, above: Above, skin: Skin, chosen: NDArray[np.int_]
) -> Array:
    """Forces that answer the law's excess (column 0) and each unit motion: (a, 1 + 6 + j)."""
    stiff = problem.compliance[np.ix_(chosen, chosen)]
    stiff[np.diag_indices(len(chosen))] += skin.own[chosen]
    factor = linalg.cho_factor(stiff, lower=True, overwrite_a=True, check_finite=False)
    right = np.column_stack(
        [skin.excess[chosen], -skin.slope[chosen, None] * above.closing[chosen]]
    )
    answer: Array = linalg.cho_solve(factor, right, overwrite_b=True, check_finite=False)
    return answer


def _result(  # noqa: PLR0913 - gathers everything known at the end
    problem: Problem,
    case: Case,
    state: State,
    above: Above,
    left: float,
    iterations: int,
    way: str | None,
) -> Equilibrium:
    """Spread the near nodes' answer over the whole back."""
    foundation = problem.foundation
    count = len(foundation.nodes)
    near, force = problem.near, np.zeros(count)
    force[near] = np.clip(state.force, 0.0, None)
    indentation = true_indentation(foundation.deflection(force), foundation.depth)
    balance = weigh(problem, case, state.pose, above, force[near])
    shear = np.zeros((count, 3))
    shear[near] = -balance.shear.force / foundation.area[near, None]
    under = above.cover > 0.0
    bar = np.zeros(count, dtype=np.int_)
    bar[near[under]] = np.where(problem.bar[under] == 0, 1, -1)
    along = np.full(count, np.nan)
    along[near[under]] = np.clip(above.along[under], 0.0, 1.0)
    return Equilibrium(
        found=way is None,
        leaves=way,
        residual=left,
        iterations=iterations,
        T_body_tree=state.pose.T_body_tree,
        T_body_tree_seat=problem.T_body_tree_seat,
        joint_angles=state.pose.angles,
        pressure=force / foundation.area,
        shear=shear,
        gap=_gap(problem, above, force, indentation, under),
        indentation=indentation,
        bar=bar,
        along=along,
        forces=applied_forces(case, state.pose.T_body_tree),
    )


def _gap(
    problem: Problem, above: Above, force: Array, indentation: Array, under: Flags
) -> Array:
    """Clearance (n,) m between bar and pad over the deformed skin; nan where no bar is above."""
    gap = np.full(len(force), np.nan)
    near, pad = problem.near, problem.pad
    area = problem.foundation.area[near] * np.where(under, above.cover, 1.0)
    left_of_pad = pad.thickness * (1.0 - pad_compression(pad, force[near] / area))
    clear = above.distance + indentation[near] - left_of_pad
    gap[near[under]] = np.where(force[near] > 0.0, 0.0, np.clip(clear, 0.0, None))[under]
    return gap


def solve_all(
    problem: Problem, cases: tuple[Case, ...]
) -> Mapping[str, Equilibrium]:
    """Solve the cases one after the other, each from the seat, so that order does not matter."""
    return {case.name: solve(problem, case) for case in cases}
