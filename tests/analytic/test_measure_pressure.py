"""Peak, means and shares against closed forms, brute force, and themselves on other meshes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.lib.stride_tricks import sliding_window_view
from scipy.special import erf

from fitsim.measure.pressure import (
    PATCH,
    force_shares,
    mean_pressure,
    node_forces,
    normal_force,
    on_grid,
    patch_peak,
    percentile,
)
from tests.flat import FRONT_X, INNER, LENGTH, WIDTH, bars_on, cell_means, flat_back, flat_chart

SPACINGS = (0.005, 0.008, 0.010, 0.016)
SHIFTS = (0.0, 0.0021, 0.0037)


def gaussian(x0: float, t0: float, sigma: float, top: float = 30e3):  # noqa: ANN201
    return lambda x, t: top * np.exp(-0.5 * ((x - x0) ** 2 + (t - t0) ** 2) / sigma**2)


def rectangle(x0: float, x1: float, t0: float, t1: float, top: float = 12e3):  # noqa: ANN201
    return lambda x, t: top * ((x > x0) & (x < x1) & (t > t0) & (t < t1))


@pytest.mark.parametrize("spacing", SPACINGS)
@pytest.mark.parametrize("shift", SHIFTS)
def test_peak_of_a_uniform_patch_is_its_pressure(spacing: float, shift: float) -> None:
    # 80 x 120 mm holds a 20 mm patch of whole cells wherever the grid lies: exact.
    chart = flat_chart(spacing, shift)
    pressure = on_grid(chart, cell_means(chart, rectangle(-0.32, -0.20, 0.04, 0.12)))
    assert patch_peak(pressure, spacing).max() == pytest.approx(12e3, rel=1e-12)


@pytest.mark.parametrize("spacing", SPACINGS)
@pytest.mark.parametrize("shift", SHIFTS)
@pytest.mark.parametrize("sigma", [0.020, 0.030])
def test_peak_of_a_bump_does_not_hang_on_the_mesh(
    spacing: float, shift: float, sigma: float
) -> None:
    chart = flat_chart(spacing, shift)
    pressure = on_grid(chart, cell_means(chart, gaussian(-0.25, 0.08, sigma)))
    across = np.sqrt(2 * np.pi) * sigma / PATCH * erf(0.5 * PATCH / sigma / np.sqrt(2))
    # Flattening by whole cells would cost s^2 / (12 sigma^2) at the top; patches are tried to
    # 1.25 mm of the best place, another (1.25 mm / sigma)^2.
    lost = 1.0 - patch_peak(pressure, spacing).max() / (30e3 * across**2)
    assert -0.001 < lost < (spacing / sigma) ** 2 / 12 + (0.00125 / sigma) ** 2


def test_peak_of_a_bump_converges_with_the_square_of_the_spacing() -> None:
    sigma, worst = 0.025, []
    across = np.sqrt(2 * np.pi) * sigma / PATCH * erf(0.5 * PATCH / sigma / np.sqrt(2))
    for spacing in (0.020, 0.010):
        charts = [flat_chart(spacing, shift * spacing) for shift in (0.0, 0.2, 0.35, 0.5)]
        grids = [on_grid(c, cell_means(c, gaussian(-0.25, 0.08, sigma))) for c in charts]
        worst.append(max(1.0 - patch_peak(g, spacing).max() / (30e3 * across**2) for g in grids))
    assert np.log2(worst[0] / worst[1]) > 1.8  # second order, less a little for the few places


@given(
    cells=st.integers(4, 9),
    per_patch=st.sampled_from([1, 2, 4, 5]),
    seed=st.integers(0, 2**16),
)
def test_no_patch_of_whole_cells_beats_the_peak(cells: int, per_patch: int, seed: int) -> None:
    pressure = np.random.default_rng(seed).exponential(10e3, (cells, cells))
    k = min(per_patch, cells)
    sums = sliding_window_view(pressure, (k, k)).sum(axis=(2, 3)) / per_patch**2
    peak = patch_peak(pressure, PATCH / per_patch).max()
    assert peak >= sums.max() * (1.0 - 1e-9)  # rounding
    # Limited slopes make no new peak within a cell: nothing beats twice its mean, and a patch of
    # several cells not even the highest of them.
    assert peak <= pressure.max() * (1.0 + 1e-9)


@given(
    spacing=st.sampled_from([0.005, 0.008, 0.010, 0.016]),
    share=st.floats(0.1, 0.9),
    seed=st.integers(0, 2**16),
)
def test_no_part_of_the_surface_beats_the_whole(spacing: float, share: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    pressure, inside = rng.exponential(10e3, (8, 9)), rng.uniform(size=(8, 9)) < share
    whole = patch_peak(pressure, spacing)
    parts = [patch_peak(pressure, spacing, within=within) for within in (inside, ~inside)]
    slack = 1e-9 * whole.max()  # rounding of sums
    assert (np.maximum(*parts) <= whole + slack).all()
    # Whatever a patch holds, it holds of the one part or the other.
    assert (parts[0] + parts[1] >= whole - slack).all()
    everywhere = patch_peak(pressure, spacing, within=np.ones_like(inside))
    np.testing.assert_allclose(everywhere, whole, rtol=1e-9)


def test_patch_beyond_the_known_surface_counts_as_unpressed() -> None:
    pressure = np.zeros((6, 6))
    pressure[0, 0] = 4e3  # a corner cell: no patch can hold more of it than there is
    assert patch_peak(pressure, 0.010).max() == pytest.approx(4e3 / 4, rel=1e-12)


@pytest.mark.parametrize("axis", [0, 1])
def test_peak_map_mirrors_with_the_pressure(axis: int, rng: np.random.Generator) -> None:
    pressure = rng.exponential(5e3, (12, 9))
    for spacing in SPACINGS:
        turned = patch_peak(np.flip(pressure, axis), spacing)
        np.testing.assert_allclose(turned, np.flip(patch_peak(pressure, spacing), axis), rtol=1e-12)


def test_mean_and_percentile_of_a_known_spread() -> None:
    # Pressures uniform from 1 to 11 kPa over equal areas: mean 6, 95th percentile 10.5 kPa.
    pressure = np.concatenate([1e3 + 10e3 * (np.arange(2000) + 0.5) / 2000, np.full(500, 400.0)])
    area = np.full(2500, 1e-4)
    assert mean_pressure(pressure, area) == pytest.approx(6e3, rel=1e-12)
    assert percentile(pressure, area) == pytest.approx(10.5e3, rel=1e-9)
    assert normal_force(pressure, area) == pytest.approx(2000 * 1e-4 * 6e3 + 500 * 0.04)


@pytest.mark.parametrize("pressure", [np.zeros(3), np.full(3, 500.0)])
def test_without_contact_there_is_nothing_to_mean(pressure: np.ndarray) -> None:
    assert mean_pressure(pressure, np.ones(3)) == 0.0
    assert percentile(pressure, np.ones(3)) == 0.0


def test_percentile_goes_by_area_not_by_node() -> None:
    # Half the patch at 2 kPa in a hundred nodes, half at 8 kPa in one: the median lies between.
    pressure = np.concatenate([np.full(100, 2e3), [8e3]])
    area = np.concatenate([np.full(100, 1e-4), [1e-2]])
    assert percentile(pressure, area, 0.25) == pytest.approx(2e3)
    assert percentile(pressure, area, 0.80) == pytest.approx(8e3)


def test_node_forces_push_the_tree_off_the_back_and_drag_it_against_the_skin() -> None:
    normals = np.array([[0.0, 0.6, 0.8]])
    shear = np.array([[100.0, 0.0, 0.0]])  # the skin is dragged forward, so the tree rearward
    force = node_forces(np.array([2e3]), shear, normals, np.array([1e-2]))
    np.testing.assert_allclose(force, [[-1.0, 12.0, 16.0]])


@pytest.mark.parametrize("spacing", SPACINGS)
@pytest.mark.parametrize("shift", SHIFTS)
def test_even_pressure_gives_even_shares_on_any_mesh(spacing: float, shift: float) -> None:
    back = flat_back(spacing, shift)
    left = rectangle(FRONT_X - LENGTH, FRONT_X, INNER, INNER + WIDTH)
    right = rectangle(FRONT_X - LENGTH, FRONT_X, -INNER - WIDTH, -INNER, top=4e3)
    pressure = cell_means(back.chart, lambda x, t: left(x, t) + right(x, t))
    found = bars_on(back, pressure)
    force = pressure * back.chart.area[back.chart.valid]
    shares = force_shares(force, found.bar, found.along, spacing / LENGTH)
    # A cell only partly under the bar's end holds its force nearer the middle than its node: at
    # most half a cell of 16 mm in 560 mm, far less for the third's share; 1 mm of sampling.
    allowed = spacing / LENGTH / 8 + 0.001 / LENGTH
    for third in ("front", "middle", "rear"):
        assert shares[third] == pytest.approx(1 / 3, abs=allowed)
    assert shares["left"] == pytest.approx(0.75, abs=0.01)  # 1 mm of sampled edge in 110
    assert shares["left"] + shares["right"] == pytest.approx(1.0, abs=1e-12)


def test_shares_of_a_linear_pressure() -> None:
    # p from 0 at the rear to 1 at the front: thirds carry 5/9, 3/9, 1/9 of the force.
    back = flat_back(0.010)
    even = rectangle(FRONT_X - LENGTH, FRONT_X, INNER, INNER + WIDTH)

    def rising(x: np.ndarray, t: np.ndarray) -> np.ndarray:
        return even(x, t) * (x - FRONT_X + LENGTH) / LENGTH

    pressure = cell_means(back.chart, rising)
    found = bars_on(back, pressure)
    shares = force_shares(pressure, found.bar, found.along, back.chart.spacing / LENGTH)
    # Whole cells of linear pressure: a border cell's force is split by length, not by the
    # pressure within, an error of (s / L)^2.
    assert shares["front"] == pytest.approx(5 / 9, abs=1e-3)
    assert shares["middle"] == pytest.approx(3 / 9, abs=1e-3)
    assert shares["rear"] == pytest.approx(1 / 9, abs=1e-3)


def test_shares_change_places_with_the_bar(rng: np.random.Generator) -> None:
    force, along = rng.exponential(1.0, 200), rng.uniform(0.0, 1.0, 200)
    bar = rng.integers(-1, 2, 200)
    along[bar == 0] = np.nan
    plain = force_shares(force, bar, along, 0.02)
    turned = force_shares(force, -bar, 1.0 - along, 0.02)
    for one, other in (("front", "rear"), ("middle", "middle"), ("left", "right")):
        assert plain[one] == pytest.approx(turned[other], abs=1e-12)


def test_shares_without_force_are_none() -> None:
    shares = force_shares(np.zeros(2), np.array([1, -1]), np.array([0.1, 0.9]))
    assert set(shares.values()) == {0.0}
