"""The elastic half-space on a grid: the limit of an endlessly deep back, for checks and timing."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def half_space_table(modulus: float, shape: tuple[int, int], spacing: float) -> Array:
    """Sinking of a cell's middle per newton spread evenly over another cell, for every offset.

    Parameters
    ----------
    modulus : float, Pa
        Contact modulus E / (1 - nu^2).
    shape : (nx, nt)
        Grid size, nodes.
    spacing : float, m
        Side of a cell.

    Returns
    -------
    (2 nx - 1, 2 nt - 1) array, m/N
        Laid out as `fitsim.contact.kernel.influence_tables` does.

    References
    ----------
    Love AEH 1929, Phil Trans R Soc A 228:377-420, doi:10.1098/rsta.1929.0009: Boussinesq's
    solution integrated over a rectangle.

    Examples
    --------
    Far off the cell is a point, 1 / (pi E* r):

    >>> table = half_space_table(1e5, (40, 1), 0.01)
    >>> round(float(table[-1, 0] * np.pi * 1e5 * 0.39), 3)
    1.0
    """
    edges = [(np.arange(1 - n, n + 1) - 0.5) * spacing for n in shape]
    x, y = edges[0][:, None], edges[1][None, :]
    corner = x * np.arcsinh(y / np.abs(x)) + y * np.arcsinh(x / np.abs(y))
    table: Array = np.diff(np.diff(corner, axis=0), axis=1) / (np.pi * modulus * spacing**2)
    return table
