"""Stiffening of tissue as it is squeezed towards the bone.

The linear compliance answers with a sinking u; the true indentation d of a layer of depth h is
smaller, and cannot pass the bone: u = d / (1 - (d/h)^2). The law has no term in d/h alone: finite
strain elements, and CalculiX's, press a neo-Hookean layer by a tenth of its depth with within 1 %
of the linear layer's force, and stiffen from there (docs/validation.md has the comparison, and
the law -h ln(1 - d/h) beside it).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Beyond this share of the depth the law runs on straight, so that a step that overshoots the
# bone can still be taken back.
_STRAIGHT_FROM = 0.8


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
    ([0.0, 0.01042], [1.0, 1.128])
    """
    share = np.clip(indentation / depth, 0.0, _STRAIGHT_FROM)
    left = 1.0 - share * share
    slope = (1.0 + share * share) / (left * left)
    # written as d plus what the law adds, which is 0 for an infinitely deep layer
    beyond = np.where(share < _STRAIGHT_FROM, 0.0, indentation - _STRAIGHT_FROM * depth)
    u = (indentation - beyond) * (1.0 + share * share / left) + beyond * slope
    return u, slope


def true_indentation(sinking: Array, depth: Array) -> Array:
    """Indentation d (m) that a linear sinking u (m) stands for: the law's inverse.

    d = 2 u / (1 + sqrt(1 + 4 (u/h)^2)), the root of u (1 - (d/h)^2) = d between 0 and h.

    Examples
    --------
    >>> round(float(true_indentation(np.array([0.0104167]), np.array([0.05]))[0]), 4)
    0.01
    """
    bent = 2.0 * sinking / (1.0 + np.sqrt(1.0 + 4.0 * np.square(sinking / depth)))
    return np.where(sinking < 0.0, sinking, bent)
