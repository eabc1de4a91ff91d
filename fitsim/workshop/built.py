"""A tree with the measures it was built from, as the workshop needs both."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.tree.bar import face_height, inside_outline, roll_rise
from fitsim.tree.build import bar_of
from fitsim.tree.openings import beside_slot
from fitsim.tree.plan import top_round
from fitsim.tree.read import settings_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.bar import Bar
    from fitsim.tree.settings import TreeSettings
    from fitsim.tree.tree import Tree


@dataclass(frozen=True)
class Built:
    """A tree and its measures.

    Attributes
    ----------
    tree : as built.
    settings : what it was built from.
    bar : measures of its bars.
    """

    tree: Tree
    settings: TreeSettings
    bar: Bar

    @property
    def T_tree_left(self) -> NDArray[np.float64]:  # noqa: N802 - T_target_source
        """Pose of the left bar in the tree frame, (4, 4)."""
        return self.tree.bars[0].T_tree_bar


def built(tree: Tree) -> Built:
    """Take a tree's measures out of its settings.

    Parameters
    ----------
    tree : built from settings.

    Returns
    -------
    Built

    Raises
    ------
    BadSettings
        The tree came from a mesh.
    """
    settings = settings_of(tree)
    return Built(tree, settings, bar_of(settings, tree.name))


def upper(bar: Bar, xi: NDArray[np.float64], eta: NDArray[np.float64]) -> NDArray[np.float64]:
    """Height of the left bar's upper face.

    Parameters
    ----------
    bar : its measures.
    xi, eta : arrays of one shape, m.

    Returns
    -------
    Array of that shape, m, zeta.
    """
    above = face_height(bar, xi, eta) + bar.thickness
    above = above - roll_rise(inside_outline(bar, xi, eta), top_round(bar))
    for slot in bar.slots:
        above = above - roll_rise(beside_slot(slot, xi, eta), bar.edge_roll)
    return above


def wood(bar: Bar, xi: NDArray[np.float64], eta: NDArray[np.float64]) -> NDArray[np.float64]:
    """Signed distance to the nearest edge, slots included, positive in the wood.

    Parameters
    ----------
    bar : its measures.
    xi, eta : arrays of one shape, m.

    Returns
    -------
    Array of that shape, m.
    """
    inside = inside_outline(bar, xi, eta)
    for slot in bar.slots:
        inside = np.minimum(inside, beside_slot(slot, xi, eta))
    return inside
