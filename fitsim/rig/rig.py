"""The rig: which cinches there are, where their rings sit and how tight they are."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fitsim.rig.rings import bar_length, within_bar

if TYPE_CHECKING:
    from fitsim.tree.tree import Tree

# Where a tree says nothing about its rings: a fifth of the bar from either end (common practice,
# no source).
_RING_SHARE = {"front": 0.2, "rear": 0.8}


@dataclass(frozen=True)
class Cinch:
    """One cinch with its two strap ends.

    Attributes
    ----------
    tension_left, tension_right : N, pull of each strap end.
    behind_front : m, of its rings behind the bar's front end; None takes the tree's own place.
    """

    tension_left: float
    tension_right: float
    behind_front: float | None = None


@dataclass(frozen=True)
class Rig:
    """The cinches of one rigging.

    Attributes
    ----------
    name : shown to people.
    front, rear : the two cinches. The defaults, 180 N and 120 N each strap end, are chosen within
        60-200 N measured in single girths (doi:10.1017/S1755254011000055); double rigs not found.
    """

    name: str = "two cinches"
    front: Cinch = field(default=Cinch(180.0, 180.0))
    rear: Cinch = field(default=Cinch(120.0, 120.0))


def ring_behind_front(cinch: Cinch, tree: Tree, which: str) -> float:
    """Where a cinch's rings sit: as the rig says, else as the tree says, else by rule.

    Parameters
    ----------
    cinch : Cinch
        Its `behind_front` wins where given.
    tree : Tree
        Its ``settings["rigging"][which]`` (m) comes next.
    which : "front" or "rear"
        The cinch.

    Returns
    -------
    float, m
        Behind the bar's front end.

    Raises
    ------
    BadSettings
        The ring would sit beyond the end of the bar.
    """
    length = bar_length(tree)
    rigging = tree.settings.get("rigging")
    if cinch.behind_front is not None:
        place = cinch.behind_front
    elif isinstance(rigging, dict) and which in rigging:
        place = float(rigging[which])
    else:
        place = _RING_SHARE[which] * length
    return within_bar(place, length, f"{which}_cinch.behind_front")
