"""A spring scale hooked to the tree: pulled out bit by bit, it shows what the tree bears.

A force that grows until nothing holds it tells only that the tree has gone. Pulled through a stiff
spring, the force finds its own size at every stretch: it rises, tops out and falls, and its top
is what the tree bears (the testing of materials calls it loading by displacement).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fitsim.rig.case import Strap

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.rig.case import Case

    Array = NDArray[np.float64]

NAME = "spring_scale"
STIFFNESS = 1.0e5  # N/m: stiff beside a back under a tree (about 2e4), so that the way is given
_FAR = 100.0  # m: the far end, so far that the pull keeps its direction


def with_spring_scale(
    case: Case,
    point_tree: Array,
    towards: Array,
    stretch: float,
    T_body_tree: Array,
) -> Case:
    """The case with a spring scale hooked on and pulled out.

    Parameters
    ----------
    case : Case
    point_tree : (3,) array, m
        Where it is hooked on, tree frame.
    towards : (3,) array
        Which way it pulls, body frame.
    stretch : float, m
        How far its far end is pulled out from where it would hang slack in that pose.
    T_body_tree : (4, 4) array
        Pose from which the stretch counts.

    Returns
    -------
    Case
        It pulls `STIFFNESS` times what of the stretch the tree has not followed.
    """
    hook = T_body_tree[:3, :3] @ point_tree + T_body_tree[:3, 3]
    anchor = hook + _FAR * towards / np.linalg.norm(towards)
    scale = Strap(NAME, np.asarray(point_tree), anchor, 0.0, STIFFNESS, _FAR - stretch)
    return replace(case, straps=(*case.straps, scale))
