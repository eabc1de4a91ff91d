"""The closed forms against the published and the independently computed tables.

Sources stand beside each table in layer_tables.toml.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from fitsim.reference import bonded_layer, burmister

if TYPE_CHECKING:
    from tests.validation.measured import Measured

TABLES: dict[str, Any] = tomllib.loads(
    Path(__file__).with_name("layer_tables.toml").read_text(encoding="utf-8")
)
COMPUTED = "tables computed apart (their sources in layer_tables.toml)"


def printed(measured: Measured, what: str, ours: float, table: float) -> None:
    """Hold it to half a unit of the last place printed: four decimals, or five digits."""
    places = abs(ours - table) / max(6e-5, 2e-5 * abs(table))
    measured.below(f"{what}: off, in half units of the last digit", places, 1.0, "", COMPUTED)


def rows(abscissa: list[float], columns: dict[str, Any]) -> list[tuple[float, float, float]]:
    """(parameter, abscissa, value) of every number in columns keyed by their parameter."""
    return [
        (float(parameter), x, value)
        for parameter, values in columns.items()
        if parameter[0].isdigit()
        for x, value in zip(abscissa, values, strict=True)
    ]


FLAT, BOWL, CIRCLE, TWO = (
    TABLES[name] for name in ("flat_punch", "paraboloid", "uniform_circle", "burmister")
)
PRINT = [
    (float(nu), rho, kappa)
    for nu in ("0.50", "0.45")
    for rho, kappa in zip(*(TABLES["hayes_print"][nu][c] for c in ("rho", "kappa")), strict=True)
]


@pytest.mark.parametrize(("nu", "rho", "kappa"), rows(FLAT["rho"], FLAT))
def test_flat_punch_force(nu: float, rho: float, kappa: float, measured: Measured) -> None:
    printed(
        measured, "closed form, flat punch: force", bonded_layer.flat_punch(rho, nu).kappa, kappa
    )


@pytest.mark.parametrize(("nu", "rho", "kappa"), PRINT)
def test_flat_punch_stays_near_the_1972_print(
    nu: float, rho: float, kappa: float, measured: Measured
) -> None:
    """The print's quadrature runs low, the more the thinner the layer (2.5 % at a/h = 4)."""
    ours = bonded_layer.flat_punch(rho, nu).kappa
    assert ours > kappa * (1 - 5e-4)  # never below it by more than the print's rounding
    if rho <= 4.0:  # the error is known up to here
        what = "closed form, flat punch: force, a/h up to 4"
        measured.near(what, ours, kappa, "Hayes et al. 1972 as printed", rel=0.026)


@pytest.mark.parametrize(("nu", "rho", "depth"), rows(BOWL["rho"], BOWL["depth"]))
def test_paraboloid_depth(nu: float, rho: float, depth: float, measured: Measured) -> None:
    printed(
        measured, "closed form, paraboloid: depth", bonded_layer.paraboloid(rho, nu).depth, depth
    )


@pytest.mark.parametrize(("nu", "rho", "kappa"), rows(BOWL["rho"], BOWL["kappa"]))
def test_paraboloid_force(nu: float, rho: float, kappa: float, measured: Measured) -> None:
    printed(
        measured, "closed form, paraboloid: force", bonded_layer.paraboloid(rho, nu).kappa, kappa
    )


@pytest.mark.parametrize(("nu", "rho", "deflection"), rows(CIRCLE["rho"], CIRCLE))
def test_uniform_circle_centre(
    nu: float, rho: float, deflection: float, measured: Measured
) -> None:
    ours = bonded_layer.uniform_circle_centre(rho, nu)
    printed(measured, "closed form, even pressure on a circle: middle", ours, deflection)


@pytest.mark.parametrize(("ratio", "thickness", "factor"), rows(TWO["thickness_over_radius"], TWO))
def test_two_layer_factor(
    ratio: float, thickness: float, factor: float, measured: Measured
) -> None:
    ours = burmister.uniform_circle_factor(thickness, ratio)
    printed(measured, "closed form, Burmister's two layers: factor", ours, factor)
