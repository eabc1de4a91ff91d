"""Two trees' undersides laid against each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from fitsim.errors import BadSettings
from fitsim.tree.faces import height_at
from fitsim.tree.placed import placed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.tree import MountedBar, Tree

#: Points this far inside both outlines are laid on each other, m: no rolled edges.
WITHIN = 0.010

#: Least share of the first tree's undersides that the second must cover, -.
ENOUGH = 0.2


@dataclass(frozen=True)
class Against:
    """Where one tree's undersides are nearer to a back than another's.

    Attributes
    ----------
    tree, other : the two.
    lower : per bar (left, right), (m, k) array, m, on the first tree's grid: by how much the other
        tree's underside is nearer to the back there; nan where either has none.
    pitch : rad, by which the other one was turned front down to lie on the first.
    rms : m, of what is left over the ground both bear on.
    """

    tree: Tree
    other: Tree
    lower: tuple[NDArray[np.float64], NDArray[np.float64]]
    pitch: float
    rms: float


def against(tree: Tree, other: Tree) -> Against:
    """Lay one tree on another as both would lie on a back, and measure between them.

    Parameters
    ----------
    tree, other : their joints at rest.

    Returns
    -------
    Against
        The front ends of both bearing lengths are at one place, as `fitsim.tree.seat` puts them;
        the other tree is raised and pitched until it lies on the first as well as it can.

    Raises
    ------
    BadSettings
        They do not lie over each other.

    Examples
    --------
    >>> from fitsim.tree.read import read_tree
    >>> found = against(read_tree("riding-middle"), read_tree("riding-middle"))
    >>> round(found.rms, 6)
    0.0
    """
    clouds = [_cloud(bar) for bar in tree.bars]

    def between(freedoms: NDArray[np.float64]) -> list[NDArray[np.float64]]:
        T = _pose(freedoms)
        return [
            _lower(placed(T, points), inside, bar)
            for (points, inside), bar in zip(clouds, other.bars, strict=True)
        ]

    both = [
        np.isfinite(gap) & (inside > WITHIN)
        for gap, (_, inside) in zip(between(np.zeros(2)), clouds, strict=True)
    ]
    if sum(one.sum() for one in both) < ENOUGH * sum(
        (inside > WITHIN).sum() for _, inside in clouds
    ):
        raise BadSettings(
            other.name, f"does not lie over {tree.name}", "compare trees of like spread and length"
        )

    def misfit(freedoms: NDArray[np.float64]) -> NDArray[np.float64]:
        gaps = between(freedoms)
        kept = [gap[some] for gap, some in zip(gaps, both, strict=True)]
        return np.nan_to_num(np.concatenate(kept))

    found = least_squares(misfit, np.zeros(2), x_scale=np.array([0.01, 0.05]))
    left, right = (
        gap.reshape(bar.underside.height.shape)
        for gap, bar in zip(between(found.x), tree.bars, strict=True)
    )
    rms = float(np.sqrt(np.mean(found.fun**2)))
    # What was turned is the first tree, into the frame of the other.
    return Against(tree, other, (left, right), -float(found.x[1]), rms)


def _pose(freedoms: NDArray[np.float64]) -> NDArray[np.float64]:
    T = np.eye(4)
    T[:3, :3] = Rotation.from_euler("y", freedoms[1]).as_matrix()
    T[2, 3] = freedoms[0]
    return T


def _cloud(bar: MountedBar) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """All grid points of an underside in the tree frame, and how far inside its outline each is."""
    face = bar.underside
    xi, eta = np.meshgrid(face.xi, face.eta, indexing="ij")
    points = np.column_stack([xi.ravel(), eta.ravel(), face.height.ravel()])
    return placed(bar.T_tree_bar, points), face.inside.ravel()


def _lower(
    points: NDArray[np.float64], inside: NDArray[np.float64], bar: MountedBar
) -> NDArray[np.float64]:
    """How far below points the underside of another bar lies, square to it; nan beyond either."""
    from scipy.interpolate import RegularGridInterpolator

    face = bar.underside
    xi, eta, zeta = placed(np.linalg.inv(bar.T_tree_bar).astype(np.float64), points).T
    outline = RegularGridInterpolator(
        (face.xi, face.eta), face.inside, bounds_error=False, fill_value=-1.0
    )
    on = (inside >= 0.0) & (outline(np.column_stack([xi, eta])) >= 0.0)
    gap = np.full(len(points), np.nan)
    gap[on] = zeta[on] - height_at(face, xi[on], eta[on])
    return gap
