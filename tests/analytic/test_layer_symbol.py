"""The fast stack recursion against closed forms and against a multiple-precision solution."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.back.stack import Layer, Stack
from fitsim.contact.layer import normal_compliance
from fitsim.reference.bonded_layer import layer_symbol
from fitsim.reference.burmister import two_layer_symbol
from fitsim.reference.layered import surface_compliance

if TYPE_CHECKING:
    from tests.validation.measured import Measured

# Double precision after a recursion of 4 x 4 blocks.
ROUNDING = 1e-9
KH = np.geomspace(1e-3, 50.0, 60)
YOUNG, THICKNESS = 60e3, 0.045


def conditioned(kh: np.ndarray, nu: float, rounding: float = 4e-16) -> np.ndarray:
    """Relative tolerance at waves of k h over the thinnest incompressible layer.

    Its compliance (k h)^3 is what is left of displacements of order one, so that double
    precision itself leaves eps / (k h)^3 of it; joined layers add some tens of eps.
    """
    return np.maximum(ROUNDING, (rounding / kh**3) * (nu == 0.5))


@pytest.mark.parametrize("nu", [0.0, 0.3, 0.45, 0.49, 0.5])
def test_one_layer_is_the_closed_form(nu: float, measured: Measured) -> None:
    stack = Stack("one", (Layer("muscle", THICKNESS, YOUNG, nu),))
    k = KH / THICKNESS
    shear = YOUNG / (2.0 * (1.0 + nu))
    exact = (1.0 - nu) / (shear * k) * layer_symbol(KH, nu)
    error = normal_compliance(stack, k) / exact - 1.0
    over = np.abs(error) / conditioned(KH, nu)
    what = "stack recursion, one layer, waves k h 0.001 to 50: off, over what rounding allows"
    measured.below(what, over, 1.0, "", "closed form")


@pytest.mark.parametrize("nu", [0.3, 0.45, 0.5])
@pytest.mark.parametrize("cuts", [(0.5,), (0.05, 0.9), (0.01, 0.3, 0.31)])
def test_cutting_a_layer_changes_nothing(nu: float, cuts: tuple[float, ...]) -> None:
    edges = np.array([0.0, *cuts, 1.0]) * THICKNESS
    whole = Stack("whole", (Layer("muscle", THICKNESS, YOUNG, nu),))
    cut = Stack("cut", tuple(Layer("part", float(h), YOUNG, nu) for h in np.diff(edges)))
    k = KH / THICKNESS
    error = normal_compliance(cut, k) / normal_compliance(whole, k) - 1.0
    limit = conditioned(k * float(np.diff(edges).min()), nu, 1e-14)
    assert np.all(np.abs(error) < limit), f"{np.max(np.abs(error) / limit):.2e}"
    assert np.sum(limit == ROUNDING) > 10  # the test is sharp over a fair range


@pytest.mark.parametrize("ratio", [0.1, 0.5, 2.0, 10.0, 100.0])
def test_deep_second_layer_is_burmister(ratio: float, measured: Measured) -> None:
    """Lower layer of 60 thicknesses: a half-space for all waves with k h > 0.5."""
    kh = KH[KH > 0.5]
    layers = (Layer("skin", 0.01, ratio * 20e3, 0.5), Layer("deep", 0.6, 20e3, 0.5))
    ours = normal_compliance(Stack("two", layers), kh / 0.01)
    exact = 1.5 / (ratio * 20e3 * kh / 0.01) * two_layer_symbol(kh, ratio)
    what = "stack recursion, two layers, the lower deep"
    measured.near(what, ours, exact, "Burmister 1943, closed form", rel=ROUNDING)


@pytest.mark.parametrize("nu", [0.3, 0.45, 0.5])
@pytest.mark.parametrize("ratio", [0.02, 0.4, 12.0])
def test_two_layers_match_multiple_precision(nu: float, ratio: float, measured: Measured) -> None:
    layers = (Layer("top", 0.004, 25e3 * ratio, nu), Layer("bottom", 0.03, 25e3, 0.47))
    _matches(measured, layers)


def test_skin_fat_muscle_matches_multiple_precision(measured: Measured) -> None:
    _matches(
        measured,
        (
            Layer("skin", 0.004, 300e3, 0.48),
            Layer("fat", 0.005, 25e3, 0.49),
            Layer("muscle", 0.045, 60e3, 0.47),
        ),
    )


def test_incompressible_stack_matches_multiple_precision(measured: Measured) -> None:
    _matches(measured, (Layer("skin", 0.004, 300e3, 0.5), Layer("fat", 0.02, 25e3, 0.5)))


def _matches(measured: Measured, layers: tuple[Layer, ...]) -> None:
    total = sum(layer.thickness for layer in layers)
    k = np.geomspace(1e-3, 50.0, 14) / total
    exact = np.array([surface_compliance(layers, float(x)) for x in k])
    error = normal_compliance(Stack("stack", layers), k) / exact - 1.0
    thinnest = min(layer.thickness for layer in layers)
    limit = conditioned(k * thinnest, max(layer.poisson for layer in layers), 1e-14)
    what = "stack recursion, several layers: off, over what rounding allows"
    measured.below(what, np.abs(error) / limit, 1.0, "", "solved anew in multiple precision")
