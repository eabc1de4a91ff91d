"""Stiffening of tissue as it is squeezed towards the bone.

The linear compliance answers with a sinking u; the true indentation d of a layer of depth h is
smaller, and cannot pass the bone: d = h (1 - exp(-u/h)), or u = -h ln(1 - d/h). To first order
the two agree, so the linear layer is the small-indentation limit.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Beyond this share of the depth the law runs on straight, so that a step that overshoots the
# bone can still be taken back.
_STRAIGHT_FROM = 0.9


def linear_sinking(indentation: Array, depth: Array) -> tuple[Array, Array]:
    """Linear sinking u (m) that stands for an indentation d (m), and du/dd.

    Parameters
    ----------
    indentation : (n,) array, m
        Below 0 (no contact) it is returned as it is.
    depth : (n,) array, m
        Skin to bone; infinite for a back that does not stiffen.

    Returns
    -------
    u : (n,) array, m
    slope : (n,) array, -

    Examples
    --------
    >>> u, slope = linear_sinking(np.array([0.0, 0.01]), np.array([0.05, 0.05]))
    >>> [round(float(v), 5) for v in u], [round(float(v), 3) for v in slope]
    ([0.0, 0.01116], [1.0, 1.25])
    """
    share = indentation / depth
    bounded = np.clip(share, 0.0, _STRAIGHT_FROM)
    slope = 1.0 / (1.0 - bounded)
    # -h ln(1 - d/h) without the 0 * inf of an infinitely deep layer
    with np.errstate(invalid="ignore"):
        curved = np.where(np.isinf(depth), indentation, -depth * np.log1p(-bounded))
    rest = np.where(
        np.isinf(depth), 0.0, indentation - bounded * np.where(np.isinf(depth), 0.0, depth)
    )
    return curved + rest * slope, slope


def true_indentation(sinking: Array, depth: Array) -> Array:
    """Indentation d (m) that a linear sinking u (m) stands for, d = h (1 - exp(-u/h)).

    Examples
    --------
    >>> round(float(true_indentation(np.array([0.011157]), np.array([0.05]))[0]), 4)
    0.01
    """
    with np.errstate(invalid="ignore"):
        curved = -depth * np.expm1(-sinking / depth)
    return np.where(np.isinf(depth) | (sinking < 0.0), sinking, curved)
