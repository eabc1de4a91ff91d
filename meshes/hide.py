"""Colour of the hide, as a scanner's camera would have seen it, with chalk spots on landmarks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree
from scipy.special import expit

from meshes import anatomy

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from meshes.surface import Surface

    Floats = NDArray[np.float64]

HIDES = {
    # body, belly, stripe along the spine and across the shoulder, mane
    "brown": ((132, 98, 74), (190, 164, 134), (80, 56, 42), (46, 37, 33)),
    "dun": ((190, 152, 104), (222, 200, 166), (120, 88, 58), (70, 54, 42)),
    "bay": ((132, 78, 48), (150, 98, 62), (96, 52, 30), (30, 25, 24)),
}
CHALK = (236, 234, 226)
CHALK_RADIUS = 0.009


def colours(hide: Surface, x: Floats, t: Floats, chalk: Floats) -> NDArray[np.uint8]:
    """Colours at places of the hide.

    Parameters
    ----------
    hide : whose.
    x, t : (n,) arrays, m.
    chalk : (k, 2) array of (x, t), m: middles of chalk spots.

    Returns
    -------
    (n, 3) uint8 array.
    """
    k = hide.animal.scale
    body, belly, stripe, mane = (np.array(c, float) for c in HIDES[hide.animal.hide])
    patchy = random_field(np.random.default_rng(11), 0.09 * k)(x, t)
    fine = random_field(np.random.default_rng(12), 0.018)(x, t)
    across = np.abs(t) / k
    along = x / k
    rgb = body + np.zeros((len(x), 1))
    rgb = _mixed(rgb, belly, 0.85 * expit((across - 0.50 - 0.02 * patchy) / 0.05))
    rgb = _mixed(rgb, stripe, 0.8 * expit((0.016 + 0.003 * fine - across) / 0.005))
    cross = expit((0.018 - np.abs(along - 0.11 + 0.1 * across)) / 0.006)
    rgb = _mixed(rgb, stripe, 0.6 * cross * expit((0.34 - across + 0.01 * patchy) / 0.02))
    rgb = _mixed(rgb, mane, expit((along - 0.19) / 0.01) * expit((0.020 - across) / 0.005))
    rgb = rgb * (1 + 0.045 * patchy + 0.035 * fine)[:, None]
    dust = cKDTree(chalk).query(np.column_stack([x, t]))[0] < CHALK_RADIUS
    rgb[dust] = 0.2 * rgb[dust] + 0.8 * np.array(CHALK)
    return np.clip(rgb, 0, 255).astype(np.uint8)


def chalk_spots(hide: Surface) -> Floats:
    """Where chalk was dabbed: (k, 2) array of (x, t), m, along blade's rear edge and last rib."""
    edge = anatomy.blade_rear_edge(hide.animal)[::5]
    rib = anatomy.last_rib(hide.animal)[1::2]
    side = np.concatenate([edge, rib])
    return np.concatenate([side, side * [1, -1]])


def random_field(rng: np.random.Generator, wavelength: float) -> Callable[..., Floats]:
    """Smooth random function of (x, t) of unit variance, the same however it is sampled.

    Parameters
    ----------
    rng : numpy Generator.
    wavelength : m, the commonest distance from crest to crest.

    Returns
    -------
    function of two (n,) arrays, m, giving an (n,) array.
    """
    count = 96
    angle, phase = rng.uniform(0, 2 * np.pi, (2, count))
    number = 2 * np.pi / wavelength * rng.lognormal(0, 0.35, count)
    kx, kt = number * np.cos(angle), number * np.sin(angle)

    def field(x: Floats, t: Floats) -> Floats:
        waves = np.zeros_like(x)
        for a, b, p in zip(kx, kt, phase, strict=True):  # a loop keeps memory at one (n,) array
            waves += np.cos(a * x + b * t + p)
        return waves * np.sqrt(2 / count)

    return field


def _mixed(rgb: Floats, other: Floats, share: Floats) -> Floats:
    return rgb + share[:, None] * (other - rgb)
