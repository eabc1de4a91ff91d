"""The rig: which straps there are, where they are made fast and how tight they are."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fitsim.rig.rings import bar_length, within_bar

if TYPE_CHECKING:
    from fitsim.tree.tree import Tree

# Where a tree says nothing about its rings: a fifth of the bar from either end (common practice,
# no source).
_RING_SHARE = {"front": 0.2, "rear": 0.8}

SLACK = 0.10
"""m: breast collar and breeching hang this slack (a welfare charity's guide to pack saddles)."""

STRAP_STIFFNESS = 1.0e4
"""N/m: leather 40 x 5 mm with E 50 MPa over 1 m (from memory), what it lies on taken as rigid."""


@dataclass(frozen=True)
class Cinch:
    """One cinch with its two strap ends.

    Attributes
    ----------
    tension_left, tension_right : N, pull of each strap end, the tree lying as laid.
    behind_front : m, of its rings behind the bar's front end; None takes the tree's own place.
    stiffness : N/m, of each strap end: how its pull grows as it is stretched; 0 keeps the pull.
    swing : m, how far the belly end of the cinch lies behind its rings.
    beside, above : m, of its rings out from and over the bar's outer edge.
    """

    tension_left: float
    tension_right: float
    behind_front: float | None = None
    stiffness: float = 0.0
    swing: float = 0.0
    beside: float = 0.0
    above: float = 0.0

    @property
    def pulls(self) -> bool:
        """Whether any of its strap ends can pull."""
        return self.tension_left > 0.0 or self.tension_right > 0.0 or self.stiffness > 0.0


@dataclass(frozen=True)
class Holdback:
    """A strap that hangs slack until the tree travels: breast strap, breeching or crupper.

    Attributes
    ----------
    slack : m, by which each side must be stretched before it pulls.
    stiffness : N/m, of each side once it does.
    behind_front : m, where it is made fast, along the bar behind its front end; None is the end
        of the bar nearest to what it goes round.
    """

    slack: float = SLACK
    stiffness: float = STRAP_STIFFNESS
    behind_front: float | None = None


@dataclass(frozen=True)
class Rig:
    """The straps of one rigging.

    Attributes
    ----------
    name : shown to people.
    front, rear : the two cinches. The defaults, 180 N and 120 N each strap end, are chosen within
        60-200 N measured in single girths (doi:10.1017/S1755254011000055); double rigs not found.
    connecting : m, length of the strap between the two cinches under the belly: the rear cinch
        swings no farther back than it lets it. None without one.
    breast_strap, breeching, crupper : None where there is none.
    """

    name: str = "two cinches"
    front: Cinch = field(default=Cinch(180.0, 180.0))
    rear: Cinch = field(default=Cinch(120.0, 120.0))
    connecting: float | None = None
    breast_strap: Holdback | None = None
    breeching: Holdback | None = None
    crupper: Holdback | None = None


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
