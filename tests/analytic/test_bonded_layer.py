"""The bonded layer's solution against its limits and against its own pressure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.special import j0

from fitsim.reference import bonded_layer, burmister, thin_layer

if TYPE_CHECKING:
    from tests.validation.measured import Measured

NU = [0.0, 0.3, 0.45, 0.49, 0.5]


@pytest.mark.parametrize("nu", NU)
def test_thick_layer_is_the_half_space(nu: float) -> None:
    assert bonded_layer.flat_punch(1e-6, nu).kappa == pytest.approx(1.0, abs=1e-5)
    hertz_like = bonded_layer.paraboloid(1e-6, nu)
    assert hertz_like.depth == pytest.approx(1.0, abs=1e-5)
    assert hertz_like.kappa == pytest.approx(2.0 / 3.0, abs=1e-5)
    assert bonded_layer.uniform_circle_centre(1e-6, nu) == pytest.approx(1.0, abs=1e-5)


@pytest.mark.parametrize("nu", NU)
@pytest.mark.parametrize("rho", [0.5, 2.0, 8.0])
def test_quadrature_has_converged(nu: float, rho: float) -> None:
    default, fine = bonded_layer.paraboloid(rho, nu), bonded_layer.paraboloid(rho, nu, 400)
    assert default.kappa == pytest.approx(fine.kappa, rel=1e-10)
    assert default.depth == pytest.approx(fine.depth, rel=1e-10)


@pytest.mark.parametrize("nu", [0.3, 0.45, 0.5])
@pytest.mark.parametrize("rho", [0.3, 1.0, 4.0])
def test_paraboloid_pressure_carries_its_force_and_vanishes_at_the_edge(
    nu: float, rho: float, measured: Measured
) -> None:
    """P = 2 pi int p r dr, which in the units of `pressure` is kappa times depth."""
    contact = bonded_layer.paraboloid(rho, nu)
    nodes, weights = np.polynomial.legendre.leggauss(48)
    angle = np.pi / 4.0 * (nodes + 1.0)  # r = sin(angle): the root at the edge becomes smooth
    r = np.sin(angle)
    ring = bonded_layer.pressure(contact, r) * r * np.cos(angle)
    force = float(np.pi / 4.0 * weights @ ring)
    what = "closed form, paraboloid: pressure added up"
    measured.near(what, force, contact.kappa * contact.depth, "its force", rel=1e-7)
    edge = bonded_layer.pressure(contact, np.array([0.0, 1.0 - 1e-9]))
    assert abs(edge[1]) < 1e-3 * edge[0]


def test_paraboloid_pressure_returns_its_shape(measured: Measured) -> None:
    """Forward check by Hankel transform: the pressure must press the paraboloid it came from."""
    nu, rho = 0.45, 1.5
    contact = bonded_layer.paraboloid(rho, nu)
    nodes, weights = np.polynomial.legendre.leggauss(300)
    r, w = (nodes + 1.0) / 2.0, weights / 2.0
    p = bonded_layer.pressure(contact, r)
    k_nodes, k_weights = np.polynomial.legendre.leggauss(400)
    top = 250.0
    k, kw = top * (k_nodes + 1.0) / 2.0, top * k_weights / 2.0
    p_hat = j0(np.outer(k, r)) @ (w * r * p)
    symbol = bonded_layer.layer_symbol(k / rho, nu)
    sunk = [float(kw @ (symbol * p_hat * j0(k * s))) * 2.0 / np.pi for s in (0.0, 0.4, 0.8)]
    shape = [contact.depth - s**2 / 2.0 for s in (0.0, 0.4, 0.8)]
    off = np.abs(np.array(sunk) - shape)  # truncated at k a = 250: 1 / (k a)^2 and less
    what = "closed form, paraboloid: shape its pressure presses, in a^2/R"
    measured.below(what, off, 1e-4, "", "the paraboloid")


def test_thin_compressible_limit_is_approached_at_first_order(measured: Measured) -> None:
    """Kappa over its limit: +2.9 % at a/h 8, +1.5 % at 16: the excess halves with h/a."""
    excess = []
    for rho in (8.0, 16.0):
        thin = thin_layer.compressible(rho, 1.0, 1.0, 1.0, 0.3)
        limit = thin.force * 0.7 / (4.0 * rho * thin.depth)
        excess.append(bonded_layer.paraboloid(rho, 0.3).kappa / limit - 1.0)
    assert excess == pytest.approx([0.029, 0.015], abs=6e-4)
    what = "thin compressible layer: excess over its limit at a/h 8, over that at 16"
    ratio = excess[0] / excess[1]
    measured.apart(what, ratio, 2.0, "first order (Johnson 1985, 5.8)", off=0.15, unit="")


def test_thin_incompressible_limit_is_approached_slowly(measured: Measured) -> None:
    """Kappa exceeds its limit by 105 % at a/h 8 and 44 % at 16."""
    excess, depth = [], []
    for rho in (8.0, 16.0, 32.0):
        thin = thin_layer.incompressible(rho, 1.0, 1.0, 1.0)
        limit = thin.force * 0.5 / (4.0 * rho * thin.depth)
        contact = bonded_layer.paraboloid(rho, 0.5)
        excess.append(contact.kappa / limit - 1.0)
        depth.append(contact.depth)
    assert excess[:2] == pytest.approx([1.05, 0.44], abs=6e-3)
    assert depth[:2] == pytest.approx([0.3251, 0.2912], abs=6e-5)
    assert depth[2] > 0.25  # the limit is approached from above
    what = "thin incompressible layer: excess over its limit at a/h 16, over that at 32"
    ratio = excess[1] / excess[2]
    measured.apart(what, ratio, 2.0, "first order at last (Barber 1990)", off=0.3, unit="")


@pytest.mark.parametrize("ka", [1e-3, 0.1, 1.0, 7.0, 24.0])
def test_rigid_base_burmister_is_the_incompressible_layer(ka: float) -> None:
    """N = -1 turns Burmister's kernel into M identically; stiff base approaches it."""
    one = bonded_layer.layer_symbol(np.array([ka]), 0.5)
    # Burmister's kernel cancels like k^3 at small k h, the closed form does not.
    assert burmister.two_layer_symbol(np.array([ka]), 0.0) == pytest.approx(one, abs=1e-15)


@pytest.mark.parametrize("nu", NU)
def test_symbol_is_positive_rising_and_bounded(nu: float) -> None:
    a = np.geomspace(1e-4, 60.0, 4000)
    m = bonded_layer.layer_symbol(a, nu)
    assert np.all(m > 0)
    # M overshoots 1 slightly for compressible layers (a Rayleigh-like hump), never by 10 %.
    assert np.all(m < 1.1)
    thin = a < 0.3
    assert np.all(np.diff(m[thin]) > 0)


@pytest.mark.parametrize("nu", NU)
def test_symbol_at_long_waves(nu: float) -> None:
    """Oedometric column: M -> a (1 - 2 nu) / (2 (1 - nu)^2); incompressible: 2 a^3 / 3."""
    a = np.array([1e-4])
    limit = 2.0 * a**3 / 3.0 if nu == 0.5 else a * (1.0 - 2.0 * nu) / (2.0 * (1.0 - nu) ** 2)
    assert bonded_layer.layer_symbol(a, nu) == pytest.approx(limit, rel=1e-6)
