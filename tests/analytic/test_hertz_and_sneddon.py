"""Half-space closed forms against each other and against direct integration."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import dblquad
from scipy.special import ellipe, ellipk

from fitsim.reference import hertz, sneddon

MODULUS = 80e3  # Pa
EXACT = 1e-9  # closed form against closed form or spectral quadrature: rounding only


@pytest.mark.parametrize("radius", [0.02, 0.3])
def test_sphere_is_the_indenter_integral_of_a_paraboloid(radius: float) -> None:
    approach, force = sneddon.indenter(lambda r: r / radius, 0.015, MODULUS)
    contact = hertz.sphere(radius, MODULUS, force)
    assert contact.half_length == pytest.approx(0.015, rel=EXACT)
    assert contact.approach == pytest.approx(approach, rel=EXACT)
    assert hertz.sphere_at(radius, MODULUS, approach).force == pytest.approx(force, rel=EXACT)


@pytest.mark.parametrize("half_angle", [0.3, 1.2, 1.5])
def test_cone_is_the_indenter_integral_of_a_cone(half_angle: float) -> None:
    slope = 1.0 / np.tan(half_angle)
    approach, force = sneddon.indenter(lambda r: np.full_like(r, slope), 0.02, MODULUS)
    assert approach == pytest.approx(np.pi / 2.0 * 0.02 * slope, rel=EXACT)
    assert sneddon.cone_force(half_angle, MODULUS, approach) == pytest.approx(force, rel=EXACT)


def test_flat_punch_pressure_carries_its_force() -> None:
    nodes, weights = np.polynomial.legendre.leggauss(32)
    angle = np.pi / 4.0 * (nodes + 1.0)
    r = 0.02 * np.sin(angle)
    ring = sneddon.flat_punch_pressure(r, 0.02, 16.0) * 2.0 * np.pi * r * 0.02 * np.cos(angle)
    assert np.pi / 4.0 * weights @ ring == pytest.approx(16.0, rel=EXACT)
    assert sneddon.flat_punch_force(0.02, MODULUS, 0.005) == pytest.approx(16.0, rel=EXACT)


def test_ellipsoid_of_equal_radii_is_the_sphere() -> None:
    ball, egg = hertz.sphere(0.1, MODULUS, 10.0), hertz.ellipsoid(0.1, 0.1, MODULUS, 10.0)
    for name in ("approach", "half_length", "half_width", "peak"):
        assert getattr(egg, name) == pytest.approx(getattr(ball, name), rel=EXACT)


@pytest.mark.parametrize("ratio", [1.5, 10.0, 300.0])
def test_ellipsoid_satisfies_johnsons_form(ratio: float) -> None:
    """Johnson 4.26: R'/R'' = [(a/b)^2 E(e) - K(e)] / [K(e) - E(e)]."""
    egg = hertz.ellipsoid(0.1 * ratio, 0.1, MODULUS, 10.0)
    m = 1.0 - (egg.half_width / egg.half_length) ** 2
    k, e = ellipk(m), ellipe(m)
    assert (e / (1.0 - m) - k) / (k - e) == pytest.approx(ratio, rel=1e-7)  # K - E cancels a little


def test_ellipsoid_pressure_gives_the_approach_by_boussinesq() -> None:
    """Displacement at the centre by integrating p / (pi E* r) in polar coordinates."""
    egg = hertz.ellipsoid(0.4, 0.1, MODULUS, 10.0)
    a, b = egg.half_length, egg.half_width

    def integrand(s: float, angle: float) -> float:
        reach = 1.0 / np.hypot(np.cos(angle) / a, np.sin(angle) / b)
        return float(egg.peak * np.sqrt(1.0 - s**2) * reach / (np.pi * MODULUS))

    centre, _ = dblquad(integrand, 0.0, 2.0 * np.pi, 0.0, 1.0)
    assert centre == pytest.approx(egg.approach, rel=1e-6)  # adaptive quadrature with a root edge


def test_long_ellipsoid_tends_to_the_cylinder() -> None:
    """Peak and width at the middle of a long patch follow the local line force."""
    gaps = []
    for ratio in (1e2, 1e4):
        egg = hertz.ellipsoid(0.1 * ratio, 0.1, MODULUS, 10.0)
        # Line force at the middle of an ellipsoidal pressure: (pi/2) p0 b.
        strip = hertz.cylinder(0.1, MODULUS, np.pi / 2.0 * egg.peak * egg.half_width)
        gaps.append(abs(strip.half_width / egg.half_width - 1.0))
    assert gaps[1] < gaps[0] / 10.0
    assert gaps[1] < 0.01  # patch hundreds of times longer than wide


def test_ellipsoid_refuses_swapped_radii() -> None:
    with pytest.raises(ValueError, match="larger"):
        hertz.ellipsoid(0.1, 0.2, MODULUS, 1.0)


def test_force_law_exponents() -> None:
    """Doubling the force: approach x 2^(2/3), patch and peak x 2^(1/3)."""
    one, two = hertz.ellipsoid(0.3, 0.1, MODULUS, 5.0), hertz.ellipsoid(0.3, 0.1, MODULUS, 10.0)
    assert two.approach / one.approach == pytest.approx(2 ** (2 / 3), rel=EXACT)
    assert two.half_width / one.half_width == pytest.approx(2 ** (1 / 3), rel=EXACT)
    assert two.peak / one.peak == pytest.approx(2 ** (1 / 3), rel=EXACT)
