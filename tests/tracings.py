"""A generated animal traced as someone with a flexible curve would."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from meshes.surface import Surface

FIRST, EVERY = 0.050, 0.075
"""m: station of the foremost tracing, and from one to the next."""


def traced_lines(
    hide: Surface, count: int = 7, slip: float = 0.0, right: float = -0.32, seed: int = 0
) -> list[str]:
    """Lines of a tracings file, mm.

    Parameters
    ----------
    hide : the noise-free surface.
    count : of tracings.
    slip : m, standard deviation of each point read off the paper.
    right : m, arc length at which the tracings begin; 0 for the left side only.
    seed : of the slips.
    """
    rng = np.random.default_rng(seed)
    lines = ["part,station_mm,across_mm,height_mm", f"withers,{100 * hide.animal.scale:.0f},,"]
    for x, _, z in hide.spine(np.arange(-0.65, 0.251, 0.05)):
        lines.append(f"spine,{1e3 * x:.0f},,{1e3 * (z + slip * rng.standard_normal()):.1f}")
    t = np.arange(right, 0.3201, 0.02)
    for x in FIRST - EVERY * np.arange(count):
        points = hide.points(np.full_like(t, x), t)[:, 1:]
        points = 1e3 * (
            points + slip * rng.standard_normal(points.shape) * (np.abs(t) > 0)[:, None]
        )
        lines += [f"section,{1e3 * x:.0f},{y:.1f},{z:.1f}" for y, z in points]
    return lines
