"""Bars on springs and straps: balance and hand-computed cases."""

from __future__ import annotations

import numpy as np
import pytest

from fitsim.reference import capstan, statics

EXACT = 1e-12


def test_reactions_balance_force_and_moment() -> None:
    x = np.array([-0.3, -0.05, 0.2, 0.31])
    k = np.array([800.0, 2100.0, 450.0, 1300.0])
    rest = statics.bar_on_springs(x, k, 90.0, 0.11)
    assert rest.reactions.sum() == pytest.approx(90.0, rel=EXACT)
    assert rest.reactions @ x == pytest.approx(90.0 * 0.11, rel=EXACT)
    assert rest.reactions == pytest.approx(k * (rest.sink + rest.pitch * x), rel=EXACT)


def test_three_springs_by_hand() -> None:
    """Springs 1, 2, 1 N/mm at -200, 0, 200 mm, 100 N at +100 mm: 0, 50, 50 N."""
    rest = statics.bar_on_springs(np.array([-0.2, 0.0, 0.2]), np.array([1e3, 2e3, 1e3]), 100.0, 0.1)
    assert rest.reactions == pytest.approx([0.0, 50.0, 50.0], abs=1e-10)


@pytest.mark.parametrize("eccentricity", [0.0, 0.05, 0.0999, 0.1001, 0.2, 0.29])
def test_bed_balances(eccentricity: float) -> None:
    """The trapezium or triangle of line force carries the force at its place."""
    length, force = 0.6, 120.0
    strip = statics.bar_on_bed(length, force, eccentricity)
    total = (strip.high + strip.low) / 2.0 * strip.length
    assert total == pytest.approx(force, rel=EXACT)
    # Centroid from the loaded end.
    from_end = strip.length**2 * (strip.low / 2.0 + (strip.high - strip.low) / 6.0) / force
    assert length / 2.0 - from_end == pytest.approx(eccentricity, abs=1e-12)


def test_bed_by_hand() -> None:
    """At the kern's edge q runs from 2 F/L to 0: the first third carries 5/9."""
    strip = statics.bar_on_bed(0.6, 120.0, 0.1)
    assert (strip.high, strip.low) == pytest.approx((400.0, 0.0), abs=1e-9)
    assert strip.share_front_third == pytest.approx(5.0 / 9.0, rel=1e-9)


def test_bed_refuses_a_force_beyond_the_bar() -> None:
    with pytest.raises(ValueError, match="over the bar"):
        statics.bar_on_bed(0.6, 120.0, 0.3)


def test_strap_pressure_adds_up_to_its_resultant() -> None:
    """Line pressure T/(R b) over the wrap, resolved, is 2 T sin(theta/2)."""
    tension, radius, width, wrap = 180.0, 0.3, 0.1, 2.2
    nodes, weights = np.polynomial.legendre.leggauss(24)
    angle = wrap / 2.0 * nodes
    pressure = capstan.line_pressure(tension, radius, width)
    total = wrap / 2.0 * weights @ (pressure * width * radius * np.cos(angle))
    assert total == pytest.approx(capstan.resultant(tension, wrap), rel=EXACT)


def test_capstan_compounds() -> None:
    """Half the wrap twice is the whole wrap; no friction holds nothing."""
    half = capstan.tension_ratio(0.37, 0.8)
    assert half**2 == pytest.approx(capstan.tension_ratio(0.37, 1.6), rel=EXACT)
    assert capstan.tension_ratio(0.0, 3.0) == 1.0
