"""The back without its bumps: a surface stiff at the length of a bar that bumps do not pull up."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu

if TYPE_CHECKING:
    from numpy.typing import NDArray

BAR = 0.40
"""m, on an animal of 1.5 m: waves shorter than this, about a bar's length, are bumps."""

BUMP = 0.006
"""m: what stands off by more than this has no pull on the smooth back."""

ROUNDS = 6


@dataclass(frozen=True)
class SmoothBack:
    """A smooth surface and what stands off it.

    Attributes
    ----------
    height : (nx, nt, k) array, m: of each of the k surfaces over the smooth one, outward.
    pull : (nx, nt, k) array, 0..1: how much each node had a say in the smooth one.
    """

    height: NDArray[np.float64]
    pull: NDArray[np.float64]


def smooth_back(
    points: NDArray[np.float64],
    measured: NDArray[np.bool_],
    wave: float,
    pull: NDArray[np.float64] | None = None,
    rounds: int = ROUNDS,
) -> SmoothBack:
    """Lay one smooth surface through one or more surfaces on the same grid.

    Parameters
    ----------
    points : (nx, nt, 3, k) array, m; columns run to the left.
    measured : (nx, nt, k) bool array.
    wave : float
        Waves shorter than this many grid steps are left out of the smooth surface.
    pull : (nx, nt, k) array, optional
        To begin with, from an earlier call on nearly the same surfaces.
    rounds : int
        Of reweighting.

    Returns
    -------
    SmoothBack

    Notes
    -----
    Minimises the weighted squared distance plus the squared third differences along and across
    (Whittaker smoothing of third order: a quadratic is smooth), with Tukey's biweight.

    References
    ----------
    Eilers P H C 2003, A perfect smoother, Analytical Chemistry 75, 3631. doi:10.1021/ac034173t

    Examples
    --------
    >>> import numpy as np
    >>> x, y = np.meshgrid(np.arange(40.0), np.arange(30.0), indexing="ij")
    >>> flat = np.stack([x, y, 0.01 * (np.hypot(x - 20, y - 15) < 3)], axis=-1)[..., None]
    >>> smooth = smooth_back(flat, np.ones((40, 30, 1), bool), wave=40.0)
    >>> round(float(smooth.height[20, 15, 0]), 3)
    0.01
    """
    rows, columns = points.shape[:2]
    stiff = _stiffness(rows, columns, wave)
    weight = measured.astype(float)
    pull = np.ones(weight.shape) if pull is None else pull
    height = np.zeros(weight.shape)
    for _ in range(rounds):
        share = weight * pull
        system = sparse.diags_array(share.sum(axis=-1).ravel() + UNTOUCHED) + stiff
        right = np.einsum("xtck,xtk->xtc", points, share).reshape(-1, 3)
        # Symmetric, so ordered as such and without pivots: two thirds of the time
        factor = splu(
            system.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )  # fmt: skip
        surface = factor.solve(right).reshape(rows, columns, 3)
        normal = np.cross(np.gradient(surface, axis=0), np.gradient(surface, axis=1))
        normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
        height = np.einsum("xtck,xtc->xtk", points - surface[..., None], normal)
        pull = np.maximum(1.0 - (height / BUMP) ** 2, 0.0) ** 2 + LEAST_PULL
    return SmoothBack(height, pull)


UNTOUCHED = 1e-9
"""Keeps the system solvable where nothing was measured."""

LEAST_PULL = 0.01
"""A node wholly left out could never come back in."""


@lru_cache(maxsize=2)
def _stiffness(rows: int, columns: int, wave: float) -> sparse.csc_array:
    """Penalty on third differences: half of a wave as long as `wave` is left.

    Kept, since a pocket is looked for on one grid a dozen times; nothing changes it in place.
    """
    along = sparse.kron(_third(rows), sparse.eye_array(columns))
    across = sparse.kron(sparse.eye_array(rows), _third(columns))
    return sparse.csc_array((wave / (2.0 * np.pi)) ** 6 * (along.T @ along + across.T @ across))


def _third(count: int) -> sparse.dia_array:
    return sparse.diags_array(
        [-1.0, 3.0, -3.0, 1.0], offsets=[0, 1, 2, 3], shape=(count - 3, count)
    )
