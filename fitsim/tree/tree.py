"""The noun `Tree`: two bars on arches, with hinges where bars pivot."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from fitsim.scan.scan import Unit

    Surface = tuple[NDArray[np.float64], NDArray[np.int32]]

Side = Literal["left", "right"]

#: Thickness of a bar where nobody says, m (common practice, no source).
USUAL_THICKNESS = 0.024


@dataclass(frozen=True)
class Underside:
    """The face of a bar that bears on the back, as a smooth height field over its own plane.

    Bar frame: xi forward along the bar, eta across the bar (to the animal's left for both
    bars), zeta away from the back. Origin at the middle of the bar's bearing length.

    Attributes
    ----------
    xi : (m,) array, m, ascending, even spacing.
    eta : (k,) array, m, ascending, even spacing.
    height : (m, k) array, m, zeta of the underside; defined (extended smoothly) beyond the edge.
    inside : (m, k) array, m, signed distance to the bar's outline, positive inside.
    front, rear : xi of the bar's two ends, m.
    """

    xi: NDArray[np.float64]
    eta: NDArray[np.float64]
    height: NDArray[np.float64]
    inside: NDArray[np.float64]
    front: float
    rear: float


@dataclass(frozen=True)
class Joint:
    """A hinge or an elastic bend between a bar and the arches.

    Attributes
    ----------
    point : (3,) array, m, tree frame, on the axis.
    axis : (3,) array, unit, tree frame.
    stiffness : N*m/rad, 0 for a free hinge.
    stops : (lowest, highest) angle, rad.
    """

    point: NDArray[np.float64]
    axis: NDArray[np.float64]
    stiffness: float
    stops: tuple[float, float]


@dataclass(frozen=True)
class MountedBar:
    """A bar's underside placed in the tree frame.

    Attributes
    ----------
    side : "left" or "right".
    underside : the bearing face.
    T_tree_bar : (4, 4) array; point_tree = T_tree_bar @ point_bar.
    joints : from the arches outwards; none for a bar fixed to them.
    thickness : m, of the bar; the usual one where it is not known (a mesh).
    """

    side: Side
    underside: Underside
    T_tree_bar: NDArray[np.float64]
    joints: tuple[Joint, ...] = ()
    thickness: float = USUAL_THICKNESS


@dataclass(frozen=True)
class Tree:
    """Two bars joined by arches.

    Tree frame: x forward, y to the animal's left, z up; x = 0 at the front end of the bearing
    length (where the flare of the free front tips starts), y = 0 midway between the bars.

    Attributes
    ----------
    name : short name shown to people.
    bars : (left, right).
    mass : kg, tree and rigging.
    centre_of_mass : (3,) array, m, tree frame.
    settings : the settings as read, for the record (empty for an imported mesh).
    drawing : makes the closed surface that is drawn; called only where somebody looks at the tree,
        since it costs as much as solving a case.
    notes : sentences for the user: what was assumed when it was read.
    """

    name: str
    bars: tuple[MountedBar, MountedBar]
    mass: float
    centre_of_mass: NDArray[np.float64]
    settings: dict[str, object]
    drawing: Callable[[], Surface]
    notes: tuple[str, ...] = ()

    @cached_property
    def surface(self) -> Surface:
        """Closed surface, tree frame: vertices (n, 3) m and outward triangles (m, 3)."""
        return self.drawing()

    @property
    def vertices(self) -> NDArray[np.float64]:
        """Points of the closed surface, (n, 3) m, tree frame."""
        return self.surface[0]

    @property
    def triangles(self) -> NDArray[np.int32]:
        """Triangles of the closed surface, (m, 3), outward."""
        return self.surface[1]

    @staticmethod
    def read(path_or_name: str | Path, unit: Unit | None = None) -> Tree:
        """Read a tree; see `fitsim.tree.read.read_tree`."""
        from fitsim.tree.read import read_tree

        return read_tree(path_or_name, unit)
