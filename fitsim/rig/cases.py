"""The cases of a fit: front cinch, rear cinch, both, and both with the load."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fitsim.rig.case import Case, DeadForce, Strap
from fitsim.rig.going import LEVEL, Going, pull_of_gravity
from fitsim.rig.holdbacks import holdback_straps
from fitsim.rig.load import dead_forces
from fitsim.rig.rig import ring_behind_front
from fitsim.rig.straps import strap_to_barrel
from fitsim.tree.rigging import rigging_point

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Back
    from fitsim.rig.load import Load
    from fitsim.rig.rig import Cinch, Rig
    from fitsim.tree.tree import Side, Tree

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
        Cinches and what else holds the tree.
    load : Load
        Rider, pack or nothing, and the going.

    Returns
    -------
    tuple of Case
        "front", "rear", "both" and, with a load, "rider" or "pack". A strap end that cannot pull
        is left out; breast strap, breeching and crupper are there in every case.

    Raises
    ------
    BadSettings
        A ring or a weight would sit beyond the end of the bars.
    """
    held = holdback_straps(rig, back, tree, T_body_tree)
    front, rear = _cinches(rig, back, tree, T_body_tree)
    weight = (tree_weight(tree, load.going),)
    unloaded = (
        Case("front", front + held, weight),
        Case("rear", rear + held, weight),
        Case("both", front + rear + held, weight),
    )
    if load.kind == "none":
        return unloaded
    return (*unloaded, Case(load.kind, front + rear + held, weight + dead_forces(load, tree)))


def tree_weight(tree: Tree, going: Going = LEVEL) -> DeadForce:
    """The tree's own weight.

    Parameters
    ----------
    tree : Tree
        Its mass and centre of mass.
    going : Going
        Slope, turn and gait.

    Returns
    -------
    DeadForce
        "tree_weight".
    """
    centre = np.array(tree.centre_of_mass, dtype=np.float64)
    return DeadForce("tree_weight", centre, tree.mass * pull_of_gravity(going))


def _cinches(
    rig: Rig, back: Back, tree: Tree, T_body_tree: Array
) -> tuple[tuple[Strap, ...], tuple[Strap, ...]]:
    """Strap ends of the front and of the rear cinch."""
    front_place = ring_behind_front(rig.front, tree, "front")
    rear_place = ring_behind_front(rig.rear, tree, "rear")
    rear = rig.rear
    if rig.connecting is not None and rig.front.pulls:
        # The belly end of the rear cinch lies no farther behind the front's than the strap is long.
        most = rig.front.swing + rig.connecting - (rear_place - front_place)
        rear = replace(rear, swing=min(rear.swing, most))
    return (
        _cinch_straps("front", rig.front, front_place, back, tree, T_body_tree),
        _cinch_straps("rear", rear, rear_place, back, tree, T_body_tree),
    )


def _cinch_straps(  # noqa: PLR0917 - a cinch, and all that its straps run over
    which: str, cinch: Cinch, place: float, back: Back, tree: Tree, T_body_tree: Array
) -> tuple[Strap, ...]:
    tension = {"left": cinch.tension_left, "right": cinch.tension_right}
    return tuple(
        strap_to_barrel(
            f"{which}_cinch_{bar.side}",
            bar.side,
            _ring(tree, bar.side, place, cinch),
            T_body_tree=T_body_tree,
            barrel=back.barrel,
            tension=tension[bar.side],
            stiffness=cinch.stiffness,
            swing=cinch.swing,
        )
        for bar in tree.bars
        if tension[bar.side] > 0.0 or cinch.stiffness > 0.0
    )


def _ring(tree: Tree, side: Side, place: float, cinch: Cinch) -> Array:
    """A cinch's ring on one side, tree frame."""
    outward = 1.0 if side == "left" else -1.0
    offset = np.array([0.0, outward * cinch.beside, cinch.above])
    return np.asarray(rigging_point(tree, side, place) + offset)
