"""Points carried from one frame into another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


def placed(
    T_target_source: NDArray[np.float64], points: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Points as the target frame sees them.

    Parameters
    ----------
    T_target_source : (4, 4) array, rigid.
    points : (n, 3) array, m, source frame.

    Returns
    -------
    (n, 3) array, m, target frame.

    Examples
    --------
    >>> T = np.eye(4)
    >>> T[:3, 3] = 0.1, 0.0, 0.2
    >>> placed(T, np.zeros((1, 3)))
    array([[0.1, 0. , 0.2]])
    """
    return np.asarray(points @ T_target_source[:3, :3].T + T_target_source[:3, 3])
