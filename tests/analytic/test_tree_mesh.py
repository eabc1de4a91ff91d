"""A tree's own body, imported as a mesh, gives back its undersides."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from fitsim.errors import BadSettings
from fitsim.tree.adjust import adjusted
from fitsim.tree.faces import bearing_reach, height_at
from fitsim.tree.imprint import extended
from fitsim.tree.raster import rasterised
from fitsim.tree.read import read_tree

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.tree.tree import MountedBar, Tree

#: What the body's own facets (29 points across, 8 mm along) and the 2 mm grid cost, m.
ROUND_TRIP = 0.5e-3


def save(tree: Tree, path: Path, scale: float, turn: NDArray[np.float64] | None = None) -> Path:
    vertices = tree.vertices if turn is None else tree.vertices @ turn.T
    mesh = trimesh.Trimesh(vertices * scale + (3.0, -2.0, 7.0), tree.triangles, process=False)
    mesh.export(path)
    return path


def underside_points(bar: MountedBar, inside: float) -> NDArray[np.float64]:
    """Points of an underside in the tree frame, further inside its outline than told."""
    face = bar.underside
    xi, eta = np.meshgrid(face.xi, face.eta, indexing="ij")
    keep = face.inside > inside
    points = np.column_stack([xi[keep], eta[keep], face.height[keep], np.ones(keep.sum())])
    return (points @ bar.T_tree_bar.T)[:, :3]


def heights_off(tree: Tree, back_again: Tree, inside: float = 0.002) -> NDArray[np.float64]:
    """Imported minus original height of both undersides, in the imported bar's frame, m."""
    middle = [
        (one.vertices.min(axis=0) + one.vertices.max(axis=0)) / 2 for one in (tree, back_again)
    ]
    off = []
    for one, two in zip(tree.bars, back_again.bars, strict=True):
        points = underside_points(one, inside) - middle[0] + middle[1]
        T_bar_tree = np.linalg.inv(two.T_tree_bar)
        local = points @ T_bar_tree[:3, :3].T + T_bar_tree[:3, 3]
        off.append(height_at(two.underside, local[:, 0], local[:, 1]) - local[:, 2])
    return np.concatenate(off)


def width(bar: MountedBar) -> float:
    """Width of the outline at the middle of the bearing length, m."""
    face = bar.underside
    row = face.inside[int(np.abs(face.xi).argmin())]
    rising, falling = np.flatnonzero(np.diff(np.sign(row)) != 0)
    edges = [face.eta[i] + row[i] / (row[i] - row[i + 1]) * 0.002 for i in (rising, falling)]
    return float(edges[1] - edges[0])


@pytest.mark.parametrize("name", ["pack-fixed", "riding-narrow", "riding-wide"])
def test_round_trip_gives_back_the_undersides(name: str, tmp_path: Path) -> None:
    tree = read_tree(name)
    again = read_tree(save(tree, tmp_path / "tree.stl", 1000.0))
    off = heights_off(tree, again)
    assert np.abs(off).max() < ROUND_TRIP
    assert np.sqrt(np.mean(off**2)) < 0.1e-3
    for one, two in zip(tree.bars, again.bars, strict=True):
        assert two.side == one.side
        # The outline is looked at on 0.5 mm cells.
        assert two.underside.front - two.underside.rear == pytest.approx(0.56, abs=1.2e-3)
        assert width(two) == pytest.approx(width(one), abs=1.0e-3)
        # Where a flare starts is measured on a 2 mm grid, twice over.
        assert bearing_reach(two) == pytest.approx(bearing_reach(one), abs=0.004)
        assert_allclose(two.T_tree_bar[:3, :3], one.T_tree_bar[:3, :3], atol=np.radians(1.5))


@pytest.mark.parametrize(
    ("suffix", "scale", "unit"), [("ply", 1.0, "m"), ("obj", 1 / 0.0254, "inch")]
)
def test_unit_is_told_or_found(tmp_path: Path, suffix: str, scale: float, unit: str) -> None:
    tree = read_tree("riding-middle")
    path = save(tree, tmp_path / f"tree.{suffix}", scale)
    told, found = read_tree(path, unit=unit), read_tree(path)  # type: ignore[arg-type]
    assert_allclose(told.vertices, found.vertices)
    assert np.ptp(told.vertices, axis=0)[0] == pytest.approx(
        np.ptp(tree.vertices, axis=0)[0], rel=1e-5
    )


@pytest.mark.parametrize("degrees", [(180, 0, 0), (90, 0, 90), (0, -90, 0)])
def test_turned_meshes_are_turned_back(degrees: tuple[int, int, int], tmp_path: Path) -> None:
    tree = read_tree("riding-middle")
    turn = Rotation.from_euler("xyz", degrees, degrees=True).as_matrix().round()
    again = read_tree(save(tree, tmp_path / "tree.stl", 1000.0, turn))
    assert np.abs(heights_off(tree, again)).max() < ROUND_TRIP
    (turned,) = (note for note in again.notes if "front" in note)
    assert turned.startswith("the mesh was turned upright")
    assert "steeper end" in turned


@pytest.mark.parametrize(
    ("backwards", "steeper"), [(False, "also the steeper"), (True, "lies back to front")]
)
def test_which_end_is_the_front_is_as_drawn_and_said(
    tmp_path: Path, *, backwards: bool, steeper: str
) -> None:
    # End for end a tree still lies as a tree lies, and is believed.
    tree = read_tree("riding-middle")
    turn = np.diag([-1.0, -1.0, 1.0]) if backwards else np.eye(3)
    again = read_tree(save(tree, tmp_path / "tree.stl", 1000.0, turn))
    assert again.bars[0].T_tree_bar[2, 1] > tree.bars[0].T_tree_bar[2, 1] - 0.05
    (front,) = (note for note in again.notes if "front" in note)
    assert front.startswith("the end towards +x in the mesh was taken as the front")
    assert steeper in front
    # Twist is even along the bar: the means of its two halves differ by what half a length makes.
    # Undersides of the arches and rolled edges, which look down too, dilute it by up to a quarter.
    front_arch, rear_arch = (tree.settings["arches"][end] for end in ("front", "rear"))  # type: ignore[index]
    per_metre = (front_arch["angle"] - rear_arch["angle"]) / (rear_arch["at"] - front_arch["at"])
    said = float(front.split("by ")[1].split(" deg")[0])
    assert said == pytest.approx(np.degrees(per_metre) * 0.28, rel=0.25)


def test_what_a_mesh_does_not_say_is_said_to_be_assumed(tmp_path: Path) -> None:
    path = save(read_tree("riding-middle"), tmp_path / "tree.stl", 1000.0)
    found, told = read_tree(path), read_tree(path, unit="mm")
    assert any("the unit was taken as mm" in note for note in found.notes)
    assert not any("unit" in note for note in told.notes)
    assert any("8 kg" in note and "24 mm thick" in note for note in told.notes)
    assert read_tree("riding-middle").notes == ()


def test_a_tree_alike_at_both_ends_is_not_told_by_its_shape(tmp_path: Path) -> None:
    alike = adjusted(
        read_tree("pack-fixed"),
        {f"arches.{end}.angle": np.radians(25.0) for end in ("front", "rear")},
    )
    again = read_tree(save(alike, tmp_path / "tree.stl", 1000.0))
    assert any("the shape does not tell" in note for note in again.notes)
    turn = Rotation.from_euler("x", 180, degrees=True).as_matrix().round()
    with pytest.raises(BadSettings, match="does not show which end is the front"):
        read_tree(save(alike, tmp_path / "turned.stl", 1000.0, turn))


def test_bars_and_arches_in_one_body_are_told_apart_by_the_gap(tmp_path: Path) -> None:
    tree = read_tree("pack-pivoting")
    solids = trimesh.Trimesh(tree.vertices, tree.triangles, process=False)
    pieces = solids.split(only_watertight=False)
    first = np.cumsum([0] + [len(piece.vertices) for piece in pieces[:-1]])
    joined = trimesh.util.concatenate(pieces)
    # Thin triangles between the pieces make them one body without changing what is seen.
    links = [[a, b, b + 1] for a, b in pairwise(first)]
    fused = trimesh.Trimesh(joined.vertices, np.vstack([joined.faces, links]), process=False)
    fused.export(tmp_path / "tree.ply")
    again = read_tree(tmp_path / "tree.ply", unit="m")
    off = heights_off(tree, again, inside=0.006)
    # Under an arch the inner edge is drawn on from the stations beside it.
    assert np.sqrt(np.mean(off**2)) < 0.2e-3


def test_raster_agrees_with_a_plane_and_picks_the_lowest_or_highest() -> None:
    rng = np.random.default_rng(2)
    corners = rng.uniform(0.0, 1.0, (40, 2))
    floor = np.column_stack([corners, 0.3 + corners @ [0.2, -0.4]])
    roof = floor + np.array([0.0, 0.0, 1.0])
    fan = np.array([[0, i, i + 1] for i in range(1, 39)])
    vertices, triangles = np.vstack([floor, roof]), np.vstack([fan, fan + 40])
    ticks = np.linspace(0.0, 1.0, 41)
    low = rasterised(vertices, triangles, ticks, ticks, "lowest")
    high = rasterised(vertices, triangles, ticks, ticks, "highest")
    x, y = np.meshgrid(ticks, ticks, indexing="ij")
    seen = np.isfinite(low)
    assert seen.sum() > 200
    assert_allclose(low[seen], (0.3 + 0.2 * x - 0.4 * y)[seen], atol=1e-9)
    assert_allclose(high[seen], low[seen] + 1.0, atol=1e-9)


def test_heights_run_on_straight_beyond_what_is_known() -> None:
    x, y = np.meshgrid(np.arange(20.0), np.arange(15.0), indexing="ij")
    plane = 0.3 * x - 0.2 * y
    known = (x > 4) & (x < 15) & (y > 3) & (y < 11)
    assert_allclose(extended(plane, known, 1.0), plane, atol=1e-12)


def sphere(path: Path) -> None:
    trimesh.creation.icosphere(radius=0.25).export(path)


def plank(path: Path) -> None:
    trimesh.creation.box((0.56, 0.3, 0.02)).subdivide().subdivide().subdivide().export(path)


def few(path: Path) -> None:
    trimesh.creation.box((0.56, 0.3, 0.02)).export(path)


def nonsense(path: Path) -> None:
    path.write_bytes(b"solid nothing\n" * 20)


@pytest.mark.parametrize(
    ("write", "words"),
    [
        (sphere, "not seen to be two bars"),
        (plank, "not seen to be two bars"),
        (few, "too few triangles"),
        (nonsense, "cannot be read as a mesh|too few triangles"),
    ],
)
def test_what_is_no_tree_is_refused(write, words: str, tmp_path: Path) -> None:  # noqa: ANN001
    path = tmp_path / "thing.stl"
    write(path)
    with pytest.raises(BadSettings, match=words) as refusal:
        read_tree(path, unit="m")
    assert refusal.value.where == str(path)


def test_a_wrong_unit_is_named(tmp_path: Path) -> None:
    path = save(read_tree("riding-middle"), tmp_path / "tree.stl", 1000.0)
    with pytest.raises(
        BadSettings, match=r"tree\.stl: is 56\d+ mm long when its unit is cm; say mm"
    ):
        read_tree(path, unit="cm")
