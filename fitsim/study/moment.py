"""A case with a test moment added: how a hand tries whether a tree rocks."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fitsim.rig.case import DeadForce

if TYPE_CHECKING:
    from fitsim.rig.case import Case

_ARM = 0.5  # m, of the two forces that make the moment


def with_moment(case: Case, moment: float) -> Case:
    """Add a couple about the body's y axis to a case.

    Parameters
    ----------
    case : Case
    moment : float, N*m
        Positive presses the front down.

    Returns
    -------
    Case
    """
    force = np.array([0.0, 0.0, moment / (2.0 * _ARM)])
    arm = np.array([_ARM, 0.0, 0.0])
    couple = (DeadForce("test_front", arm, -force), DeadForce("test_rear", -arm, force))
    return replace(case, forces=(*case.forces, *couple))
