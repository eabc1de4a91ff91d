"""What stands or hangs about an animal and is no part of it: a rope, and who holds it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.spatial import cKDTree

from fitsim.scan.cells import cells_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

CELL: Final = 0.02
"""Side of a cell, m: a rope is one or two cells thick, a leg five or more."""
STRING: Final = 0.05
"""A place is a string's if its neighbourhood is less than this as wide as long (as variances); the
strip between two borders of a scan that is 6 cm wide has 0.08."""
TALL: Final = (1.1, 2.1)
"""m: a person's scanned length."""
SLIM: Final = 0.50
"""A person's width over their length, arms at their sides or one of them out."""
UPRIGHT: Final = np.cos(np.radians(25.0))
ON_FLOOR: Final = 0.15
"""m: nearer than this to a sheet a piece stands on it."""
LIKELY: Final = 0.02
"""Share of the largest piece from which a piece is looked at."""

_NEIGHBOURS: Final = 32


def strings(points: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell what is long and thin: ropes, straps hanging free, wires, rails' edges.

    Parameters
    ----------
    points : (n, 3) array, m

    Returns
    -------
    (n,) bool array

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(0)
    >>> sheet = rng.uniform(0, 1, (4_000, 3)) * [1, 1, 0]
    >>> rope = rng.uniform(0, 1, (400, 3)) * [0.01, 0.01, 1] + [0, 0, 0.1]
    >>> found = strings(np.r_[sheet, rope])
    >>> bool(found[:4_000].mean() < 0.01), bool(found[4_000:].mean() > 0.9)
    (True, True)
    """
    place, centres = cells_of(points, CELL)
    if len(centres) <= _NEIGHBOURS:
        return np.zeros(len(points), dtype=bool)
    near = np.asarray(cKDTree(centres).query(centres, k=_NEIGHBOURS, workers=2)[1])
    spread = centres[near] - centres[near].mean(axis=1, keepdims=True)
    across, along = np.linalg.eigvalsh(np.einsum("nki,nkj->nij", spread, spread))[:, 1:].T
    return np.asarray((across < STRING * along)[place])


def people(
    points: NDArray[np.float64],
    piece: NDArray[np.int32],
    weight: NDArray[np.float64],
    sheets: NDArray[np.float64],
) -> NDArray[np.bool_]:
    """Tell the pieces that stand upright on a floor, as tall and slim as a person.

    Parameters
    ----------
    points : (n, 3) array, m
    piece : (n,) int array
        Piece of each.
    weight : (n,) array
        What each counts for: its share of the surface.
    sheets : (k, 4) array
        Floors and walls, unit normal and offset, m. Without one nobody can be told from a trunk
        that hangs upright in the scan.

    Returns
    -------
    (n,) bool array

    Notes
    -----
    An animal before a wall lies along the wall's normal too, but does not reach it with all its
    breadth; one that does is longer than `TALL` or stouter than `SLIM` (a trunk of 1.3 m is
    0.5 m wide and has its croup half a metre from the wall, or the scanner could not get there).
    """
    found = np.zeros(len(points), dtype=bool)
    size = np.bincount(piece, weights=weight)
    for number in np.flatnonzero(size >= LIKELY * size.max()):
        mine = piece == number
        few = points[mine][:: max(1, int(mine.sum()) // 4_000)]
        if any(_stands_on(few, sheet) for sheet in sheets):
            found |= mine
    return found


def _stands_on(points: NDArray[np.float64], sheet: NDArray[np.float64]) -> bool:
    """Whether a piece stands upright on a sheet, tall and slim."""
    height = points @ sheet[:3] - sheet[3]
    low, high = np.percentile(np.abs(height), [0.5, 99.5])
    if low > ON_FLOOR or not TALL[0] < high - low < TALL[1]:
        return False
    axes = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2]
    if abs(axes[0] @ sheet[:3]) < UPRIGHT:
        return False
    wide = np.ptp(np.percentile(points @ axes[1], [1.0, 99.0]))
    return bool(wide < SLIM * (high - low))
