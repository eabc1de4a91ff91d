"""The result of the contact solution for one case: plain arrays, one row per surface node."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Way = Literal[
    "slides forward", "slides back",
    "slides left", "slides right",
    "lifts off", "sinks in",
    "rolls left", "rolls right",
    "tips forward", "tips back",
    "turns left", "turns right",
]  # fmt: skip
"""How a tree that does not stay leaves the back."""


@dataclass(frozen=True)
class AppliedForce:
    """A force acting on the tree, as found at equilibrium.

    Attributes
    ----------
    name : strap, weight or load.
    point : (3,) array, m, body frame.
    force : (3,) array, N, body frame, acting on the tree.
    """

    name: str
    point: NDArray[np.float64]
    force: NDArray[np.float64]


@dataclass(frozen=True)
class Equilibrium:
    """Where the tree comes to rest and how it presses.

    Nodes are the valid nodes of the chart in row-major order (``chart.valid`` flattened).

    Attributes
    ----------
    found : whether the tree stays on. When False every other number is the last state met on
        the way out, kept for drawing only; it must not be shown as a result.
    leaves : when not found, the way it leaves.
    residual : -, largest of the six unbalanced components, as a share of the applied load
        (moments made comparable with half the bar length).
    iterations : Newton iterations used.
    T_body_tree : (4, 4) array, pose of the tree at rest.
    T_body_tree_seat : (4, 4) array, pose it was seated in before any load.
    joint_angles : (j,) array, rad, left bar's joints then right bar's.
    pressure : (n,) array, Pa, normal pressure on the skin, >= 0 (force per whole cell area).
    shear : (n, 3) array, Pa, traction on the back, body frame, in the tangent plane.
    gap : (n,) array, m, clearance between bar and pad over the deformed back along the
        node's normal, 0 in contact, nan where no bar is above.
    indentation : (n,) array, m, how far the skin is pressed in.
    bar : (n,) int array, 1 under the left bar, -1 under the right bar, 0 under none.
    along : (n,) array, -, place along that bar, 0 at its front end, 1 at its rear; nan if none.
    forces : what acts on the tree, without the contact itself.
    """

    found: bool
    leaves: Way | None
    residual: float
    iterations: int
    T_body_tree: NDArray[np.float64]
    T_body_tree_seat: NDArray[np.float64]
    joint_angles: NDArray[np.float64]
    pressure: NDArray[np.float64]
    shear: NDArray[np.float64]
    gap: NDArray[np.float64]
    indentation: NDArray[np.float64]
    bar: NDArray[np.int_]
    along: NDArray[np.float64]
    forces: tuple[AppliedForce, ...]
