"""A hand slid in under a bar's front, solved: how much room there is and what push it takes."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fitsim.contact.bars import place_bar
from fitsim.contact.solve import solve
from fitsim.measure.hand import EASY, Hand, HandRoom, clearance, hand_shape, push_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case

    Array = NDArray[np.float64]

_FAR = 1.0  # m: a place that no bar covers lies this far from any hand
HALF_AND_WHOLE = (0.5, 1.0)
"""Of the reach: where the push is worked out. It is largest at one of the two."""


def hand_room(
    problem: Problem,
    case: Case,
    rest: Equilibrium,
    hand: Hand | None = None,
    depths: tuple[float, ...] = HALF_AND_WHOLE,
) -> Mapping[str, HandRoom]:
    """Slide a hand in under each bar's front, one after the other.

    Parameters
    ----------
    problem : Problem
        Tree on back.
    case : Case
        As the tree is cinched and loaded meanwhile.
    rest : Equilibrium
        At rest without the hand.
    hand : Hand, optional
        25 mm thick and 90 mm wide where not given.
    depths : tuple of float, -
        Of its reach, at which the push is worked out.

    Returns
    -------
    dict of HandRoom
        By "left" and "right".
    """
    one = hand or Hand()
    return {
        bar.side: _under(problem, case, rest, one, depths, side)
        for side, bar in enumerate(problem.tree.bars)
    }


def _under(  # noqa: PLR0917 - as hand_room, for one side
    problem: Problem,
    case: Case,
    rest: Equilibrium,
    hand: Hand,
    depths: tuple[float, ...],
    side: int,
) -> HandRoom:
    """Slide a hand in under one bar."""
    behind, beside = under_front(problem, rest, side)
    room = clearance(hand, behind, beside, rest.gap)
    pushes, squeeze, last = [0.0], 0.0, rest
    for depth in depths:
        push, squeeze, last = hand_in(problem, case, rest, hand, side, depth=depth, start=last)
        pushes.append(push)
        if not last.found:
            return HandRoom(room, float("nan"), float("nan"), passes=False)
    return HandRoom(room, max(pushes), squeeze, passes=max(pushes) <= EASY)


def hand_in(
    problem: Problem,
    case: Case,
    rest: Equilibrium,
    hand: Hand,
    side: int,
    *,
    depth: float = 1.0,
    start: Equilibrium | None = None,
    along: float | None = None,
) -> tuple[float, float, Equilibrium]:
    """Hold a hand under one bar's front, or its long edge, and say what push takes it further.

    Parameters
    ----------
    problem, case, rest, hand
        As in `hand_room`.
    side : int
        0 for the left bar, 1 for the right.
    depth : float, -
        Of the hand's reach.
    start : Equilibrium, optional
        Of a tree with a hand under it under a neighbouring case; `rest` where not given.
    along : float, -, optional
        Slid in under the outer edge this far along the bar; under its front where not given.

    Returns
    -------
    push, squeeze : float, N
        nan where the tree does not stay on.
    Equilibrium
        With the hand in.
    """
    behind, beside = under_bar(problem, rest, side, along)
    thickness, growth = hand_shape(hand, behind, beside, depth * hand.reach)
    found = solve(with_insert(problem, thickness), case, start or rest)
    if not found.found:
        return float("nan"), float("nan"), found
    push, squeeze = push_of(hand, thickness, growth, found.pressure * problem.foundation.area)
    return push, squeeze, found


def under_front(problem: Problem, rest: Equilibrium, side: int) -> tuple[Array, Array]:
    """Where every node lies under a bar: behind its front end, and beside its front's middle.

    Parameters
    ----------
    problem : Problem
    rest : Equilibrium
        Where the tree is.
    side : int
        0 for the left bar, 1 for the right.

    Returns
    -------
    behind_front, beside_middle : (n,) arrays, m
        Far away where the node belongs to no bar or to the other one.
    """
    return under_bar(problem, rest, side, None)


def under_bar(
    problem: Problem, rest: Equilibrium, side: int, along: float | None
) -> tuple[Array, Array]:
    """Where every node lies under a bar, behind the edge that a hand goes in at and beside it.

    Parameters
    ----------
    problem, rest, side
        As in `under_front`.
    along : float, -, or None
        Place along the bar where a hand goes in under its outer edge, 0 at the front end; under
        the front where None.

    Returns
    -------
    behind_edge, beside_middle : (n,) arrays, m
        Far away where the node belongs to no bar or to the other one.
    """
    bar = problem.tree.bars[side]
    before = sum(problem.joints[:side])
    angles = rest.joint_angles[before : before + problem.joints[side]]
    T_body_bar, _ = place_bar(rest.T_body_tree, bar, angles)
    # Straight down onto the bar's own plane: within a millimetre or two of square to the skin.
    place = (problem.points - T_body_bar[:3, 3]) @ T_body_bar[:3, :3]
    if along is None:
        inward = bar.underside.front - place[:, 0]
        across = place[:, 1] - _front_middle(problem, side)
    else:
        outward = place[:, 1] if side == 0 else -place[:, 1]
        inward = outer_edge(problem, side, place[:, 0]) - outward
        face = bar.underside
        across = place[:, 0] - (face.front - along * (face.front - face.rear))
    own = problem.bar == side
    behind = np.full(len(problem.foundation.nodes), _FAR)
    beside = behind.copy()
    behind[problem.near] = np.where(own, inward, _FAR)
    beside[problem.near] = np.where(own, across, _FAR)
    return behind, beside


def outer_edge(problem: Problem, side: int, xi: Array) -> Array:
    """How far a bar reaches outwards from its middle line at places (n,) m along it, (n,) m."""
    face = problem.tree.bars[side].underside
    outward = face.eta if side == 0 else -face.eta
    # A place inside lies no nearer to the edge than its distance to the outline
    reach = np.where(face.inside > 0.0, outward + face.inside, -np.inf).max(axis=1)
    there = np.isfinite(reach)
    return np.asarray(np.interp(xi, face.xi[there], reach[there]))


def _front_middle(problem: Problem, side: int) -> float:
    """Middle of a bar's underside across, near its front end, m of its own frame."""
    face = problem.tree.bars[side].underside
    near_front = (face.xi <= face.front) & (face.xi > face.front - Hand().reach)
    covered = (face.inside[near_front] > 0.0).any(axis=0)
    return float(face.eta[covered].mean())


def with_insert(problem: Problem, thickness: Array) -> Problem:
    """The same tree on the same back with something rigid laid on the skin.

    Raising the skin's points along their normals takes the insert's thickness out of the room
    under the bars and leaves the tissue as it is.

    Parameters
    ----------
    problem : Problem
    thickness : (n,) array, m
        At every node of the foundation.

    Returns
    -------
    Problem
    """
    ground = problem.foundation
    raised = ground.points + thickness[:, None] * ground.normals
    return replace(problem, foundation=ground.moved(raised))
