"""Zones and hotspots on pressures put there on purpose."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.ndimage import label

from fitsim.measure.hotspots import APART, hotspots, prominent_peaks
from fitsim.measure.pressure import on_grid, patch_mean, patch_peak
from fitsim.measure.zones import zone_loads
from tests.flat import cell_means, flat_back

if TYPE_CHECKING:
    from fitsim.back.back import Back
    from fitsim.measure.measures import Hotspot

SPACINGS = (0.005, 0.008, 0.010, 0.016)


def bumps(*places: tuple[float, float, float], sigma: float = 0.025):  # noqa: ANN201
    """Sum of bumps (x m, t m, top Pa)."""
    return lambda x, t: sum(
        top * np.exp(-0.5 * ((x - x0) ** 2 + (t - t0) ** 2) / sigma**2) for x0, t0, top in places
    )


def spots_of(back: Back, pressure: np.ndarray) -> tuple[Hotspot, ...]:
    grid, spacing = on_grid(back.chart, pressure), back.chart.spacing
    return hotspots(back, patch_peak(grid, spacing), patch_mean(grid, spacing))


def test_zones_add_up_and_none_beats_the_whole() -> None:
    back = flat_back(0.010)
    pressure = cell_means(back.chart, bumps((-0.2, 0.08, 20e3), (-0.3, -0.07, 12e3)))
    loads = zone_loads(back, pressure)
    area = back.chart.area[back.chart.valid]
    coded = back.zone_code[back.chart.valid] >= 0
    total = sum(load.force for load in loads.values())
    assert total == pytest.approx(float((pressure * area)[coded].sum()), rel=1e-12)
    whole = patch_peak(on_grid(back.chart, pressure), 0.010).max()
    assert max(load.peak for load in loads.values()) == pytest.approx(whole, rel=1e-12)
    assert loads["long_muscle_left"].peak > loads["long_muscle_right"].peak > loads["spine"].peak


def test_a_zone_that_carries_nothing_has_no_peak_beside_a_loaded_one() -> None:
    back = flat_back(0.010)
    # Pressed hard from 30 mm outwards: patches centred on the spine strip would reach into it.
    pressure = cell_means(back.chart, lambda x, t: 20e3 * ((t > 0.035) & (t < 0.1) & (x < 0)))
    spine = zone_loads(back, pressure)["spine"]
    assert (spine.force, spine.peak, spine.area) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("spacing", SPACINGS)
def test_zone_numbers_of_an_even_pressure(spacing: float) -> None:
    back = flat_back(spacing)
    pressure = cell_means(
        back.chart, lambda x, t: 10e3 * ((x > -0.4) & (x < -0.2) & (t > 0.05) & (t < 0.13))
    )
    muscle = zone_loads(back, pressure)["long_muscle_left"]
    # Edges sampled to 1 mm all round; the whole patch lies inside the zone.
    assert muscle.force == pytest.approx(10e3 * 0.2 * 0.08, rel=0.03)
    assert muscle.peak == pytest.approx(10e3, rel=1e-12)
    # Cells that are pressed in part count in whole: half a cell all round at most.
    assert muscle.area == pytest.approx(0.2 * 0.08, rel=0.28 * spacing / 0.016 + 0.03)


@pytest.mark.parametrize("spacing", SPACINGS)
def test_hotspots_are_found_numbered_and_named(spacing: float) -> None:
    back = flat_back(spacing)
    made = ((-0.15, 0.08, 20e3), (-0.45, -0.10, 28e3), (-0.45, 0.09, 9e3))
    spots = spots_of(back, cell_means(back.chart, bumps(*made)))
    assert [spot.number for spot in spots] == [1, 2, 3]
    assert [(spot.zone, spot.side) for spot in spots] == [
        ("long_muscle", "right"),
        ("long_muscle", "left"),
        ("long_muscle", "left"),
    ]
    for spot, (x, t, _) in zip(spots, (made[1], made[0], made[2]), strict=True):
        # The mean over a patch is flat on top: its place is known to a cell's diagonal.
        assert np.hypot(spot.x - x, spot.y - t) <= 1.5 * spacing
    peak = patch_peak(on_grid(back.chart, cell_means(back.chart, bumps(*made))), spacing).max()
    assert spots[0].peak == pytest.approx(peak, rel=1e-12)  # equal tops to a rounding
    # Half of a bump's top is at sigma sqrt(2 ln 2); a 20 mm patch widens sigma by 20^2/12.
    widened = 0.025**2 + 0.020**2 / 12 + spacing**2 / 6
    assert spots[0].area == pytest.approx(np.pi * 2 * np.log(2) * widened, rel=0.12)


def test_close_peaks_are_one_hotspot_and_ripples_are_none() -> None:
    back = flat_back(0.005)
    near = bumps((-0.2, 0.08, 20e3), (-0.2, 0.08 + 0.9 * APART, 19e3), sigma=0.010)
    assert len(spots_of(back, cell_means(back.chart, near))) == 1
    apart = bumps((-0.2, 0.08, 20e3), (-0.2, 0.08 + 1.4 * APART, 19e3), sigma=0.010)
    assert len(spots_of(back, cell_means(back.chart, apart))) == 2
    broad = bumps((-0.2, 0.08, 20e3), sigma=0.08)

    def rippled(x: np.ndarray, t: np.ndarray) -> np.ndarray:
        return broad(x, t) * (1.0 + 0.03 * np.cos(2 * np.pi * x / 0.06))

    assert len(spots_of(back, cell_means(back.chart, rippled))) == 1


def test_hotspots_of_the_mirrored_back_are_mirrored() -> None:
    back = flat_back(0.010)
    shape = back.chart.valid.shape
    pressure = cell_means(back.chart, bumps((-0.15, 0.083, 20e3), (-0.45, -0.104, 28e3)))
    other = pressure.reshape(shape)[:, ::-1].ravel()
    swap = {"left": "right", "right": "left", "middle": "middle"}
    for one, twin in zip(spots_of(back, pressure), spots_of(back, other), strict=True):
        assert (one.number, one.zone, swap[one.side]) == (twin.number, twin.zone, twin.side)
        assert twin.peak == pytest.approx(one.peak, rel=1e-12)
        # A patch that touches two cells alike may be told on either: one cell of place.
        assert abs(twin.x - one.x) <= 0.010 + 1e-12
        assert abs(twin.y + one.y) <= 0.010 + 1e-12


def test_a_hotspot_on_the_spine_line_is_in_the_middle() -> None:
    back = flat_back(0.010)
    (spot,) = spots_of(back, cell_means(back.chart, bumps((-0.3, 0.001, 8e3), sigma=0.02)))
    assert (spot.zone, spot.side) == ("spine", "middle")


def test_no_pressure_no_hotspot() -> None:
    back = flat_back(0.010)
    assert spots_of(back, np.zeros(back.chart.valid.sum())) == ()


def slow_prominence(field: np.ndarray, peak: int, lowest: float) -> float:
    """Lower the water until the peak's island holds something higher."""
    top = field.flat[peak]
    for level in np.sort(field[(field > lowest) & (field <= top)])[::-1]:
        islands, _ = label(field >= level, np.ones((3, 3)))
        own = islands == islands.flat[peak]
        if field[own].max() > top:
            return float(top - level)
    return float(top - lowest)


def test_prominence_against_lowering_the_water(rng: np.random.Generator) -> None:
    for _ in range(10):
        field = rng.normal(size=(11, 13)).cumsum(axis=0)
        lowest = float(np.quantile(field, 0.3))
        peaks, prominence = prominent_peaks(field, lowest)
        assert (np.diff(field.flat[peaks]) < 0).all()
        expected = [slow_prominence(field, int(peak), lowest) for peak in peaks]
        np.testing.assert_allclose(prominence, expected, rtol=1e-12)
