"""The tests a hand makes on a tree: under the fronts, rocking, daylight, lifting, pulling aside.

A test that moves the tree by a given distance is worked with a stiff strap to a far point, which
gives the force at that distance even where the force falls as the tree gives way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from threadpoolctl import threadpool_limits

from fitsim.contact.solve import solve
from fitsim.measure.gaps import SIDES, bridging, daylight
from fitsim.measure.rocking import bar_ends, pitch_of, rocking_from_poses
from fitsim.rig.case import Case, DeadForce, Strap
from fitsim.rig.rings import bar_length
from fitsim.study.hand_under import hand_room

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.back.back import Chart
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.measure.hand import Hand, HandRoom
    from fitsim.measure.measures import BarGap
    from fitsim.tree.tree import Tree

    Array = NDArray[np.float64]

PRESS = 100.0
"""N: how hard a hand presses on one end (common practice, no source: about 10 kg)."""
MOVE = 0.010
"""m: how far an end is lifted, or the fork pulled aside."""
KNOCK = 0.3
"""Share of the rocking that is free play from which a tree is said to knock."""

_PRESSES = (-1.0, -0.5, 0.5, 1.0)  # of PRESS; below 0 on the rear end
_FAR, _STIFF = 5.0, 2e5  # m, N/m, of the strap that moves an end
_FORK = 0.10  # m over the bars' front where a tree has no body to tell (from memory)


@dataclass(frozen=True)
class Press:
    """Front and rear pressed in turn with `PRESS`.

    Attributes
    ----------
    turn : rad, pitch between the two; nan where the tree does not stay on.
    pivot_along : -, station it turns about: 0 the bars' front end, 1 the rear.
    free_play : rad, of that, what the contact's stiffness does not explain.
    """

    turn: float
    pivot_along: float
    free_play: float

    @property
    def knocks(self) -> bool:
        """Whether it tips from one seat to another."""
        return self.turn > 0.0 and self.free_play >= KNOCK * self.turn


@dataclass(frozen=True)
class Pull:
    """What moving one place of the tree by `MOVE` takes.

    Attributes
    ----------
    force : N; nan where the tree leaves before.
    slide : m, of the bars' middle, sideways.
    roll : rad, positive lowers the right side.
    leaves : the way it leaves, or None.
    """

    force: float
    slide: float
    roll: float
    leaves: str | None


@dataclass(frozen=True)
class HandTests:
    """What hands find on one tree under one case.

    Attributes
    ----------
    case : name of the case.
    leaves : the way the tree leaves untouched; then there is nothing else.
    under : hand room by side.
    press : rocking.
    bridging : daylight under the middle, by side.
    lift : the rear lifted.
    pulls : the fork pulled to the "left" and the "right".
    rest : the tree untouched.
    """

    case: str
    leaves: str | None
    under: Mapping[str, HandRoom]
    press: Press | None
    bridging: Mapping[str, BarGap]
    lift: Pull | None
    pulls: Mapping[str, Pull]
    rest: Equilibrium


def hand_tests(chart: Chart, problem: Problem, case: Case, hand: Hand | None = None) -> HandTests:
    """Make all the tests on one tree under one case.

    Parameters
    ----------
    chart : Chart
        Of the back.
    problem : Problem
        The tree on it.
    case : Case
        How it is cinched and loaded meanwhile.
    hand : Hand, optional

    Returns
    -------
    HandTests
    """
    # The matrices are small: on a busy machine threads that wait for each other cost tenfold.
    with threadpool_limits(limits=1, user_api="blas"):
        rest = solve(problem, case)
        if not rest.found:
            return HandTests(case.name, rest.leaves, {}, None, {}, None, {}, rest)
        return HandTests(
            case=case.name,
            leaves=None,
            under=hand_room(problem, case, rest, hand),
            press=pressed_in_turn(problem, case, rest),
            bridging=daylight_under(chart, problem.tree, rest),
            lift=moved_end(problem, case, rest, rear_arch(problem.tree), np.array([0.0, 0.0, 1.0])),
            pulls={
                side: moved_end(problem, case, rest, fork(problem.tree), np.array([0.0, way, 0.0]))
                for side, way in (("left", 1.0), ("right", -1.0))
            },
            rest=rest,
        )


def laid_case(case: Case) -> Case:
    """The tree laid on and not cinched: its own weight alone.

    Parameters
    ----------
    case : Case
        Any that holds the tree's weight.

    Returns
    -------
    Case
        Named "laid".
    """
    weight = tuple(force for force in case.forces if force.name == "tree_weight")
    return Case("laid", (), weight)


def daylight_under(chart: Chart, tree: Tree, rest: Equilibrium) -> dict[str, BarGap]:
    """Bridging of both bars, by side."""
    length = bar_length(tree)
    return {side: bridging(daylight(chart, rest, side, length)) for side in SIDES}


def pressed_in_turn(problem: Problem, case: Case, rest: Equilibrium) -> Press:
    """Press on the rear end and the front end of the bars, half and in full.

    Parameters
    ----------
    problem : Problem
    case : Case
    rest : Equilibrium
        Untouched.

    Returns
    -------
    Press
    """
    front, rear = bar_ends(problem.tree)
    poses = []
    for share in _PRESSES:
        push = np.array([0.0, 0.0, -abs(share) * PRESS])
        hand = DeadForce("hand", front if share > 0.0 else rear, push)
        found = solve(problem, replace(case, forces=(*case.forces, hand)), rest)
        if not found.found:
            return Press(math.nan, math.nan, math.nan)
        poses.append(found.T_body_tree)
    moments = PRESS * problem.half_length * np.array(_PRESSES)
    rocked = rocking_from_poses(moments, np.stack(poses), front, rear)
    return Press(pitch_of(poses[0], poses[-1]), rocked.pivot_along, rocked.free_play)


def moved_end(problem: Problem, case: Case, rest: Equilibrium, at: Array, way: Array) -> Pull:
    """Move a place of the tree by `MOVE` and say what force it takes.

    Parameters
    ----------
    problem : Problem
    case : Case
    rest : Equilibrium
        Untouched.
    at : (3,) array, m
        The place, tree frame.
    way : (3,) array
        Unit, body frame.

    Returns
    -------
    Pull
    """
    force, held = held_end(problem, case, rest, at, way, MOVE)
    if not held.found:
        return Pull(math.nan, math.nan, math.nan, held.leaves)
    return Pull(force, *_slide_and_roll(problem, rest, held), None)


def held_end(  # noqa: PLR0917 - as moved_end, and how far
    problem: Problem, case: Case, rest: Equilibrium, at: Array, way: Array, by: float
) -> tuple[float, Equilibrium]:
    """Hold a place of the tree a given way off.

    Parameters
    ----------
    problem, case, rest, at, way
        As in `moved_end`.
    by : float, m
        How far the place is moved.

    Returns
    -------
    float, N
        What it takes; nan where the tree leaves before.
    Equilibrium
        With the hand on it.
    """
    place = rest.T_body_tree[:3, :3] @ at + rest.T_body_tree[:3, 3]
    held, target, force = rest, by, 0.0
    for _ in range(2):  # the strap gives a little: once with the force foreseen, once with it known
        strap = Strap("hand", at, place + _FAR * way, 0.0, _STIFF, _FAR - target)
        held = solve(problem, replace(case, straps=(*case.straps, strap)), held)
        if not held.found:
            return math.nan, held
        pull = next((one.force for one in held.forces if one.name == "hand"), np.zeros(3))
        force = float(np.linalg.norm(pull))
        target = by + force / _STIFF
    return force, held


def _slide_and_roll(
    problem: Problem, first: Equilibrium, second: Equilibrium
) -> tuple[float, float]:
    """How far the bars' middle has gone sideways, m, and the tree rolled, rad."""
    from scipy.spatial.transform import Rotation

    centre = np.append(problem.centre_tree, 1.0)
    slide = float(((second.T_body_tree - first.T_body_tree) @ centre)[1])
    turn = second.T_body_tree[:3, :3] @ first.T_body_tree[:3, :3].T
    return slide, float(Rotation.from_matrix(turn).as_rotvec()[0])


def rear_arch(tree: Tree) -> Array:
    """Middle between the bars' rear ends, (3,) m, tree frame: where a hand lifts the rear."""
    return bar_ends(tree)[1]


def fork(tree: Tree) -> Array:
    """Top of the tree in its front third, (3,) m, tree frame: where a hand pulls it aside."""
    front, rear = bar_ends(tree)
    body = tree.vertices[tree.vertices[:, 0] > front[0] - (front[0] - rear[0]) / 3.0]
    if len(body) == 0:
        return np.asarray(front + np.array([0.0, 0.0, _FORK]))
    top = body[body[:, 2].argmax()]
    return np.array([top[0], 0.0, top[2]])
