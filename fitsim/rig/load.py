"""The load: a rider, a pack or nothing, as weights at places of the tree."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from fitsim.rig.case import DeadForce
from fitsim.rig.rings import bar_length, middle_line, within_bar

if TYPE_CHECKING:
    from fitsim.tree.tree import Tree

GRAVITY = 9.80665  # m/s2, standard (CGPM 1901)

LoadKind = Literal["rider", "pack", "none"]


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
    """

    name: str
    mass: float
    lateral: float
    height: float
    behind_front: float | None = None


@dataclass(frozen=True)
class Load:
    """What the tree carries.

    Attributes
    ----------
    kind : "rider", "pack" or "none"; names the case.
    name : shown to people.
    weights : masses and where they act.
    """

    kind: LoadKind
    name: str
    weights: tuple[Weight, ...]


def rider(mass: float = 80.0, height: float = 0.10, behind_front: float | None = None) -> Load:
    """A rider whose weight goes down through the seat.

    Parameters
    ----------
    mass : float, kg
        Rider with clothes.
    height : float, m
        Of the seat above the bars' middle line (from memory).
    behind_front : float, m, optional
        Station along the bar; the middle where not given (common practice, no source: riders
        sit there or a little ahead).

    Returns
    -------
    Load

    Examples
    --------
    >>> rider(75.0).weights[0].mass
    75.0
    """
    weight = Weight("rider", mass, 0.0, height, behind_front)
    return Load("rider", f"rider of {mass:g} kg", (weight,))


def pack(
    left: float = 35.0,
    right: float = 35.0,
    top: float = 10.0,
    *,
    side_offset: float = 0.40,
    side_height: float = -0.05,
    top_height: float = 0.30,
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
        Weight("pack_top", top, 0.0, top_height, behind_front),
    )
    sides = f"2 x {left:g}" if left == right else f"{left:g} + {right:g}"
    name = f"pack of {sides} + {top:g} kg" if top else f"pack of {sides} kg"
    return Load("pack", name, tuple(weight for weight in weights if weight.mass > 0.0))


NO_LOAD = Load("none", "no load", ())


def dead_forces(load: Load, tree: Tree) -> tuple[DeadForce, ...]:
    """The load's weights as forces on the tree, straight down.

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
    return tuple(_weight_force(weight, tree) for weight in load.weights)


def _weight_force(weight: Weight, tree: Tree) -> DeadForce:
    length = bar_length(tree)
    place = 0.5 * length if weight.behind_front is None else weight.behind_front
    within_bar(place, length, f"{weight.name}.behind_front")
    station = np.mean([middle_line(bar, place) for bar in tree.bars], axis=0)
    return DeadForce(
        name=weight.name,
        point_tree=np.array([station[0], weight.lateral, station[2] + weight.height]),
        force_body=np.array([0.0, 0.0, -GRAVITY * weight.mass]),
    )
