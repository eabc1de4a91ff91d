"""A surface moved in by a depth of hair, against shapes whose parallel surfaces are known.

Parallel curves of circles and planes, and where two offset planes meet, are elementary geometry.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.spatial import cKDTree

from fitsim.back.skin import moved_in
from fitsim.back.smoothing import PlaneGrid
from fitsim.back.trunk import TrunkSurface

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray


CELL, DEPTH = 0.005, 0.28  # m, as the frame's finest grid on an animal of 1.5 m
ALONG, AROUND = 41, 141  # columns reach 72 degrees down each side
CLOSE = 1e-4  # m: a tenth of a millimetre, a twentieth of the noise of a good scan


def surface(radius: Callable[[NDArray[np.float64], NDArray[np.float64]], object]) -> TrunkSurface:
    """A trunk whose radius over station and angle is known."""
    grid = PlaneGrid(
        CELL * (np.arange(ALONG) - ALONG // 2), CELL * (np.arange(AROUND) - AROUND // 2)
    )
    x, angle = np.meshgrid(grid.a, grid.b / DEPTH, indexing="ij")
    r = np.asarray(radius(x, angle), dtype=float)
    return TrunkSurface(grid, DEPTH, np.zeros(ALONG), r, np.ones_like(r))


def round_section(offside: float, offup: float, size: float) -> Callable[..., object]:
    """A cylinder along x whose middle lies off the axis: rays meet it aslant."""

    def radius(_: NDArray[np.float64], angle: NDArray[np.float64]) -> NDArray[np.float64]:
        along = offside * np.sin(angle) + offup * np.cos(angle)
        return along + np.sqrt(along**2 - offside**2 - offup**2 + size**2)

    return radius


def ball(size: float) -> Callable[..., object]:
    return lambda x, angle: np.sqrt(size**2 - x**2) + 0.0 * angle


@pytest.mark.parametrize("depth", [0.001, 0.004, 0.020, 0.085])
@pytest.mark.parametrize(
    "shape",
    [
        lambda less: round_section(0.0, 0.0, 0.28 - less),
        lambda less: round_section(0.06, -0.05, 0.25 - less),
        lambda less: ball(0.30 - less),
    ],
    ids=["cylinder", "cylinder aside", "ball"],
)
def test_round_shapes_stay_round_and_become_smaller(
    shape: Callable[[float], Callable[..., object]], depth: float
) -> None:
    scanned, expected = surface(shape(0.0)), surface(shape(depth))
    found = moved_in(scanned, depth)
    # On a ball the nearest places of the last stations lie beyond the end of what was scanned.
    inner = np.abs(scanned.grid.a) < scanned.grid.a[-1] * (0.30 - depth) / 0.30 - 3 * CELL
    assert np.abs(found.radius - expected.radius)[inner].max() < CLOSE


def ridge(sharpness: float, half_angle: float) -> Callable[..., object]:
    """A roof with its edge rounded: two planes, `half_angle` from upright, 0.28 m up at the top."""

    def radius(_: NDArray[np.float64], angle: NDArray[np.float64]) -> NDArray[np.float64]:
        middle = 0.28 - sharpness
        plane = middle * np.sin(half_angle) + sharpness  # of the planes from the axis
        flat = plane / np.sin(np.abs(angle) + half_angle)
        along = middle * np.cos(angle)
        arc = along + np.sqrt(along**2 - middle**2 + sharpness**2 + 0j).real
        # The circle is left for the plane where its normal turns into the plane's.
        foot = np.arctan2(sharpness * np.cos(half_angle), middle + sharpness * np.sin(half_angle))
        return np.where(np.abs(angle) < foot, arc, flat)

    return radius


def test_a_ridge_sharper_than_the_hair_is_cut_not_folded() -> None:
    """What hair of 30 mm lies on is sharper than what was scanned: the planes meet in an edge."""
    half_angle, sharpness, depth = np.radians(40.0), 0.025, 0.030
    scanned = surface(ridge(sharpness, half_angle))
    found = moved_in(scanned, depth)
    plane = (0.28 - sharpness) * np.sin(half_angle) + sharpness - depth
    expected = plane / np.sin(np.abs(found.angle) + half_angle)
    assert np.abs(found.radius - expected).max() < CLOSE
    # Each place moved along its own normal would have crossed over to the other side.
    y, _ = scanned.sections()
    normal_y = np.sign(y) * np.cos(half_angle)
    crossed = np.sign(y - depth * normal_y) != np.sign(y)
    assert (crossed & (np.abs(y) > 1e-9)).any()


@pytest.mark.parametrize("width", [0.012, 0.040])
def test_a_hollow_narrower_than_the_coat_keeps_its_distance(width: float) -> None:
    """Nothing crosses itself: every place is as far from the scanned surface as was asked."""
    depth = 0.030

    def grooved(_: NDArray[np.float64], angle: NDArray[np.float64]) -> NDArray[np.float64]:
        return 0.28 - 0.010 * np.exp(-0.5 * (0.28 * angle / width) ** 2)

    scanned = surface(grooved)
    found = moved_in(scanned, depth)
    fine = np.linspace(scanned.angle[0], scanned.angle[-1], 20_000)
    r = np.asarray(grooved(fine, fine))
    outline = cKDTree(np.column_stack([r * np.sin(fine), r * np.cos(fine)]))
    y, z = found.sections()
    apart = outline.query(np.stack([y[ALONG // 2], z[ALONG // 2]], axis=-1))[0]
    inner = np.abs(found.angle) < 0.9 * scanned.angle[-1]  # the outline ends beyond
    assert np.abs(apart - depth)[inner].max() < 2.0 * CLOSE
    assert (np.diff(y[ALONG // 2]) > 0.0).all()


def test_twice_is_as_good_as_once() -> None:
    """Parallel surfaces of parallel surfaces are parallel."""
    scanned = surface(round_section(0.05, -0.03, 0.24))
    twice = moved_in(moved_in(scanned, 0.008), 0.012)
    assert np.abs(twice.radius - moved_in(scanned, 0.020).radius).max() < 2.0 * CLOSE


def test_what_was_not_measured_stays_so() -> None:
    scanned = surface(ball(0.30))
    scanned.radius[10:15, 20:40] = np.nan
    found = moved_in(scanned, 0.010)
    assert (np.isnan(found.radius) == np.isnan(scanned.radius)).all()
