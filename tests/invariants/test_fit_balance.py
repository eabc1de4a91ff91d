"""The balance anyone can add up: from nodes.csv, with strap forces worked out by hand."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.report.tables import write_nodes
from fitsim.rig.read import read_load
from fitsim.study.fit import FitSet, fit
from fitsim.tree.read import read_tree
from tests.fits import back_of

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.study.fit import Fit
    from tests.validation.measured import Measured

GRAVITY = 9.80665  # m/s2


@pytest.fixture(scope="module")
def loaded() -> FitSet:
    """The middle riding tree on the mule with its rider."""
    return fit(back_of("mule"), read_tree("riding-middle"), load=read_load("rider"))


@pytest.fixture(scope="module")
def nodes(loaded: FitSet, tmp_path_factory: pytest.TempPathFactory) -> dict[str, np.ndarray]:  # type: ignore[type-arg]
    """The columns of nodes.csv, read back from the file."""
    path: Path = tmp_path_factory.mktemp("balance") / "nodes.csv"
    write_nodes(loaded, path)
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {
        name: np.array([float(row[name] or "nan") for row in rows])
        for name in rows[0]
        if name != "zone"
    }


def by_hand(one: Fit) -> list[tuple[np.ndarray, np.ndarray]]:  # type: ignore[type-arg]
    """(point, force) of every strap and weight, from where the tree lies and nothing else."""
    T = one.equilibrium.T_body_tree
    acting = []
    for strap in one.case.straps:
        ring = (T @ [*strap.attach_tree, 1.0])[:3]
        line = strap.anchor_body - ring
        acting.append((ring, strap.tension * line / np.sqrt(line @ line)))
    weights = [((T @ [*w.point_tree, 1.0])[:3], w.force_body) for w in one.case.forces]
    return acting + weights


@pytest.mark.parametrize("case", ["front", "rear", "both", "rider"])
def test_reactions_from_nodes_csv_balance_straps_and_weights(
    case: str,
    loaded: FitSet,
    nodes: dict[str, np.ndarray],  # type: ignore[type-arg]
    measured: Measured,
) -> None:
    """All six components to 0.1 % of the applied load (times half the bar for moments)."""
    one = loaded.fits[case]
    at = np.column_stack([nodes[f"{k}_m"] for k in "xyz"])
    normal = np.column_stack([nodes[f"n{k}"] for k in "xyz"])
    shear = np.column_stack([nodes[f"{case}_shear_{k}_pa"] for k in "xyz"])
    reaction = nodes["area_m2"][:, None] * (nodes[f"{case}_pressure_pa"][:, None] * normal - shear)
    acting = by_hand(one)
    load = sum(float(np.linalg.norm(force)) for _, force in acting)
    middle = one.equilibrium.T_body_tree[:3, 3] - [0.28, 0.0, 0.0]
    force = reaction.sum(axis=0) + sum(f for _, f in acting)
    moment = np.cross(at - middle, reaction).sum(axis=0)
    moment = moment + sum(np.cross(p - middle, f) for p, f in acting)
    what = "mule, riding tree, from nodes.csv: what straps, weights and skin leave over,"
    source = "strap pulls and weights by hand"
    left, turn = 100.0 * np.abs(force) / load, 100.0 * np.abs(moment) / (load * 0.28)
    measured.below(f"{what} of the load", left, 0.1, "%", source)
    measured.below(f"{what} of the load times half the bar", turn, 0.1, "%", source)
    # ... and it is a load, not nothing balancing nothing
    assert load > 300.0
    assert float(nodes[f"{case}_pressure_pa"].min()) >= 0.0


@pytest.mark.parametrize(("case", "straps"), [("front", 2), ("rear", 2), ("both", 4), ("rider", 4)])
def test_every_force_is_there(case: str, straps: int, loaded: FitSet) -> None:
    """Tensions as given in the rig, the tree's weight and the rider's from their masses."""
    one = loaded.fits[case]
    sizes = {force.name: float(np.linalg.norm(force.force)) for force in one.equilibrium.forces}
    assert sum(name.endswith(("left", "right")) for name in sizes) == straps
    for name, size in sizes.items():
        if name.startswith("front_cinch"):
            assert size == pytest.approx(180.0)
        elif name.startswith("rear_cinch"):
            assert size == pytest.approx(120.0)
    assert sizes["tree_weight"] == pytest.approx(loaded.tree.mass * GRAVITY, rel=1e-6)
    if case == "rider":
        assert sizes["rider"] == pytest.approx(80.0 * GRAVITY, rel=1e-6)


@pytest.mark.parametrize("case", ["front", "rear", "both", "rider"])
def test_friction_keeps_to_coulomb(case: str, loaded: FitSet) -> None:
    """No node shears more than mu p, nor off its tangent plane."""
    rest, chart = loaded.fits[case].equilibrium, loaded.back.chart
    size = np.linalg.norm(rest.shear, axis=1)
    assert (size <= loaded.pad.friction * rest.pressure * (1.0 + 1e-6) + 1e-6).all()
    off = np.einsum("ni,ni->n", rest.shear, chart.normals[chart.valid])
    assert np.abs(off).max() < 1e-6 * max(float(size.max()), 1.0)


def test_centre_of_pressure_goes_where_the_cinches_pull(loaded: FitSet) -> None:
    """Rear to front with the cinches, the rider between, in order along the body."""
    x = loaded.back.chart.points[loaded.back.chart.valid][:, 0]
    area = loaded.back.chart.area[loaded.back.chart.valid]
    centre = {}
    for name, one in loaded.fits.items():
        force = one.equilibrium.pressure * area
        centre[name] = float(force @ x / force.sum())
    assert centre["rear"] < centre["both"] < centre["front"]
    assert centre["rear"] < centre["rider"] < centre["front"]
