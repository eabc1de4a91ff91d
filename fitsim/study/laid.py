"""A tree laid on a back: where it sits, and the contact problem that every case there shares."""

from __future__ import annotations

from dataclasses import dataclass, field
from time import perf_counter
from typing import TYPE_CHECKING

from fitsim.contact.foundation import build_foundation
from fitsim.contact.problem import prepare
from fitsim.rig.read import read_pad
from fitsim.tree.seat import seat

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from fitsim.back.back import Back
    from fitsim.contact.foundation import Foundation
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Pad
    from fitsim.tree.seat import Seat
    from fitsim.tree.tree import Tree


@dataclass(frozen=True)
class Laid:
    """A tree laid on a back over a pad, not cinched yet.

    Attributes
    ----------
    seat : where it was laid.
    problem : what every case there shares; holds the foundation, tree and pad.
    timing_s : seconds by stage.
    """

    seat: Seat
    problem: Problem
    timing_s: Mapping[str, float] = field(default_factory=dict)


def laid(
    back: Back,
    tree: Tree,
    *,
    pad: Pad | None = None,
    at: float | None = None,
    foundation: Foundation | None = None,
    near: Seat | None = None,
    say: Callable[[str], None] | None = None,
) -> Laid:
    """Lay a tree on a back and gather what every case there shares.

    Parameters
    ----------
    back : Back
    tree : Tree
    pad : Pad, optional
        Felt 20 mm where not given.
    at : float, m, optional
        How far forward (+) or back (-) of "just behind the shoulder blade" to lay the tree.
    foundation : Foundation, optional
        Of this back, if it was built before: it is the same for every tree.
    near : Seat, optional
        Where a tree a little different lies on this back.
    say : callable, optional
        Told in words what is being done.

    Returns
    -------
    Laid

    Raises
    ------
    BadSettings
        The tree is longer than the scan.
    """
    tell = say or (lambda _words: None)
    timing: dict[str, float] = {}
    started = perf_counter()
    tell("seating the tree")
    seated = seat(back, tree, at, near)
    timing["seat"] = perf_counter() - started
    started = perf_counter()
    tell("building the back's compliance")
    ground = foundation or build_foundation(back.chart, back.tissue)
    problem = prepare(ground, tree, pad or read_pad(), seated.T_body_tree)
    timing["foundation"] = perf_counter() - started
    return Laid(seated, problem, timing)
