"""Pressure over a day: closed forms, and the thresholds where the study has them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitsim.measure.dose import (
    CURVES,
    FIRST,
    HOUR,
    INVERSE_B,
    PACES,
    SPREAD,
    STANDINGS,
    Spell,
    borders,
    critical,
    day_of,
    hours_until,
    inverse,
    passed,
    sigmoid,
    standing,
    used,
)

if TYPE_CHECKING:
    from fitsim.measure.dose import Pace

GROUPS: dict[str, list[tuple[float, float]]] = {
    # von Peinen et al. 2010, doi:10.1111/j.2042-3306.2010.00191.x: kPa, mean and largest pressure
    # at the withers of sound backs, backs with dry spots, backs with acute sores
    "walk": [(7.8, 13.4), (15.3, 30.6), (24.0, 38.9)],
    "trot": [(9.8, 21.0), (18.1, 43.4), (29.7, 53.3)],
    "canter": [(10.9, 24.7), (21.4, 48.9), (28.6, 56.0)],
}


@pytest.mark.parametrize("pace", GROUPS)
@pytest.mark.parametrize("group", [0, 1, 2])
def test_each_group_of_the_study_is_told_as_itself(pace: Pace, group: int) -> None:
    mean, largest = GROUPS[pace][group]
    assert standing(pace, 1e3 * mean, 1e3 * largest) == STANDINGS[group]
    # either number alone tells it too
    assert standing(pace, 1e3 * mean, 0.0) == STANDINGS[group]
    assert standing(pace, 0.0, 1e3 * largest) == STANDINGS[group]


@pytest.mark.parametrize("pace", GROUPS)
def test_borders_lie_between_the_groups(pace: Pace) -> None:
    for kind in (0, 1):
        sound, dry, sore = (1e3 * group[kind] for group in GROUPS[pace])
        first, second = borders(pace)[kind]
        assert sound < first < dry < second < sore


def test_paces_press_as_in_sound_backs() -> None:
    """The same study: mean at trot 1.26, at canter 1.40 of that at walk."""
    assert PACES["walk"] == 1.0
    assert PACES["trot"] == pytest.approx(9.8 / 7.8, rel=1e-12)
    assert PACES["canter"] == pytest.approx(10.9 / 7.8, rel=1e-12)


def test_curves_go_through_the_points_they_are_known_by() -> None:
    """All from memory, to their last digit.

    Linder-Ganz 2006: about 32 kPa below 1 h, about 9 kPa beyond 2 h; Reswick and Rogers 1976:
    40 kPa for 1 h, 8 kPa for 10 h.
    """
    assert sigmoid(10 * 60.0) == pytest.approx(31e3, rel=0.05)
    assert sigmoid(2.3 * HOUR) == pytest.approx(9e3, rel=0.12)
    assert inverse(HOUR) == pytest.approx(40e3)
    assert inverse(10 * HOUR) == pytest.approx(8e3)


@given(st.floats(0.5, 12.0))
def test_even_pressure_is_critical_where_the_curve_says(hours: float) -> None:
    """One spell at rest: the day's critical pressure is the curve itself."""
    day = (Spell(hours * HOUR, 1.0),)
    assert critical(day, "sigmoid") == pytest.approx(sigmoid(hours * HOUR), rel=1e-6)
    assert critical(day, "inverse") == pytest.approx(inverse(hours * HOUR), rel=1e-6)


@given(st.floats(1.0, 10.0), st.floats(0.05, 0.95), st.floats(1.0, 2.0))
def test_two_paces_add_up_by_the_power_law(hours: float, part: float, factor: float) -> None:
    """For p ~ t^-b the sum of t f^(1/b) counts: p_c = P (sum)^-b in closed form."""
    day = (Spell((1 - part) * hours * HOUR, 1.0), Spell(part * hours * HOUR, factor))
    counted = hours * ((1 - part) + part * factor ** (1 / INVERSE_B))
    assert critical(day, "inverse") == pytest.approx(40e3 * counted**-INVERSE_B, rel=1e-6)


def test_share_is_one_half_of_a_curve_at_its_critical_pressure() -> None:
    """And Phi(1) a factor of 1.6 above, by either curve's own spread."""
    day = day_of(6.0, {"walk": 1.0})
    both = [critical(day, curve) for curve in CURVES]
    for pressure in (both[0], 1.6 * both[1]):
        by_hand = np.mean(
            [0.5 * (1 + math.erf(math.log(pressure / one) / SPREAD / math.sqrt(2))) for one in both]
        )
        assert float(passed(day, np.array([pressure]))[0]) == pytest.approx(by_hand, rel=1e-9)


@given(st.floats(1e3, 60e3), st.floats(0.5, 10.0), st.floats(1.01, 3.0))
def test_more_of_anything_is_never_better(pressure: float, hours: float, more: float) -> None:
    mix: dict[Pace, float] = {"walk": 0.7, "trot": 0.3}
    day = day_of(hours, mix)
    share = float(passed(day, np.array([pressure]))[0])
    assert float(passed(day, np.array([more * pressure]))[0]) >= share
    assert float(passed(day_of(more * hours, mix), np.array([pressure]))[0]) >= share
    faster = day_of(hours, {"walk": 0.3, "trot": 0.7})
    assert float(passed(faster, np.array([pressure]))[0]) >= share - 1e-12
    assert float(passed(day_of(hours, mix, rest=0.4 * hours), np.array([pressure]))[0]) <= share


def test_a_rest_only_stops_the_clock() -> None:
    assert day_of(6.0, {"walk": 1.0}, rest=1.0) == day_of(5.0, {"walk": 1.0})
    assert passed(day_of(2.0, {"walk": 1.0}, rest=3.0), np.array([50e3]))[0] == 0.0


@given(st.floats(5e3, 28e3))
def test_hours_until_is_when_the_share_is_reached(pressure: float) -> None:
    day = day_of(6.0, {"walk": 0.8, "trot": 0.2})
    hours = hours_until(day, pressure)
    if not math.isfinite(hours) or hours == 0.0:
        return
    at = day_of(hours, {"walk": 0.8, "trot": 0.2})
    assert float(passed(at, np.array([pressure]))[0]) == pytest.approx(FIRST, abs=1e-3)


def test_what_is_not_borne_at_all_and_what_is_borne_for_ever() -> None:
    day = (Spell(60.0, 1.0),)
    assert used(day, 40e3, CURVES["sigmoid"]) == math.inf
    assert used(day, 7.9e3, CURVES["sigmoid"]) == 0.0
    assert hours_until(day, 1e8) == 0.0
    assert hours_until(day, 100.0) == math.inf
