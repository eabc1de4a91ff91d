"""`nodes.csv` and `pressure.vtp`: the numbers anyone can add up, in files others can open."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

import numpy as np
import pytest
import pyvista as pv

from fitsim.report.tables import chart_triangles, write_nodes, write_surface
from tests.build import small_fitset

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.study.fit import FitSet

RELATIVE = 1e-6  # seven significant digits are written


@pytest.fixture(scope="module")
def fitset() -> FitSet:
    return small_fitset(unstable=("front",))


@pytest.fixture(scope="module")
def rows(fitset: FitSet, tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, str]]:
    path = tmp_path_factory.mktemp("nodes") / "nodes.csv"
    write_nodes(fitset, path)
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def column(rows: list[dict[str, str]], name: str) -> np.ndarray:
    return np.array([float(row[name] or "nan") for row in rows])


def test_columns_as_promised(rows: list[dict[str, str]], fitset: FitSet) -> None:
    assert list(rows[0])[:8] == ["x_m", "y_m", "z_m", "nx", "ny", "nz", "area_m2", "zone"]
    per_case = ["pressure_pa", "shear_x_pa", "shear_y_pa", "shear_z_pa", "gap_m"]
    assert list(rows[0])[8:] == [f"{c}_{q}" for c in ("rear", "both", "rider") for q in per_case]
    assert len(rows) == int(fitset.back.chart.valid.sum())


def test_the_reader_can_add_up_the_balance(rows: list[dict[str, str]], fitset: FitSet) -> None:
    """Sum of pressure times area times normal from the file alone holds what pulls down."""
    area, pressure, up = (column(rows, name) for name in ("area_m2", "rider_pressure_pa", "nz"))
    lifted = float(np.sum(area * pressure * up))
    pulled = sum(force.force[2] for force in fitset.fits["rider"].equilibrium.forces)
    assert lifted == pytest.approx(-pulled, rel=RELATIVE)


def test_zone_and_gap_are_text_a_spreadsheet_reads(
    rows: list[dict[str, str]], fitset: FitSet
) -> None:
    known = {zone.name for zone in fitset.back.zones}
    assert {row["zone"] for row in rows} <= known | {""}
    under = fitset.fits["rear"].equilibrium.bar != 0
    assert np.array_equal(np.isfinite(column(rows, "rear_gap_m")), under)
    assert "nan" not in ",".join(rows[0].values())


def test_surface_opens_and_faces_outward(fitset: FitSet, tmp_path: Path) -> None:
    write_surface(fitset, tmp_path / "pressure.vtp")
    surface = pv.read(tmp_path / "pressure.vtp")
    chart, rider = fitset.back.chart, fitset.fits["rider"].equilibrium
    assert surface.n_points == int(chart.valid.sum())
    # float32 in the file: 6e-8 relative
    assert surface["rider_pressure_pa"] == pytest.approx(rider.pressure, rel=1e-6)
    assert not any(name.startswith("front_") for name in surface.array_names)
    faces = surface.regular_faces
    a, b, c = (np.asarray(surface.points)[faces[:, k]] for k in range(3))
    outward = np.einsum("ij,ij->i", np.cross(b - a, c - a), surface["Normals"][faces[:, 0]])
    assert outward.min() > 0.0


def test_chart_triangles_leave_out_cells_with_a_missing_corner() -> None:
    valid = np.ones((3, 4), dtype=bool)
    valid[0, 0] = False
    triangles = chart_triangles(valid)
    assert len(triangles) == 2 * (2 * 3 - 1)
    assert set(triangles.ravel()) <= set(range(11))
