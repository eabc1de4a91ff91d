"""One tree over one back: everything that stays the same from case to case."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.bars import overhead, place_bar
from fitsim.contact.compliance import Compliance, compliance_of
from fitsim.contact.underside import Face, face_of

if TYPE_CHECKING:
    from fitsim.contact.foundation import Foundation
    from fitsim.rig.case import Pad
    from fitsim.tree.tree import Tree, Underside

Array = NDArray[np.float64]
Index = NDArray[np.int_]

# Nodes this far beyond the bars' outlines are kept ready for a bar that slides.
MARGIN = 0.03
_HIGHEST = 0.15  # m; a bar farther away than this is not above a node
_ASKEW = np.radians(45.0)  # a bar faces the nodes below it to within this


@dataclass(frozen=True)
class Problem:
    """A tree seated on a back, with the compliance between the nodes it may touch.

    Attributes
    ----------
    foundation, tree, pad : as given.
    face : the two undersides, left then right.
    T_body_tree_seat : (4, 4) array, where the tree was laid.
    T_body_tree_near : (4, 4) array, where it was when the near nodes were chosen.
    near : (m,) int array, nodes of the foundation within `MARGIN` of a bar.
    bar : (m,) int array, 0 or 1, the bar above each.
    compliance : between the near nodes, see `fitsim.contact.compliance`.
    centre_tree : (3,) array, m, tree frame, middle of the bars: pose and moments refer to it.
    half_length : m, half the bar's length; a moment over it compares with a force.
    joints : number of joints of the two bars.
    """

    foundation: Foundation
    tree: Tree
    pad: Pad
    face: Face
    T_body_tree_seat: Array
    T_body_tree_near: Array
    near: Index
    bar: Index
    compliance: Compliance
    centre_tree: Array
    half_length: float
    joints: tuple[int, ...]

    def over(self, foundation: Foundation, pad: Pad) -> Problem:
        """The same tree laid in the same place over other tissue, or over another pad.

        Parameters
        ----------
        foundation : Foundation
            Of the same nodes.
        pad : Pad

        Returns
        -------
        Problem
        """
        compliance = compliance_of(foundation, self.near)
        return replace(self, foundation=foundation, pad=pad, compliance=compliance)

    @cached_property
    def points(self) -> Array:
        """(m, 3) skin positions, m."""
        return self.foundation.points[self.near]

    @cached_property
    def normals(self) -> Array:
        """(m, 3) outward normals."""
        return self.foundation.normals[self.near]

    @cached_property
    def area(self) -> Array:
        """(m,) m2, of each node's cell."""
        return self.foundation.area[self.near]

    @cached_property
    def depth(self) -> Array:
        """(m,) m, skin to bone."""
        return self.foundation.depth[self.near]


def prepare(
    foundation: Foundation,
    tree: Tree,
    pad: Pad,
    T_body_tree_seat: Array,
    T_body_tree_now: Array | None = None,
) -> Problem:
    """Gather what every case of one tree on one back shares.

    Parameters
    ----------
    foundation : Foundation
    tree : Tree
    pad : Pad
    T_body_tree_seat : (4, 4) array
        Where the tree is laid, touching nothing or just touching.
    T_body_tree_now : (4, 4) array, optional
        Where it is now, if it has slid away from there.

    Returns
    -------
    Problem
    """
    face = face_of(*(bar.underside for bar in tree.bars))
    now = T_body_tree_seat if T_body_tree_now is None else T_body_tree_now
    near, bar = _nodes_near(foundation, tree, face, now)
    ends = np.concatenate([face.front, face.rear])
    middles = [
        mounted.T_tree_bar @ [middle, 0.0, 0.0, 1.0]
        for mounted, middle in zip(tree.bars, 0.5 * (face.front + face.rear), strict=True)
    ]
    return Problem(
        foundation=foundation,
        tree=tree,
        pad=pad,
        face=face,
        T_body_tree_seat=T_body_tree_seat,
        T_body_tree_near=now,
        near=near,
        bar=bar,
        compliance=compliance_of(foundation, near),
        centre_tree=np.mean(middles, axis=0)[:3],
        half_length=float(ends.max() - ends.min()) / 2.0,
        joints=tuple(len(bar.joints) for bar in tree.bars),
    )


def _nodes_near(
    foundation: Foundation, tree: Tree, face: Face, T_body_tree: Array
) -> tuple[Index, Index]:
    """Nodes within the margin of a bar, and which bar; the nearer one where both are."""
    inside = np.full((len(tree.bars), len(foundation.nodes)), -np.inf)
    for side, mounted in enumerate(tree.bars):
        T_body_bar, _ = place_bar(T_body_tree, mounted, np.zeros(len(mounted.joints)))
        about = np.flatnonzero(_about(foundation.points, T_body_bar, mounted.underside))
        above = overhead(
            face,
            np.stack([T_body_bar] * len(tree.bars)),
            foundation.points[about],
            foundation.normals[about],
            bar=np.full(len(about), side),
        )
        inside[side, about] = np.where(above.distance < _HIGHEST, above.inside, -np.inf)
    near = np.flatnonzero(inside.max(axis=0) > -MARGIN)
    return near, inside[:, near].argmax(axis=0)


def _about(points: Array, T_body_bar: Array, underside: Underside) -> NDArray[np.bool_]:
    """Which points (n,) may have a bar above them or not far beside them: seen square to it."""
    at = (points - T_body_bar[:3, 3]) @ T_body_bar[:3, :3]
    beyond = [
        np.maximum(grid[0] - at[:, i], at[:, i] - grid[-1])
        for i, grid in enumerate((underside.xi, underside.eta))
    ]
    return np.asarray(np.maximum(*beyond) < MARGIN + _HIGHEST * np.sin(_ASKEW))
