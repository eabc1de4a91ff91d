"""One tree on one back under its cases: the main study."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitsim.back.back import Back
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.measure.measures import Measures
    from fitsim.rig.case import Case, Pad
    from fitsim.tree.tree import Tree


@dataclass(frozen=True)
class Fit:
    """The equilibrium of one Tree on one Back under one Case, and what was measured on it.

    `measures` is None when the tree does not stay on.
    """

    case: Case
    equilibrium: Equilibrium
    measures: Measures | None


@dataclass(frozen=True)
class FitSet:
    """All cases of one tree on one back.

    Attributes
    ----------
    fits : by case name, in the order solved.
    defaults : which of tree, rig, pad, load were defaults, for the report.
    timing_s : seconds by stage.
    """

    back: Back
    tree: Tree
    pad: Pad
    fits: Mapping[str, Fit]
    defaults: tuple[str, ...] = ()
    timing_s: Mapping[str, float] = field(default_factory=dict)
