"""Which tissue a point of the skin feels: the depth to bone around it, not under it alone.

A layer's surface answers to its bone through the tractions it raises there. Where the bone lies
deeper by dh the compliance between two places changes by

    dC = integral of (shear1 shear2 / G + normal1 normal2 / M) dh over the bone,

M the oedometric modulus (Hadamard's formula for a moved boundary, from memory; it gives the
derivative of the layer's closed form with depth to 1e-7). Those tractions spread over about a
depth, so a small change of depth counts by its mean over a Gaussian whose standard deviation is
0.4 to 0.5 depths at the waves a bar makes (1.2 < k h < 2.2, Poisson 0.47). A large one counts by
a mean that leans to the shallow side, as squeezed tissue has to flow past the narrows: the
harmonic mean, chosen on troughs and cliffs solved with finite elements (docs/validation.md).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Array = NDArray[np.float64]

REACH = 0.57
"""-, standard deviation of the Gaussian over the depth of tissue; see above. A quarter more than
the middle of what small changes ask for: with it a tree sinks as far on whole backs as on
finite-strain elements (docs/validation.md)."""

_TRACE = 2e-3  # a smaller share of a tissue is left out: it changes nothing and costs time
_STEP = 0.006  # m, between the widths worked out; in between they are interpolated


def felt_weights(weights: Array, depth: Array, spacing: float, reach: float = REACH) -> Array:
    """Blending weights as the skin feels them.

    Parameters
    ----------
    weights : (nx, nt, K) array, -
        Shares of the tissue stacks under every node, summing to one.
    depth : (nx, nt) array, m
        Skin to bone.
    spacing : float, m
    reach : float, -
        Standard deviation over depth; 0 leaves the weights as they are.

    Returns
    -------
    (nx, nt, K) array, -
        Not negative, summing to one.

    Examples
    --------
    A cliff from 5 to 50 mm is felt on its deep side, not on its shallow one:

    >>> deep = np.repeat([0.0, 1.0], 20)[None, :] * np.ones((30, 1))
    >>> weights = np.stack([1.0 - deep, deep], axis=-1)
    >>> felt = felt_weights(weights, 0.005 + 0.045 * deep, 0.010)
    >>> felt[15, [10, 18, 21, 30], 1].round(2)
    array([0.  , 0.  , 0.19, 1.  ])
    """
    widths = reach * depth
    share = 1.0 / depth[..., None]
    levels = np.arange(0.0, widths.max() + _STEP, _STEP)
    place = widths / _STEP
    felt = np.zeros_like(weights)
    for number, width in enumerate(levels):
        near = np.clip(1.0 - np.abs(place - number), 0.0, None)
        if not near.any():
            continue
        sigma = (width / spacing, width / spacing, 0.0)
        top = ndimage.gaussian_filter(weights * share, sigma, mode="nearest")
        felt += near[..., None] * top / ndimage.gaussian_filter(share, sigma, mode="nearest")
    felt[felt < _TRACE] = 0.0
    return np.asarray(felt / felt.sum(axis=-1, keepdims=True))
