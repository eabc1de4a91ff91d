"""A tree's own body, imported as a mesh and fitted, gives back the settings it was built from."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from fitsim.errors import BadSettings
from fitsim.tree.adjust import adjusted
from fitsim.tree.build import tree_from_settings
from fitsim.tree.fitted import fitted
from fitsim.tree.read import read_tree
from fitsim.tree.write import write_tree

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from fitsim.tree.tree import Tree

#: What was asked of the round trip, m and rad.
LENGTHS, ANGLES = 0.5e-3, np.radians(0.3)

ODD: Mapping[str, object] = {
    "bar.curve.low": 0.25,
    "bar.crown": -0.002,
    "bar.edge_roll": 0.006,
    "arches.front.angle": 0.45,
}


def mesh_of(tree: Tree, path: Path, turn: np.ndarray | None = None) -> Path:  # type: ignore[type-arg]
    vertices = tree.vertices if turn is None else tree.vertices @ turn.T
    trimesh.Trimesh(1e3 * vertices, tree.triangles, process=False).export(path)
    return path


def shared(one: Mapping[str, object], two: Mapping[str, object]) -> Iterator[tuple[str, float]]:
    """Differences of what a mesh tells, by name."""
    for key, value in one.items():
        other = two.get(key)
        if isinstance(value, dict) and isinstance(other, dict):
            yield from ((f"{key}.{name}", off) for name, off in shared(value, other))
        elif isinstance(value, float) and isinstance(other, float):
            yield key, other - value


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("pack-pivoting", ODD),
        pytest.param("riding-middle", {}, marks=pytest.mark.slow),
        pytest.param("riding-short", {"bar.curve.sagitta": 0.0}, marks=pytest.mark.slow),
    ],
)
def test_settings_come_back(name: str, changes: Mapping[str, object], tmp_path: Path) -> None:
    tree = adjusted(read_tree(name), changes)
    again = read_tree(mesh_of(tree, tmp_path / "tree.stl"))
    front, rear = (tree.settings["arches"][end]["at"] for end in ("front", "rear"))  # type: ignore[index]
    found = fitted(again, (front, rear))
    assert found.rms < 0.1e-3
    assert found.worst < 0.5e-3
    told, back = tree.settings, found.settings.model_dump(exclude_none=True)
    off = dict(shared(told["bar"], back["bar"]))  # type: ignore[arg-type]
    if not told["bar"]["curve"]["sagitta"]:  # type: ignore[index]
        off.pop("curve.low", None)  # a straight bar has no lowest point
    off |= {f"{end}.spread": 2 * half(back, end) - 2 * half(told, end) for end in ("front", "rear")}
    assert {key: value for key, value in off.items() if abs(value) > LENGTHS} == {}
    assert len(off) >= 14
    for end in ("front", "rear"):
        angle = back["arches"][end]["angle"] - told["arches"][end]["angle"]  # type: ignore[index]
        assert abs(angle) < ANGLES


def half(settings: Mapping[str, object], end: str) -> float:
    arch = settings["arches"][end]  # type: ignore[index]
    return float(arch["inner_edge"] if "inner_edge" in arch else arch["spread"] / 2.0)


def test_fitted_tree_can_be_written_read_and_varied(tmp_path: Path) -> None:
    again = read_tree(mesh_of(read_tree("riding-wide"), tmp_path / "tree.ply"))
    found = fitted(again)
    tree = tree_from_settings(found.settings, "fitted")
    write_tree(tree, tmp_path / "fitted.toml")
    kept = read_tree(tmp_path / "fitted.toml")
    spreads = {
        f"arches.{end}.spread": half(kept.settings, end) * 2.0 + 0.01 for end in ("front", "rear")
    }
    wider = adjusted(kept, spreads)
    # 5 mm a side: both arches alike, so that the bars only move apart.
    assert np.ptp(wider.vertices[:, 1]) - np.ptp(kept.vertices[:, 1]) == pytest.approx(0.01)
    assert any("mm off the mesh's undersides" in note for note in found.notes)
    assert any("no mass, arches" in note for note in found.notes)


@pytest.mark.slow
def test_what_no_bar_can_follow_shows_in_what_is_left(tmp_path: Path) -> None:
    """A ripple of 2 mm that no setting makes: root mean square 2/sqrt(2) mm, up and down."""
    tree = read_tree("riding-middle")
    vertices = tree.vertices.copy()
    vertices[:, 2] += 0.002 * np.sin(2.0 * np.pi * vertices[:, 0] / 0.06)
    path = tmp_path / "tree.stl"
    trimesh.Trimesh(1e3 * vertices, tree.triangles, process=False).export(path)
    found = fitted(read_tree(path))
    # Heights are taken square to a face that leans by 25 degrees.
    expected = 0.002 / np.sqrt(2.0) * np.cos(np.radians(25.0))
    assert found.rms == pytest.approx(expected, rel=0.15)  # flares and rolls take up a little


def test_front_is_believed_when_told(tmp_path: Path) -> None:
    tree = read_tree("riding-middle")
    turn = Rotation.from_euler("z", 90, degrees=True).as_matrix().round()  # front to +y
    path = mesh_of(tree, tmp_path / "tree.stl", turn)
    told, found = read_tree(path, front="+y"), read_tree(path)
    assert np.abs(told.vertices - found.vertices).max() < 1e-9
    other = read_tree(path, front="-y")
    assert any("towards -y in the mesh is the front, as told" in note for note in other.notes)
    # Back to front its steep end is behind.
    assert other.bars[0].underside.height.shape != (0, 0)
    assert fitted(other).settings.arches.front.angle < fitted(other).settings.arches.rear.angle
    with pytest.raises(BadSettings, match=r"whose front points to \+z"):
        read_tree(path, front="+z")
