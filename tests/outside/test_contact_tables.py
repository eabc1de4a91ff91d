"""The product's own solver against the tables of layer_tables.toml (sources stand there).

`test_layer_tables` holds the closed forms against them; here the grid, the cell averages, the
active set and the rigid body are in between. Issue 4 asks for 2 %; six cells to the contact radius
give 0.3 %, and 0.5 % is asked for, which 2 % of wrong compliance would not pass.
"""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.pressed import flat_foundation, layer_of, paraboloid, press_down, pushed, tree_of

if TYPE_CHECKING:
    from fitsim.contact.foundation import Foundation
    from tests.validation.measured import Measured

TABLES: dict[str, Any] = tomllib.loads(
    Path(__file__).with_name("layer_tables.toml").read_text(encoding="utf-8")
)
YOUNG, RADIUS, PATCH, ACROSS = 60e3, 0.3, 0.024, 6  # Pa, m, m, cells to the contact radius
BOWL = TABLES["paraboloid"]
ROWS = [
    (nu, rho, depth, kappa)
    for nu in ("0.30", "0.45", "0.50")
    for rho, depth, kappa in zip(
        BOWL["rho"], BOWL["depth"][nu], BOWL["kappa"][nu], strict=True
    )
    if 0.4 <= rho <= 3.0
]  # fmt: skip


@cache
def layer(nu: float, rho: float) -> Foundation:
    return flat_foundation(PATCH / ACROSS, 0.036, layer_of(PATCH / rho, YOUNG, nu))


@pytest.mark.parametrize(("nu", "rho", "depth", "kappa"), ROWS)
def test_paraboloid_under_the_table_s_force(
    nu: str, rho: float, depth: float, kappa: float, measured: Measured
) -> None:
    """Given kappa's force, depth and patch: both numbers of a row in one press."""
    poisson = float(nu)
    sinks = depth * PATCH**2 / RADIUS
    force = kappa * 4.0 * YOUNG / (2.0 * (1.0 + poisson)) * PATCH * sinks / (1.0 - poisson)
    found = press_down(
        layer(poisson, rho),
        tree_of(paraboloid(RADIUS, 0.034, 0.002)),
        pushed(([0, 0, 0], [0, 0, -force])),
    )
    assert found.rest.found
    this, table = "paraboloid on a bonded layer, a/h 0.4 to 3:", "Hayes et al. 1972, table"
    measured.near(f"{this} depth", found.sinking, sinks, table, rel=0.005, asked=0.02)
    # the patch: cells pressed, of which those on the rim count whole (half a cell of radius)
    area = float((found.rest.pressure > 0.0).sum() * found.problem.foundation.spacing**2)
    radius = 1e3 * (area / 3.141592653589793) ** 0.5
    half_cell = 1e3 * 0.5 * PATCH / ACROSS
    measured.apart(f"{this} contact radius", radius, 1e3 * PATCH, table, off=half_cell, unit="mm")
