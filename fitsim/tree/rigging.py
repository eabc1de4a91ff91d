"""Where straps attach to a tree."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.tree.faces import height_at

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.tree import Side, Tree

#: How far in from the bar's outer edge a ring hangs, m.
FROM_EDGE = 0.004


def rigging_point(tree: Tree, side: Side, along_m: float) -> NDArray[np.float64]:
    """Ring on top of a bar's outer edge, its bars at rest.

    Straps pull on the body of the tree, that is on its arches: a ring keeps its place in the tree
    frame, and where a bar hangs on a hinge the pull reaches it through the hinge alone.

    Parameters
    ----------
    tree : whose bar.
    side : "left" or "right".
    along_m : m, behind the bar's front tip; held on the bar.

    Returns
    -------
    (3,) array, m, tree frame.

    Examples
    --------
    >>> from fitsim.tree.read import read_tree
    >>> rigging_point(read_tree("pack-fixed"), "left", 0.12).round(2)
    array([-0.06,  0.12,  0.01])
    """
    bar = tree.bars[0 if side == "left" else 1]
    face = bar.underside
    xi = float(np.clip(face.front - along_m, face.rear, face.front))
    outward = 1.0 if side == "left" else -1.0
    row = int(np.abs(face.xi - xi).argmin())
    under = face.eta[face.inside[row] >= min(FROM_EDGE, face.inside[row].max())]
    eta = float(outward * (outward * under).max())
    zeta = float(height_at(face, np.array([xi]), np.array([eta]))[0])
    point = bar.T_tree_bar @ np.array([xi, eta, zeta + bar.thickness, 1.0])
    return np.asarray(point[:3])
