"""The load: a rider, a pack or nothing, as weights at places of the tree."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sin
from typing import TYPE_CHECKING, Literal

import numpy as np

from fitsim.rig.case import DeadForce
from fitsim.rig.going import GRAVITY, LEVEL, Going, going_in_words, pull_of_gravity
from fitsim.rig.rings import bar_length, middle_line, within_bar
from fitsim.tree.rigging import rigging_point

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.tree import Side, Tree

    Array = NDArray[np.float64]

__all__ = ["GRAVITY", "NO_LOAD", "Load", "LoadKind", "Weight", "dead_forces", "pack", "rider"]

LoadKind = Literal["rider", "pack", "none"]

# m: a rider's centre of mass moves this far per unit sine of the trunk's lean. Trunk, head and
# arms are 0.68 of the body, their centre 0.33 m above the hip (Winter's tables, from memory).
_LEAN_ARM = 0.68 * 0.33


@dataclass(frozen=True)
class Weight:
    """One mass on the tree.

    Attributes
    ----------
    name : of the force: "rider", "pack_left", ...
    mass : kg.
    lateral : m, to the animal's left of the tree's middle.
    height : m, above the bars' middle line at that station.
    behind_front : m, along the bar behind its front end; None is the middle of the bar.
    ahead : m, forward of that station.
    hangs_from : "left" or "right" where it hangs from that bar's outer edge, as a stirrup does;
        `lateral` and `height` do not count then.
    """

    name: str
    mass: float
    lateral: float
    height: float
    behind_front: float | None = None
    ahead: float = 0.0
    hangs_from: Side | None = None


@dataclass(frozen=True)
class Load:
    """What the tree carries, and over what ground.

    Attributes
    ----------
    kind : "rider", "pack" or "none"; names the case.
    name : shown to people.
    weights : masses and where they act.
    going : slope, turn and gait, which change every weight.
    """

    kind: LoadKind
    name: str
    weights: tuple[Weight, ...]
    going: Going = LEVEL

    def over(self, going: Going) -> Load:
        """The same load over other ground, which its name tells."""
        before, after = going_in_words(self.going), going_in_words(going)
        plain = self.name.removesuffix(f", {before}") if before else self.name
        return replace(self, name=f"{plain}, {after}" if after else plain, going=going)


def rider(
    mass: float = 80.0,
    height: float = 0.10,
    behind_front: float | None = None,
    *,
    lean_forward: float = 0.0,
    lean_left: float = 0.0,
    stirrup_share: float = 0.0,
    left_stirrup: float = 0.5,
    stirrups_behind_front: float | None = None,
) -> Load:
    """A rider whose weight goes down through the seat and the stirrups.

    A rider keeps upright over the seat on any slope; a lean moves the weight off that place.

    Parameters
    ----------
    mass : float, kg
        Rider with clothes.
    height : float, m
        Of the seat above the bars' middle line (from memory).
    behind_front : float, m, optional
        Station along the bar; the middle where not given (common practice, no source: riders
        sit there or a little ahead).
    lean_forward, lean_left : float, rad
        Of the rider's trunk out of the upright.
    stirrup_share : float, -
        Share of the weight that stands in the stirrups, 0 to 1.
    left_stirrup : float, -
        Share of that in the left one.
    stirrups_behind_front : float, m, optional
        Where the stirrups hang; at the seat's station where not given.

    Returns
    -------
    Load

    Examples
    --------
    >>> rider(75.0).weights[0].mass
    75.0
    >>> [(weight.name, weight.mass) for weight in rider(80.0, stirrup_share=0.25).weights]
    [('rider', 60.0), ('stirrup_left', 10.0), ('stirrup_right', 10.0)]
    """
    standing = mass * stirrup_share
    ahead, aside = _LEAN_ARM * sin(lean_forward), _LEAN_ARM * sin(lean_left)
    # The whole of the rider leans, what stands in the stirrups too: the seat takes the moment.
    seated = mass - standing
    lever = mass / seated if seated > 0.0 else 0.0
    hung = behind_front if stirrups_behind_front is None else stirrups_behind_front
    weights = (
        Weight("rider", seated, aside * lever, height, behind_front, ahead * lever),
        Weight("stirrup_left", standing * left_stirrup, 0.0, 0.0, hung, 0.0, "left"),
        Weight("stirrup_right", standing * (1.0 - left_stirrup), 0.0, 0.0, hung, 0.0, "right"),
    )
    return Load("rider", f"rider of {mass:g} kg", tuple(w for w in weights if w.mass > 0.0))


def pack(
    left: float = 35.0,
    right: float = 35.0,
    top: float = 10.0,
    *,
    side_offset: float = 0.40,
    side_height: float = -0.05,
    top_height: float = 0.30,
    top_offset: float = 0.0,
    behind_front: float | None = None,
) -> Load:
    """Two side packs and a top load, lashed to the tree.

    Parameters
    ----------
    left, right, top : float, kg
        Masses.
    side_offset : float, m
        Middle of a side pack from the tree's middle (from memory).
    side_height, top_height : float, m
        Above the bars' middle line (from memory).
    top_offset : float, m
        Middle of the top load to the left of the tree's middle.
    behind_front : float, m, optional
        Station along the bar; the middle where not given.

    Returns
    -------
    Load

    Examples
    --------
    >>> sum(weight.mass for weight in pack().weights)
    80.0
    """
    weights = (
        Weight("pack_left", left, side_offset, side_height, behind_front),
        Weight("pack_right", right, -side_offset, side_height, behind_front),
        Weight("pack_top", top, top_offset, top_height, behind_front),
    )
    sides = f"2 x {left:g}" if left == right else f"{left:g} + {right:g}"
    name = f"pack of {sides} + {top:g} kg" if top else f"pack of {sides} kg"
    return Load("pack", name, tuple(weight for weight in weights if weight.mass > 0.0))


NO_LOAD = Load("none", "no load", ())


def dead_forces(load: Load, tree: Tree) -> tuple[DeadForce, ...]:
    """The load's weights as forces on the tree, the way its going makes them pull.

    Parameters
    ----------
    load : Load
        Rider, pack or nothing.
    tree : Tree
        The places are told by its bars.

    Returns
    -------
    tuple of DeadForce
        Points in the tree frame, m; forces in the body frame, N.

    Raises
    ------
    BadSettings
        A weight would sit beyond the end of the bars.
    """
    pull = pull_of_gravity(load.going)
    return tuple(
        DeadForce(weight.name, place_of(weight, tree), weight.mass * pull)
        for weight in load.weights
    )


def place_of(weight: Weight, tree: Tree) -> Array:
    """Where a weight acts: (3,) m, tree frame.

    Parameters
    ----------
    weight : Weight
    tree : Tree

    Returns
    -------
    (3,) array, m

    Raises
    ------
    BadSettings
        It would sit beyond the end of the bars.
    """
    length = bar_length(tree)
    place = 0.5 * length if weight.behind_front is None else weight.behind_front
    within_bar(place, length, f"{weight.name}.behind_front")
    if weight.hangs_from is not None:
        return rigging_point(tree, weight.hangs_from, place)
    station = np.mean([middle_line(bar, place) for bar in tree.bars], axis=0)
    return np.array([station[0] + weight.ahead, weight.lateral, station[2] + weight.height])
