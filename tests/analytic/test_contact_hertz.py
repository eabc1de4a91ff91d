"""The product's own solver on bodies that have closed forms: sphere, paraboloid and flat punch.

Sources: Hertz (Johnson, Contact Mechanics, 1985, ch. 4) for the deep layer; the dual integral
equations of Hayes, Keer, Herrmann and Mockros 1972 (doi:10.1016/0021-9290(72)90010-3), solved
anew in `fitsim.reference.bonded_layer`, for finite depth. The solver is given the force; it has
to find depth, pressure and patch. Stiffening is switched off (bone at infinity in that law
alone): the closed forms are those of the linear layer.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.optimize import brentq

from fitsim.reference import bonded_layer, hertz
from tests.pressed import (
    Pressed,
    body,
    flat_foundation,
    layer_of,
    paraboloid,
    press_down,
    pushed,
    tree_of,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tests.validation.measured import Measured

HERTZ = "Hertz (Johnson 1985, ch. 4)"
LAYER = "Hayes et al. 1972, equations solved anew"
YOUNG, RADIUS, PATCH = 60e3, 0.3, 0.024  # Pa, m, m: muscle under a body like a bar's end


def shear_modulus(nu: float) -> float:
    return YOUNG / (2.0 * (1.0 + nu))


def layer_answer(nu: float, rho: float) -> tuple[float, float, float]:
    """Force (N), depth (m) and pressure (Pa) at the middle, contact radius `PATCH`, a/h = rho."""
    exact = bonded_layer.paraboloid(rho, nu)
    depth = exact.depth * PATCH**2 / RADIUS
    unit = 2.0 * shear_modulus(nu) * PATCH / (np.pi * RADIUS * (1.0 - nu))
    force = exact.kappa * 4.0 * shear_modulus(nu) * PATCH * depth / (1.0 - nu)
    return force, depth, float(bonded_layer.pressure(exact, np.zeros(1))[0] * unit)


@cache
def bowl(nu: float, rho: float, across: int) -> Pressed:
    """The paraboloid under its closed-form force, `across` cells to the contact radius."""
    layer = layer_of(PATCH / rho, YOUNG, nu)
    foundation = flat_foundation(PATCH / across, 0.042, layer)
    force = layer_answer(nu, rho)[0]
    pressed = press_down(
        foundation, tree_of(paraboloid(RADIUS, 0.04, 0.002)), pushed(([0, 0, 0], [0, 0, -force]))
    )
    assert pressed.rest.found
    return pressed


def pressure_at_middle(pressed: Pressed) -> float:
    return float(pressed.rest.pressure.max())


DEEP = 1.0 / 8.0  # a/h: depth of the "deep" layer, eight contact radii


def test_hertz_sphere_on_a_deep_layer(measured: Measured) -> None:
    """Given the force, the depth and the peak; given the depth, the force: 3 % (issue).

    Eight contact radii of depth still take 9 % off Hertz's depth (the peak hardly changes), so
    the depth is held against Hertz times the closed-form ratio of layer to half-space.
    """
    nu = 0.45
    force, depth, _ = layer_answer(nu, DEEP)
    half_space = hertz.sphere(RADIUS, hertz.contact_modulus(YOUNG, nu), force)
    ratio = depth / half_space.approach
    assert 0.90 < ratio < 0.93  # what "deep" leaves to correct
    found = bowl(nu, DEEP, 6)
    sphere = "sphere on a layer eight contact radii deep:"
    measured.near(
        f"{sphere} depth", found.sinking, half_space.approach * ratio,
        f"{HERTZ} x closed-form ratio of layer to half-space", rel=0.03,
    )  # fmt: skip
    measured.near(f"{sphere} peak", pressure_at_middle(found), half_space.peak, HERTZ, rel=0.03)

    def patch_for(rho: float) -> float:
        return (
            bonded_layer.paraboloid(rho, nu).depth * rho**2
            - found.sinking * RADIUS * (DEEP / PATCH) ** 2
        )

    rho = float(brentq(patch_for, 0.01, 1.0))
    a = rho * PATCH / DEEP
    unit = 4.0 * shear_modulus(nu) * a * found.sinking / (1.0 - nu)
    force = bonded_layer.paraboloid(rho, nu).kappa * unit
    measured.near(f"{sphere} force at that depth", found.force, force, LAYER, rel=0.03)


def test_pressure_under_the_sphere_is_half_an_ellipse(measured: Measured) -> None:
    """Every node of the patch but its rim, whose cells are cut: within 3 % of the peak."""
    found = bowl(0.45, DEEP, 6)
    half_space = hertz.sphere(RADIUS, hertz.contact_modulus(YOUNG, 0.45), found.force)
    radius = np.hypot(*found.problem.foundation.points[:, :2].T) / half_space.half_length
    inner = radius < 0.8
    ellipse = half_space.peak * np.sqrt(1.0 - radius[inner] ** 2)
    assert inner.sum() > 60
    off = np.abs(found.rest.pressure[inner] - ellipse) / half_space.peak
    what = "pressure under the sphere, every node of the inner 80 %, over the peak"
    measured.below(what, 100.0 * off, 3.0, "%", HERTZ)
    assert not found.rest.pressure[radius > 1.0 + 1.5 / 6.0].any()


def test_sphere_converges_with_the_mesh(measured: Measured) -> None:
    """Errors of depth and peak fall at least as the cell's size over three halvings' grids.

    The contact radius falls between cells, so the rate wobbles about 1.5: order 1 is asked for
    from the coarsest to the finest, and never a finer grid that is worse.
    """
    _, depth, peak = layer_answer(0.45, DEEP)
    across = (2, 4, 8)
    found = [bowl(0.45, DEEP, n) for n in across]
    for what, errors in (
        ("depth", [abs(one.sinking / depth - 1.0) for one in found]),
        ("peak", [abs(pressure_at_middle(one) / peak - 1.0) for one in found]),
    ):
        assert errors[0] > errors[1] > errors[2]
        order = np.log(errors[0] / errors[2]) / np.log(across[2] / across[0])
        words = f"sphere, 2 to 8 cells a radius: order in which its {what} converges"
        measured.above(words, order, 1.0, "", LAYER)
        finest = f"sphere, 8 cells a radius: its {what} off by"
        measured.below(finest, 100.0 * errors[2], 0.5, "%", LAYER)


@pytest.mark.parametrize("rho", [0.2, 0.6, 1.0, 2.0])
@pytest.mark.parametrize("nu", [0.30, 0.45, 0.50])
def test_paraboloid_on_a_bonded_layer(nu: float, rho: float, measured: Measured) -> None:
    """Depth and peak for a given force, from thick to thin, to incompressible.

    Issue 4 asks for 2 %; with six cells to the contact radius the solver is within 0.3 and 0.6 %.
    """
    _, depth, peak = layer_answer(nu, rho)
    found = bowl(nu, rho, 6)
    this = "paraboloid on a bonded layer, a/h 0.2 to 2, Poisson 0.30 to 0.50:"
    measured.near(f"{this} depth", found.sinking, depth, LAYER, rel=0.005)
    measured.near(f"{this} peak", pressure_at_middle(found), peak, LAYER, rel=0.01)


def outline(radius: float, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    return radius - np.hypot(x, y)


@pytest.mark.parametrize("rho", [0.2, 1.0])
@pytest.mark.parametrize("nu", [0.30, 0.45, 0.50])
def test_flat_punch_on_a_bonded_layer(nu: float, rho: float, measured: Measured) -> None:
    """Hayes's kappa through the solver; a sharp edge's infinite pressure is blunted by the cells.

    The stiffness comes out high, by about 0.2 of a cell over the radius: under 2 % here, and the
    error must go down from the coarser grid to the finer.
    """
    radius, depth = 0.03, 0.002
    unit = 4.0 * shear_modulus(nu) * radius * depth / (1.0 - nu)
    force = bonded_layer.flat_punch(rho, nu).kappa * unit
    punch = body(lambda x, _: 0.0 * x, lambda x, y: outline(radius, x, y), 0.04, 0.001)
    errors = []
    for across in (6, 12):
        foundation = flat_foundation(radius / across, 0.042, layer_of(radius / rho, YOUNG, nu))
        found = press_down(foundation, tree_of(punch), pushed(([0, 0, 0], [0, 0, -force])))
        assert found.rest.found
        errors.append(abs(found.sinking / depth - 1.0))
    this = "flat punch on a bonded layer, 12 cells a radius:"
    measured.below(f"{this} depth off by", 100.0 * errors[1], 2.0, "%", LAYER)
    measured.below(f"{this} that over its error at 6", errors[1] / errors[0], 0.6, "", LAYER)


def test_stiffening_is_the_linear_layer_when_the_load_is_small() -> None:
    """Both answers to the same small force agree to the first order of depth over thickness."""
    stack = layer_of(0.05, YOUNG, 0.47)
    ball = tree_of(paraboloid(RADIUS, 0.04, 0.002))
    for force in (0.02, 2.0):
        case = pushed(([0, 0, 0], [0, 0, -force]))
        linear = press_down(flat_foundation(0.004, 0.042, stack), ball, case).sinking
        stiff = press_down(flat_foundation(0.004, 0.042, stack, stiffens=True), ball, case).sinking
        # h (1 - exp(-u/h)) at the middle, where u is a little larger than under the linear one
        assert linear * (1.0 - linear / 0.05) < stiff < linear
