"""One tree on one back through a gait cycle."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from time import perf_counter
from typing import TYPE_CHECKING

import numpy as np
from threadpoolctl import threadpool_limits

from fitsim.back.motion.gait import read_gait
from fitsim.back.motion.kinematics import kinematics
from fitsim.back.motion.posture import posture
from fitsim.contact.solve import solve
from fitsim.errors import BadSettings, NoEquilibrium
from fitsim.measure.stride import stride_measures
from fitsim.rig.cases import cases_for
from fitsim.rig.read import read_load, read_rig
from fitsim.rig.rings import bar_length
from fitsim.study.carried import carried_case, carried_on, working
from fitsim.study.foreseen import foreseen
from fitsim.study.laid import laid

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from fitsim.back.back import Back
    from fitsim.back.motion.gait import Gait
    from fitsim.back.motion.kinematics import Kinematics
    from fitsim.back.motion.posture import Posture
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.problem import Problem
    from fitsim.measure.stride import StrideMeasures
    from fitsim.rig.case import Case, Pad
    from fitsim.rig.load import Load
    from fitsim.rig.rig import Rig
    from fitsim.study.carried import Working
    from fitsim.study.laid import Laid
    from fitsim.tree.tree import Tree

    Array = NDArray[np.float64]

FEWEST, MOST = 8, 240
"""Phases of a stride: fewer miss the peaks of the load, more change nothing."""


@dataclass(frozen=True)
class Moment:
    """One moment of a stride.

    Attributes
    ----------
    posture : where the back is.
    equilibrium : of the tree on it then.
    working : how the tree stands against the skin under it.
    T_now_standing : (4, 4) array, how the skin under the tree has moved as a whole.
    """

    posture: Posture
    equilibrium: Equilibrium
    working: Working
    T_now_standing: Array


@dataclass(frozen=True)
class Stride:
    """A tree followed through a gait cycle.

    Attributes
    ----------
    back, tree, pad, rig, load, case : what was followed; the case is as it stands still.
    gait : how the back moves.
    laid : the tree as laid on the standing back.
    moving : the back made ready to be moved.
    standing : equilibrium before the first step.
    moments : evenly over the stride, from the contact of the left hind foot.
    measures : None where the tree leaves within the stride.
    timing_s : seconds by stage.
    """

    back: Back
    tree: Tree
    pad: Pad
    rig: Rig
    load: Load
    case: Case
    gait: Gait
    laid: Laid
    moving: Kinematics
    standing: Equilibrium
    moments: tuple[Moment, ...]
    measures: StrideMeasures | None
    timing_s: Mapping[str, float] = field(default_factory=dict)

    @property
    def phases(self) -> Array:
        """(p,) array, shares of the stride."""
        return np.array([one.posture.phase for one in self.moments])

    @property
    def stays(self) -> bool:
        """Whether the tree stays on through the whole stride."""
        return all(one.equilibrium.found for one in self.moments)


def stride(
    back: Back,
    tree: Tree,
    gait: Gait | str = "walk",
    *,
    pad: Pad | None = None,
    rig: Rig | None = None,
    load: Load | None = None,
    at: float | None = None,
    phases: int = 48,
    case: str | None = None,
    on: Laid | None = None,
    say: Callable[[str], None] | None = None,
) -> Stride:
    """Follow a tree on a back through a gait cycle.

    Parameters
    ----------
    back : Back
    tree : Tree
    gait : Gait or str
        "walk", "trot", "single-foot" or "canter".
    pad, rig, load, at : optional
        As in `fitsim.study.fit.fit`.
    phases : int
        Moments of the stride, evenly spaced.
    case : str, optional
        "front", "rear", "both", "rider" or "pack": both cinches with the load where not given.
    on : Laid, optional
        This tree laid on this back with this pad, if it was laid before.
    say : callable, optional
        Told in words what is being done.

    Returns
    -------
    Stride

    Raises
    ------
    BadSettings
        No gait or case is called that, or there are too few or too many phases.
    NoEquilibrium
        The tree does not stay on even while the animal stands.

    Notes
    -----
    Each moment is an equilibrium of its own (quasi-static): the tree is light and stiffly held,
    and swings on the skin many times faster than a stride. Inertia enters as the load's factor.
    """
    tell = say or (lambda _words: None)
    known = read_gait(gait) if isinstance(gait, str) else gait
    require_phases(phases)
    rig, load = rig or read_rig(), load or read_load()
    # The gait says how heavy the load is from moment to moment; a mean factor would count twice.
    load = load.over(replace(load.going, load_factor=1.0))
    require_case(case, load)
    on = on or laid(back, tree, pad=pad, at=at, say=tell)
    cases = cases_for(back, tree, on.seat.T_body_tree, rig, load)
    chosen = cases[-1] if case is None else next(one for one in cases if one.name == case)
    timing = dict(on.timing_s)
    moving = kinematics(back, known)
    started = perf_counter()
    # The matrices are small: on a busy machine threads that wait for each other cost tenfold.
    with threadpool_limits(limits=1, user_api="blas"):
        tell("standing")
        standing = solve(on.problem, chosen)
        _require_standing(tree, chosen, standing)
        timing["standing"] = perf_counter() - started
        started = perf_counter()
        moments = _followed(on.problem, chosen, moving, standing, phases, tell)
        timing["stride"] = perf_counter() - started
    started = perf_counter()
    measures = _measured(back, tree, on.problem.pad, chosen, moving, moments)
    timing["measures"] = perf_counter() - started
    return Stride(
        back=back, tree=tree, pad=on.problem.pad, rig=rig, load=load, case=chosen, gait=known,
        laid=on, moving=moving, standing=standing, moments=moments, measures=measures,
        timing_s=timing,
    )  # fmt: skip


def _measured(  # noqa: PLR0917 - what was followed
    back: Back,
    tree: Tree,
    pad: Pad,
    case: Case,
    moving: Kinematics,
    moments: tuple[Moment, ...],
) -> StrideMeasures | None:
    """Measure the stride, where the tree stays on through it."""
    found = [one.equilibrium for one in moments]
    if not all(rest.found for rest in found):
        return None
    return stride_measures(
        back,
        moving,
        [one.posture for one in moments],
        found,
        friction=pad.friction,
        bar_length=bar_length(tree),
        straps=frozenset(strap.name for strap in case.straps),
    )


def _followed(  # noqa: PLR0917 - what is followed, from where, how often
    problem: Problem,
    case: Case,
    moving: Kinematics,
    standing: Equilibrium,
    phases: int,
    tell: Callable[[str], None],
) -> tuple[Moment, ...]:
    """Solve moment after moment, each from those before it."""
    moments: list[Moment] = []
    before: list[tuple[Equilibrium, Array]] = [(standing, np.eye(4))]
    for number in range(phases):
        tell(f"moment {number + 1} of {phases}")
        now = posture(moving, number / phases)
        here, T_now_standing = carried_on(problem, now)
        loaded = carried_case(case, moving, now.phase, now.load)
        rest = solve(here, loaded, foreseen(before, T_now_standing))
        moments.append(Moment(now, rest, working(here, rest), T_now_standing))
        if rest.found:
            before = [*before[-2:], (rest, T_now_standing)] if number else [(rest, T_now_standing)]
    return tuple(moments)


def require_case(name: str | None, load: Load) -> None:
    """Refuse a case that there is not with this load.

    Parameters
    ----------
    name : str or None
        None is the one with the load.
    load : Load

    Raises
    ------
    BadSettings
    """
    known = ["front", "rear", "both"] + ([] if load.kind == "none" else [load.kind])
    if name is not None and name not in known:
        raise BadSettings(
            "--case",
            f'no case is called "{name}" with this load',
            f"use {', '.join(known)}",
        )


def require_phases(phases: int) -> None:
    """Refuse a number of moments that makes no stride.

    Parameters
    ----------
    phases : int

    Raises
    ------
    BadSettings
        Fewer than `FEWEST` or more than `MOST`.
    """
    if not FEWEST <= phases <= MOST:
        raise BadSettings(
            "--phases",
            f"{phases} moments do not make a stride",
            f"give {FEWEST} to {MOST}; 24 to 60 are usual",
        )


def _require_standing(tree: Tree, case: Case, standing: Equilibrium) -> None:
    if not standing.found:
        raise NoEquilibrium(
            tree.name,
            f"does not stay on even while the animal stands: it {standing.leaves}",
            f'move it with --at, or change the cinches of the case "{case.name}"',
        )
