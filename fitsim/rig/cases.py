"""The cases of a fit: front cinch, rear cinch, both, and both with the load."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.rig.case import Case, DeadForce, Strap
from fitsim.rig.load import GRAVITY, dead_forces
from fitsim.rig.rig import ring_behind_front
from fitsim.rig.straps import strap_to_barrel
from fitsim.tree.rigging import rigging_point

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Back
    from fitsim.rig.load import Load
    from fitsim.rig.rig import Cinch, Rig
    from fitsim.tree.tree import Tree

    Array = NDArray[np.float64]


def cases_for(back: Back, tree: Tree, T_body_tree: Array, rig: Rig, load: Load) -> tuple[Case, ...]:
    """The rig and load as forces on this tree over this back.

    The tree's own weight acts in every case. The pad's does not: the pad lies on the back, whether
    or not there is a tree on it.

    Parameters
    ----------
    back : Back
        Its barrel gives the straps their way.
    tree : Tree
        Its bars carry the rings.
    T_body_tree : (4, 4) array
        Pose in which the straps are laid, as seated.
    rig : Rig
        Cinches.
    load : Load
        Rider, pack or nothing.

    Returns
    -------
    tuple of Case
        "front", "rear", "both" and, with a load, "rider" or "pack". A strap end without tension
        is left out.

    Raises
    ------
    BadSettings
        A ring or a weight would sit beyond the end of the bars.
    """
    front = _cinch_straps("front", rig.front, back, tree, T_body_tree)
    rear = _cinch_straps("rear", rig.rear, back, tree, T_body_tree)
    weight = (tree_weight(tree),)
    unloaded = (
        Case("front", front, weight),
        Case("rear", rear, weight),
        Case("both", front + rear, weight),
    )
    if load.kind == "none":
        return unloaded
    return (*unloaded, Case(load.kind, front + rear, weight + dead_forces(load, tree)))


def tree_weight(tree: Tree) -> DeadForce:
    """The tree's own weight.

    Parameters
    ----------
    tree : Tree
        Its mass and centre of mass.

    Returns
    -------
    DeadForce
        "tree_weight", straight down.
    """
    force = np.array([0.0, 0.0, -GRAVITY * tree.mass])
    return DeadForce("tree_weight", np.array(tree.centre_of_mass, dtype=np.float64), force)


def _cinch_straps(
    which: str, cinch: Cinch, back: Back, tree: Tree, T_body_tree: Array
) -> tuple[Strap, ...]:
    place = ring_behind_front(cinch, tree, which)
    tension = {"left": cinch.tension_left, "right": cinch.tension_right}
    return tuple(
        strap_to_barrel(
            f"{which}_cinch_{bar.side}",
            bar.side,
            rigging_point(tree, bar.side, place),
            T_body_tree=T_body_tree,
            barrel=back.barrel,
            tension=tension[bar.side],
        )
        for bar in tree.bars
        if tension[bar.side] > 0.0
    )
