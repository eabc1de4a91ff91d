"""Breast strap, breeching and crupper: where they go on the animal, as straps of the tree.

Scans end at the shoulder and the rump, so their far ends are placed by the animal's usual
proportions. They matter little: these straps run nearly level, and what counts is their slack.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.rig.case import Strap
from fitsim.rig.rings import bar_length, within_bar
from fitsim.tree.rigging import rigging_point

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.back.back import Back
    from fitsim.rig.rig import Holdback, Rig
    from fitsim.tree.tree import Tree

    Array = NDArray[np.float64]

# Shares of the withers height, from memory, of an animal as long as it is high: point of shoulder
# ahead of the blade's rear edge and below the withers; buttock behind and below; tail root.
_SHOULDER = (0.26, -0.36)
_BUTTOCK = (-0.74, -0.28)
_TAIL = (-0.72, -0.08)
_HALF_WIDTH = {"breast_strap": 0.15, "breeching": 0.16}


def holdback_straps(rig: Rig, back: Back, tree: Tree, T_body_tree: Array) -> tuple[Strap, ...]:
    """Breast strap, breeching and crupper of a rig as elastic straps with slack.

    Parameters
    ----------
    rig : Rig
    back : Back
        Its size and withers place the far ends.
    tree : Tree
        Carries the near ends.
    T_body_tree : (4, 4) array
        Pose in which the slack is given.

    Returns
    -------
    tuple of Strap
        "breast_strap_left", "breast_strap_right", "breeching_left", "breeching_right", "crupper":
        those the rig has. They pull once they are longer by the slack than in this pose.

    Raises
    ------
    BadSettings
        One is made fast beyond the end of the bars.
    """
    ends = far_ends(back)
    given: Mapping[str, Holdback | None] = {
        "breast_strap": rig.breast_strap,
        "breeching": rig.breeching,
        "crupper": rig.crupper,
    }
    straps = []
    for name, holdback in given.items():
        if holdback is None:
            continue
        left, right = _near_ends(name, holdback, tree)
        if name == "crupper":
            straps.append(_slack(name, 0.5 * (left + right), ends[name], holdback, T_body_tree))
            continue
        for side, near in (("left", left), ("right", right)):
            far = ends[name] * (1.0, 1.0 if side == "left" else -1.0, 1.0)
            straps.append(_slack(f"{name}_{side}", near, far, holdback, T_body_tree))
    return tuple(straps)


def far_ends(back: Back) -> dict[str, Array]:
    """Where the left side of each of these straps meets the animal, body frame.

    Parameters
    ----------
    back : Back

    Returns
    -------
    dict of (3,) arrays, m
        "breast_strap" at the point of the shoulder, "breeching" at the buttock, "crupper" at the
        root of the tail. Estimates from the withers height.
    """
    height = back.withers_height
    withers = back.marks.get("withers")
    top = float(back.chart.points[..., 2].max() if withers is None else withers.points[0, 2])
    places = {"breast_strap": _SHOULDER, "breeching": _BUTTOCK, "crupper": _TAIL}
    return {
        name: np.array([x * height, _HALF_WIDTH.get(name, 0.0) * height, top + z * height])
        for name, (x, z) in places.items()
    }


def _near_ends(name: str, holdback: Holdback, tree: Tree) -> tuple[Array, Array]:
    """Where it is made fast on the left and the right bar, tree frame."""
    length = bar_length(tree)
    usual = 0.0 if name == "breast_strap" else length
    place = usual if holdback.behind_front is None else holdback.behind_front
    within_bar(place, length, f"{name}.behind_front")
    return rigging_point(tree, "left", place), rigging_point(tree, "right", place)


def _slack(name: str, near: Array, far: Array, holdback: Holdback, T_body_tree: Array) -> Strap:
    ring = T_body_tree[:3, :3] @ near + T_body_tree[:3, 3]
    length = float(np.linalg.norm(far - ring))
    return Strap(name, near, far, 0.0, holdback.stiffness, length + holdback.slack)
