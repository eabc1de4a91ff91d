"""Shoulder freedom where the answer can be written down: an even pressure under a moving blade."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.back.motion.gait import Shoulder, read_gait
from fitsim.back.motion.kinematics import kinematics
from fitsim.back.motion.posture import edge_profile, posture
from fitsim.measure.mat import CELL, mat_reading
from fitsim.measure.shoulder import shoulder_freedom
from tests.fits import back_of
from tests.strides import stride_of

if TYPE_CHECKING:
    from fitsim.back.motion.kinematics import Kinematics
    from fitsim.back.motion.posture import Posture
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.measure.shoulder import ShoulderFreedom

PRESSURE, FRICTION, PHASES = 10e3, 0.4, 24


def moved(shoulder: Shoulder | None = None) -> tuple[Kinematics, list[Posture]]:
    gait = read_gait("walk")
    if shoulder is not None:
        gait = replace(gait, shoulder=shoulder)
    moving = kinematics(back_of("mule"), gait)
    return moving, [posture(moving, number / PHASES) for number in range(PHASES)]


def pressed(pressure: float, indentation: float, gap: float = 0.0) -> Equilibrium:
    """A made-up answer: even pressure and indentation everywhere, and a bar above everything."""
    known = stride_of("mule").standing
    even = np.ones_like(known.pressure)
    return replace(
        known, pressure=pressure * even, indentation=indentation * even, gap=gap * even,
        bar=np.ones_like(known.bar),
    )  # fmt: skip


def freedom(pressure: float, indentation: float, gap: float = 0.0) -> ShoulderFreedom:
    moving, postures = moved()
    found = [pressed(pressure, indentation, gap)] * PHASES
    return shoulder_freedom(moving, postures, found, "left", FRICTION)


def test_a_bar_that_floats_above_restricts_nothing() -> None:
    free = freedom(0.0, 0.0, gap=0.007)
    assert free.restricted == free.work == free.impulse == free.restricted_glide == 0.0
    assert free.least_clearance == pytest.approx(0.007)


def test_a_bar_that_does_not_yield_takes_back_the_whole_rise() -> None:
    """Skin pressed in by more than it would rise cannot rise at all."""
    held = freedom(PRESSURE, 0.1)
    assert held.restricted == pytest.approx(1.0)
    assert held.restricted_glide == pytest.approx(held.glide.max())
    assert held.least_clearance == 0.0


def test_impulse_is_pressure_times_the_area_of_the_blade_times_the_stride() -> None:
    moving, postures = moved()
    chart, blade = moving.chart, moving.blades["left"]
    area = chart.area[chart.valid]
    on_blade = [
        area @ (np.clip(1.0 + (blade.ahead + one.glide["left"]) / (0.050 * moving.scale), 0.0, 1.0)
                * blade.cover)[chart.valid]
        for one in postures
    ]  # fmt: skip
    expected = PRESSURE * np.mean(on_blade) * moving.gait.stride
    assert freedom(PRESSURE, 0.0).impulse == pytest.approx(expected)


def test_lifting_against_an_even_pressure_is_pressure_times_volume() -> None:
    """Out once and back once a stride: p times the largest volume the edge has pushed out.

    To 2 %: the volume under the profile changes a little as it glides over the curved back.
    """
    moving, postures = moved()
    chart, blade = moving.chart, moving.blades["left"]
    area = chart.area[chart.valid]
    volume = [
        one.lift["left"]
        * (edge_profile(blade, one.glide["left"], moving.scale)[chart.valid] @ area)
        for one in postures
    ]
    expected = PRESSURE * (max(volume) - min(volume))
    assert freedom(PRESSURE, 0.0).lift_work == pytest.approx(expected, rel=0.02)


def test_rubbing_is_friction_times_force_times_the_way_there_and_back() -> None:
    found = freedom(PRESSURE, 0.0)
    way = np.abs(np.diff(np.append(found.glide, found.glide[0])))
    mean = 0.5 * (found.force + np.roll(found.force, -1))
    assert found.rub_work == pytest.approx(FRICTION * float(mean @ way))
    # 24 moments miss the turning points by a cosine's top: 1 - cos(pi / 15) of half the way.
    assert way.sum() == pytest.approx(2.0 * 0.040 * 1.45 / 1.5, rel=0.02)


def test_freedom_is_worse_the_harder_it_is_pressed() -> None:
    found = [freedom(PRESSURE, depth) for depth in (0.0, 0.001, 0.003, 0.006)]
    shares = [one.restricted for one in found]
    assert shares == sorted(shares)
    assert shares[0] == 0.0 < shares[1] < shares[-1] < 1.0


def test_a_mat_reads_an_even_pressure_as_it_is_and_one_cell_as_its_mean() -> None:
    chart = back_of("mule", 0.010).chart
    count = int(chart.valid.sum())
    assert mat_reading(chart, np.full(count, PRESSURE)).pressure == pytest.approx(PRESSURE)
    places = np.argwhere(chart.valid)
    inner = int(np.abs(places - [len(chart.x) // 2, len(chart.t) // 3]).sum(axis=1).argmin())
    one = np.zeros(count)
    one[inner] = 30e3
    read = mat_reading(chart, one)
    row, column = places[inner]
    # On a grid of 10 mm a cell of 2 x 3 cm has six nodes; their areas differ by a few per cent.
    assert len(read.pressure) == 1
    assert read.highest == pytest.approx(30e3 / 6.0, rel=0.03)
    assert abs(read.x[0] - chart.x[row]) <= CELL[0] / 2 + 1e-9
    assert abs(read.t[0] - chart.t[column]) <= CELL[1] / 2 + 1e-9
