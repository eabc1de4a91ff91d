"""Lift and bridging of bars whose daylight is known."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.measure.gaps import TIP, Daylight, bridging, daylight, lifts, tip_lift
from tests.flat import LENGTH, bars_on, flat_back

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitsim.contact.equilibrium import Equilibrium

SPACINGS = (0.005, 0.008, 0.010, 0.016)
SHIFTS = (0.0, 0.0021, 0.0037)


def stood_on(
    spacing: float, shift: float, gap: Callable[[np.ndarray], np.ndarray]
) -> dict[str, Daylight]:
    """Daylight of both bars; 5 kPa wherever there is none."""
    back = flat_back(spacing, shift)
    bare = bars_on(back, np.zeros(back.chart.valid.size), gap)
    found = replace(bare, pressure=np.where(bare.gap == 0.0, 5e3, 0.0))
    return {side: daylight(back.chart, found, side, LENGTH) for side in ("left", "right")}


@pytest.mark.parametrize("spacing", SPACINGS)
@pytest.mark.parametrize("shift", SHIFTS)
def test_lift_of_a_tilted_bar(spacing: float, shift: float) -> None:
    # 30 mm at the rear end, nothing at the front: the mean over the last 20 mm is 10 mm in.
    lift = lifts(stood_on(spacing, shift, lambda along: 0.030 * along), LENGTH)
    rear, front = 0.030 * (1 - 0.5 * TIP / LENGTH), 0.030 * 0.5 * TIP / LENGTH
    # The outermost station is known to half a cell along the bar, flat beyond.
    allowed = 0.030 * 0.5 * spacing / LENGTH + 1e-6
    for side in ("left", "right"):
        assert lift[f"rear_{side}"] == pytest.approx(rear, abs=allowed)
        assert lift[f"front_{side}"] == pytest.approx(front, abs=allowed)


@pytest.mark.parametrize("spacing", SPACINGS)
@pytest.mark.parametrize("shift", SHIFTS)
def test_bridging_between_two_contact_runs(spacing: float, shift: float) -> None:
    # Daylight from 0.3 to 0.7 of the bar, 9 mm deep in the middle, and a lifted rear beyond 0.9.
    def gap(along: np.ndarray) -> np.ndarray:
        arch = 0.009 * np.clip(1.0 - ((along - 0.5) / 0.2) ** 2, 0.0, None)
        return arch + np.clip(along - 0.9, 0.0, None)

    for bar in stood_on(spacing, shift, gap).values():
        found = bridging(bar)
        # Both ends are known to one cell along the bar.
        assert found.length_share == pytest.approx(0.4, abs=2 * spacing / LENGTH)
        # The deepest station is within a cell of the middle of the arch: (s / 0.2 L)^2 of it.
        assert found.depth == pytest.approx(0.009, rel=(spacing / (0.2 * LENGTH)) ** 2 + 1e-9)


def test_a_bar_that_only_lifts_at_its_ends_does_not_bridge() -> None:
    bars = stood_on(0.010, 0.0, lambda along: np.clip(np.abs(along - 0.5) - 0.2, 0.0, None))
    assert bridging(bars["left"]).length_share == 0.0
    assert bridging(bars["left"]).depth == 0.0


@pytest.mark.parametrize("gap", [lambda a: 0.0 * a, lambda a: 0.01 + 0.0 * a])
def test_a_bar_that_touches_all_along_or_nowhere_does_not_bridge(
    gap: Callable[[np.ndarray], np.ndarray],
) -> None:
    assert bridging(stood_on(0.010, 0.0, gap)["right"]).length_share == 0.0


def test_contact_on_one_edge_of_the_bar_is_contact() -> None:
    # Only the inner edge touches in the middle: daylight there, but no bridge.
    back = flat_back(0.010)
    found = bars_on(back, np.zeros(back.chart.valid.size), lambda along: 0.002 + 0.0 * along)
    inner = (found.bar == 1) & (back.chart.points[back.chart.valid][:, 1] < 0.035)
    pressed = replace(found, pressure=np.where(inner, 5e3, 0.0))
    assert bridging(daylight(back.chart, pressed, "left", LENGTH)).length_share == 0.0


def test_daylight_is_taken_over_the_middle_of_the_width() -> None:
    # A bar that gapes at both edges and touches along its middle line shows no daylight.
    back = flat_back(0.010)
    found = bars_on(back, np.zeros(back.chart.valid.size))
    across = np.abs(back.chart.points[back.chart.valid][:, 1]) - 0.08
    gaping = replace(found, gap=np.where(np.abs(across) > 0.035, 0.02, found.gap))
    assert daylight(back.chart, gaping, "left", LENGTH).gap.max() == 0.0


def test_a_bar_with_nothing_below_has_no_lift() -> None:
    back = flat_back(0.010)
    found = bars_on(back, np.zeros(back.chart.valid.size))
    beside: Equilibrium = replace(found, bar=np.zeros_like(found.bar))
    assert np.isnan(tip_lift(daylight(back.chart, beside, "left", LENGTH), LENGTH)).all()


@pytest.mark.parametrize("spacing", SPACINGS)
@pytest.mark.parametrize("degrees", [-14.0, -5.0, 3.0, 9.0])
def test_lift_of_a_bar_askew_to_the_chart(spacing: float, degrees: float) -> None:
    back = flat_back(spacing)
    bare = bars_on(back, np.zeros(back.chart.valid.size))
    points = back.chart.points[back.chart.valid]
    x, y = points[:, 0] + 0.25, points[:, 1] - 0.10
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    along, aside = 0.5 - (cos * x + sin * y) / LENGTH, cos * y - sin * x
    under = (np.abs(aside) < 0.055) & (along > 0.0) & (along < 1.0)
    askew = replace(
        bare,
        bar=np.where(under, 1, 0),
        along=np.where(under, along, np.nan),
        gap=np.where(under, 0.030 * along, np.nan),
    )
    front, rear = tip_lift(daylight(back.chart, askew, "left", LENGTH), LENGTH)
    # Stations are a cell long: the outermost is known to within one, and is held beyond itself.
    allowed = 0.030 * spacing / LENGTH
    assert front == pytest.approx(0.030 * 0.5 * TIP / LENGTH, abs=allowed)
    assert rear == pytest.approx(0.030 * (1 - 0.5 * TIP / LENGTH), abs=allowed)


@pytest.mark.parametrize("end", ["front", "rear"])
def test_a_station_with_a_node_at_either_edge_alone_leaves_the_tip_its_lift(end: str) -> None:
    # As met where a tip stands clear of a round back: only corners of it lie above a node.
    back = flat_back(0.010)
    found = bars_on(back, np.zeros(back.chart.valid.size), lambda along: 0.030 * along)
    tip = found.along < 0.018 if end == "front" else found.along > 0.982
    middle = np.abs(np.abs(back.chart.points[back.chart.valid][:, 1]) - 0.08) < 0.04
    cornered = replace(found, bar=np.where(tip & middle, 0, found.bar))
    one, other = (daylight(back.chart, state, "left", LENGTH) for state in (found, cornered))
    assert one.along.size == other.along.size
    k = ("front", "rear").index(end)
    # The next station in stands for the tip: two cells.
    assert tip_lift(other, LENGTH)[k] == pytest.approx(
        tip_lift(one, LENGTH)[k], abs=2 * 0.030 * 0.010 / LENGTH
    )


def test_a_tip_over_a_hole_has_no_lift_and_the_rest_of_the_bar_has() -> None:
    back = flat_back(0.010)
    found = bars_on(back, np.zeros(back.chart.valid.size), lambda along: 0.030 * along)
    holed = replace(found, gap=np.where(found.along < 0.10, np.nan, found.gap))
    front, rear = tip_lift(daylight(back.chart, holed, "left", LENGTH), LENGTH)
    assert np.isnan(front)
    assert rear == pytest.approx(0.030 * (1 - 0.5 * TIP / LENGTH), abs=0.030 * 0.005 / LENGTH)


def test_a_hole_within_a_bridge_leaves_its_depth_a_number() -> None:
    back = flat_back(0.010)
    found = bars_on(back, np.zeros(back.chart.valid.size))
    within = (found.along > 0.3) & (found.along < 0.7)
    pressed = replace(
        found,
        pressure=np.where((found.bar == 1) & ~within, 5e3, 0.0),
        gap=np.where(within, 0.004, found.gap),
    )
    edges = np.abs(np.abs(back.chart.points[back.chart.valid][:, 1]) - 0.08) > 0.045
    for unseen in (np.abs(found.along - 0.5) < 0.05, within):
        # Nodes at the bar's edges remain: the stations are there, their middle is not known.
        holed = replace(pressed, gap=np.where(unseen & ~edges, np.nan, pressed.gap))
        gap = bridging(daylight(back.chart, holed, "left", LENGTH))
        assert gap.length_share == pytest.approx(0.4, abs=0.04)
        assert gap.depth == pytest.approx(0.0 if unseen is within else 0.004, abs=1e-12)
