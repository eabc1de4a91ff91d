"""One setting of a tree tried on one back."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from threadpoolctl import threadpool_limits

from fitsim.back.motion.gait import read_gait
from fitsim.back.motion.kinematics import kinematics
from fitsim.errors import FitsimError
from fitsim.rig.cases import cases_for
from fitsim.study.laid import laid
from fitsim.study.search.goals import goals_of, score
from fitsim.tree.adjust import adjusted

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitsim.back.back import Back
    from fitsim.back.motion.kinematics import Kinematics
    from fitsim.contact.foundation import Foundation
    from fitsim.rig.case import Pad
    from fitsim.rig.load import Load
    from fitsim.rig.rig import Cinch, Rig
    from fitsim.study.search.goals import Goals
    from fitsim.study.search.space import Knob, Space
    from fitsim.tree.tree import Tree

_UNDERSIDE = 0.005  # m, grid of undersides; less dense than a fit takes


@dataclass(frozen=True)
class Setup:
    """What stays the same in every trial of a search.

    Attributes
    ----------
    back, foundation, tree, pad, rig, load : see `fitsim.study.fit.fit`.
    at : m, where the tree lies unless that is searched.
    space : what is tried.
    """

    back: Back
    foundation: Foundation
    tree: Tree
    pad: Pad
    rig: Rig
    load: Load
    at: float
    space: Space

    @cached_property
    def moving(self) -> Kinematics:
        """The back made ready to walk."""
        return kinematics(self.back, read_gait("walk"))


@dataclass(frozen=True)
class Trial:
    """One set of values and what came of it.

    Attributes
    ----------
    values : SI by word.
    goals : None where the tree cannot be built so or does not stay on.
    why : then in words.
    """

    values: Mapping[str, float]
    goals: Goals | None
    why: str = ""


def tried(setup: Setup, values: Mapping[str, float]) -> Trial:
    """Build the tree, lay it on the back and see how it does.

    Parameters
    ----------
    setup : Setup
    values : mapping
        SI by word, of the knobs of `setup.space`.

    Returns
    -------
    Trial
        The same for the same values, whatever was tried before.
    """
    try:
        tree, rig, at = changed(setup, values)
        on = laid(setup.back, tree, pad=setup.pad, at=at, foundation=setup.foundation)
        case = cases_for(setup.back, tree, on.seat.T_body_tree, rig, setup.load)[-1]
    except FitsimError as fault:
        return Trial(values, None, f"{fault.fault}")
    with threadpool_limits(limits=1, user_api="blas"):
        found = goals_of(setup.back, on.problem, case, setup.moving)
    return Trial(values, None, found) if isinstance(found, str) else Trial(values, found)


def score_of(trial: Trial, care: Mapping[str, float] | None = None) -> float:
    """Score of a trial; inf where the tree cannot be built so or does not stay on.

    Parameters
    ----------
    trial : Trial
    care : mapping, optional
        How much each goal counts, see `fitsim.study.search.goals.score`.

    Returns
    -------
    float, -
    """
    return math.inf if trial.goals is None else score(trial.goals, care)


def changed(setup: Setup, values: Mapping[str, float]) -> tuple[Tree, Rig, float]:
    """The tree, rig and place that the values ask for.

    Parameters
    ----------
    setup : Setup
    values : mapping
        SI by word.

    Returns
    -------
    Tree, Rig, float
        The last in m, see `fitsim.tree.seat.seat`.

    Raises
    ------
    BadSettings
        The tree cannot be built so.
    """
    knobs = setup.space.knobs
    changes = {knob.key: values[knob.word] for knob in knobs if knob.where == "tree"}
    rig = setup.rig
    for knob in knobs:
        if knob.where == "rig":
            rig = _rigged(rig, knob, values[knob.word])
    return adjusted(setup.tree, changes, _UNDERSIDE), rig, values.get("at", setup.at)


def _rigged(rig: Rig, knob: Knob, value: float) -> Rig:
    which, key = knob.key.split(".")
    cinch: Cinch = getattr(rig, which)
    if key == "tension":
        new = replace(cinch, tension_left=value, tension_right=value)
    else:
        new = replace(cinch, behind_front=value)
    return replace(rig, front=new) if which == "front" else replace(rig, rear=new)
