"""Bar edges: the mean over a 20 x 20 mm patch converges with the mesh, the point maximum need not.

A flat bar 200 x 100 mm, 250 N, on the long muscle's tissue, its edges sharp or rolled to 8 mm.
Errors are against 2.5 mm cells (1.25 mm by hand, docs/validation.md), the root mean square over
four ways the grid may lie. Common practice in contact mechanics, no source: a sharp edge's pressure
grows without bound at a point, its integral does not.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.back.tissue import palette
from fitsim.contact.foundation import build_foundation
from fitsim.measure.pressure import on_grid, patch_peak
from fitsim.rig.pad import library_pad
from fitsim.tree.tree import MountedBar, Underside
from tests.pressed import flat_square, press_down, pushed, tree_of

if TYPE_CHECKING:
    from tests.validation.measured import Measured

LENGTH, WIDTH, CORNER, ROLL = 0.200, 0.100, 0.020, 0.008
FINEST = 0.0025


def bar(roll: float) -> MountedBar:
    """Flat, round-cornered, its edge following a circle of the roll's radius."""
    step = 0.001
    xi, eta = (np.arange(-round(s / step) // 2 - 8, round(s / step) // 2 + 9) * step
               for s in (LENGTH, WIDTH))  # fmt: skip
    x, y = np.meshgrid(xi, eta, indexing="ij")
    qx, qy = np.abs(x) - LENGTH / 2 + CORNER, np.abs(y) - WIDTH / 2 + CORNER
    beyond = np.hypot(np.maximum(qx, 0.0), np.maximum(qy, 0.0))
    inside = CORNER - beyond - np.minimum(np.maximum(qx, qy), 0.0)
    deep = np.clip(roll - inside, 0.0, 0.9 * roll)
    height = roll - np.sqrt(roll**2 - deep**2)
    return MountedBar(
        "left", Underside(xi, eta, height, inside, LENGTH / 2, -LENGTH / 2), np.eye(4)
    )


@cache
def peaks(pad: str, roll: float, spacing: float, shift: float) -> tuple[float, float]:
    """Patch mean and point maximum, Pa."""
    stack = next(one for one in palette() if one.name == "long_muscle")
    foundation = build_foundation(*flat_square(spacing, 0.16, (stack,)))
    felt, seat = library_pad(pad), np.eye(4)
    seat[:3, 3] = shift * spacing, shift * spacing, felt.thickness
    case = pushed(([0.0, 0.0, 0.02], [0.0, 0.0, -250.0]))
    rest = press_down(foundation, tree_of(bar(roll)), case, felt, seat).rest
    assert rest.found
    grid = on_grid(flat_square(spacing, 0.16, (stack,))[0], rest.pressure)
    return float(patch_peak(grid, spacing).max()), float(rest.pressure.max())


def error(pad: str, roll: float, spacing: float) -> float:
    exact = peaks(pad, roll, FINEST, 0.0)[0]
    found = [peaks(pad, roll, spacing, shift)[0] for shift in (0.0, 0.25, 0.5, 0.75)]
    return float(np.sqrt(np.mean((np.array(found) / exact - 1.0) ** 2)))


@pytest.mark.parametrize("roll", [pytest.param(0.0, marks=pytest.mark.slow), ROLL])
def test_patch_peak_through_a_pad_converges(roll: float, measured: Measured) -> None:
    """Sharp and rolled: within 10 % at the product's 10 mm cells, within 3 % at 5 mm."""
    what = f"bar 200 x 100 mm on felt, {'rolled' if roll else 'sharp'} edges: peak,"
    for cells, limit in ((10, 10.0), (5, 3.0)):
        off = 100.0 * error("felt", roll, 1e-3 * cells)
        measured.below(f"{what} {cells} mm cells", off, limit, "%", "its 2.5 mm cells")
    assert error("felt", roll, 0.005) < 0.7 * error("felt", roll, 0.014)


def test_patch_peak_of_a_bare_sharp_edge_converges_where_the_point_does_not(
    measured: Measured,
) -> None:
    means, points = zip(*(peaks("none", 0.0, s, 0.0) for s in (0.010, 0.005, FINEST)), strict=True)
    assert points[1] > 1.3 * points[0]
    assert points[2] > 1.3 * points[1]
    # 15 % at 10 mm, 5 % at 5 mm were measured
    what, fine = "bare bar, sharp edges: peak,", "its 2.5 mm cells"
    measured.near(f"{what} 5 mm cells", means[1], means[2], fine, rel=0.08)
    measured.near(f"{what} 10 mm cells", means[0], means[2], fine, rel=0.18)
