"""Where the tree is, and where a small step takes it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.bars import about

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pose:
    """Where the tree is: T_body_tree (4, 4) and joint angles (j,) rad, left bar's first."""

    T_body_tree: Array
    angles: Array

    def moved(self, step: Array, centre: Array) -> Pose:
        """Pose after a step (6 + j,): translation m, rotation rad about a body point, joints."""
        T = about(centre, step[3:6]) @ self.T_body_tree
        T[:3, 3] += step[:3]
        return Pose(T, self.angles + step[6:])
