"""`fitsim fit` on bad input: exit code 3, one sentence to act on, and nothing left behind.

Each row is one item of issue 3, 'Bad input'. What is only awkward (a turned scan) simply works.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import trimesh

from fitsim.cli import main
from tests.fits import raw
from tests.trunk import sheet, trunk

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def export(mesh: trimesh.Trimesh, path: Path) -> Path:
    mesh.export(path)
    return path


def mule() -> trimesh.Trimesh:
    scan = raw("mule")
    # a copy: what is spoilt here stays whole for everybody else
    return trimesh.Trimesh(scan.vertices.copy(), scan.triangles.copy(), process=False)


def empty(folder: Path) -> list[str]:
    (folder / "given.ply").write_bytes(b"")
    return ["given.ply"]


def truncated(folder: Path) -> list[str]:
    path = export(mule(), folder / "given.ply")
    path.write_bytes(path.read_bytes()[:400_000])
    return ["given.ply"]


def wrong_extension(folder: Path) -> list[str]:
    export(trunk(), folder / "made.ply").rename(folder / "given.stl")
    return ["given.stl"]


def fifty_points(folder: Path) -> list[str]:
    np.savetxt(folder / "given.xyz", np.random.default_rng(1).uniform(0.0, 1.0, (50, 3)))
    return ["given.xyz"]


def not_a_number(folder: Path) -> list[str]:
    mesh = mule()
    mesh.vertices[100] = np.nan
    export(mesh, folder / "given.ply")
    return ["given.ply"]


def millimetres_called_metres(folder: Path) -> list[str]:
    mesh = mule()
    mesh.apply_scale(1000.0)
    export(mesh, folder / "given.ply")
    return ["given.ply", "--unit", "m"]


def sphere(folder: Path) -> list[str]:
    export(trimesh.creation.icosphere(5, 0.6), folder / "given.ply")
    return ["given.ply"]


def plane(folder: Path) -> list[str]:
    export(sheet([0.0, 0.0, 0.0], [1.6, 0.0, 0.0], [0.0, 1.2, 0.0], 80), folder / "given.ply")
    return ["given.ply"]


def tree_longer_than_the_scan(folder: Path) -> list[str]:
    mesh = mule()
    body = np.c_[mesh.vertices - mesh.vertices.mean(axis=0)]
    along = np.linalg.svd(body, full_matrices=False)[2][0]
    keep = np.abs(body @ along) < 0.27
    mesh.update_faces(keep[mesh.faces].all(axis=1))
    mesh.remove_unreferenced_vertices()
    export(mesh, folder / "given.ply")
    return ["given.ply", "--unit", "m", "--tree", "pack-fixed"]


def negative_tension(folder: Path) -> list[str]:
    export(mule(), folder / "back.ply")
    (folder / "given.toml").write_text('[front_cinch]\ntension = "-150 N"\n', encoding="utf-8")
    return ["back.ply", "--rig", "given.toml"]


BAD: list[tuple[Callable[[Path], list[str]], tuple[str, ...]]] = [
    (empty, ("given.ply", "empty", "again")),
    (truncated, ("given.ply", "cut off", "again")),
    (wrong_extension, ("given.stl", "PLY", "rename")),
    (fifty_points, ("given.xyz", "50", "scan")),
    (not_a_number, ("given.ply", "number", "again")),
    (millimetres_called_metres, ("given.ply", "--unit", "mm")),
    (sphere, ("given.ply", "back")),
    (plane, ("given.ply", "back")),
    (tree_longer_than_the_scan, ("given.ply", "scan")),
    (negative_tension, ("given.toml", "front_cinch", "negative")),
]


def run(arguments: list[str]) -> int:
    with pytest.raises(SystemExit) as left:
        main(["fit", *arguments, "--spacing", "20 mm"])
    assert isinstance(left.value.code, int)
    return left.value.code


@pytest.mark.parametrize(("spoil", "words"), BAD, ids=[spoil.__name__ for spoil, _ in BAD])
def test_bad_input_gives_one_sentence_and_nothing_else(
    spoil: Callable[[Path], list[str]],
    words: tuple[str, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    arguments = spoil(tmp_path)
    before = sorted(path.name for path in tmp_path.iterdir())
    assert run([*arguments, "--quiet", "-o", "out"]) == 3
    said = capsys.readouterr()
    assert said.out == ""
    sentence = said.err.strip()
    assert "\n" not in sentence
    assert "Traceback" not in sentence
    assert sentence.endswith(".")
    for word in words:
        assert word in sentence, sentence
    assert "; " in sentence  # the fault; the mend
    assert sorted(path.name for path in tmp_path.iterdir()) == before  # nothing half-written


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out the pictures and the page, which other tests look at."""
    monkeypatch.setattr("fitsim.report.write.require_renderer", lambda: None)
    monkeypatch.setattr("fitsim.report.write.draw_cases", lambda *_, **__: {})
    monkeypatch.setattr(
        "fitsim.report.write.write_report",
        lambda _, path, **__: path.write_text("a page", encoding="utf-8"),
    )


@pytest.mark.usefixtures("undrawn")
def test_upside_down_scan_simply_works(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import json

    mesh = mule()
    mesh.apply_transform(trimesh.transformations.rotation_matrix(np.pi, [1.0, 0.3, 0.0]))
    export(mesh, tmp_path / "given.ply")
    out = ["--json", "--quiet", "--load", "none", "-o", str(tmp_path / "out")]
    assert run([str(tmp_path / "given.ply"), *out]) == 0
    found = json.loads(capsys.readouterr().out)
    assert all(case["equilibrium"] for case in found["cases"].values())
    assert found["cases"]["front"]["share"]["front"] > 0.6


SHORT = """
name = "short tree"
kind = "riding"
mass = "6 kg"
[bar]
length = "300 mm"
width = { front = "110 mm", middle = "100 mm", rear = "110 mm" }
curve = { sagitta = "14 mm" }
crown = "2 mm"
flare.front = { length = "60 mm", rise = "16 mm" }
flare.rear = { length = "60 mm", rise = "16 mm" }
edge_roll = "8 mm"
corner = "30 mm"
thickness = "24 mm"
[arches.front]
at = "80 mm"
spread = "56 mm"
angle = "30 deg"
shape = "arch"
rise = "75 mm"
[arches.rear]
at = "220 mm"
spread = "64 mm"
angle = "24 deg"
shape = "cantle"
rise = "80 mm"
[rigging]
front = "0 mm"
rear = "20 mm"
"""


def tight(rear: str) -> str:
    return f'[front_cinch]\ntension = "400 N"\n[rear_cinch]\ntension = "{rear}"\n'


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize(("rear", "code"), [("0 N", 0), ("400 N", 4)])
def test_a_tree_that_cannot_stay_is_said_to_tip_forward(
    rear: str, code: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both rings at the front tip of a short tree: it tips forward under each pull.

    Without the rear cinch its case is the tree's own weight, which stays on: only when no case
    holds is the exit code 4.
    """
    import json

    export(mule(), tmp_path / "back.ply")
    (tmp_path / "short.toml").write_text(SHORT, encoding="utf-8")
    (tmp_path / "tight.toml").write_text(tight(rear), encoding="utf-8")
    names = ["--tree", str(tmp_path / "short.toml"), "--rig", str(tmp_path / "tight.toml")]
    out = ["--load", "none", "--json", "--quiet", "-o", str(tmp_path / "out")]
    assert run([str(tmp_path / "back.ply"), *names, *out]) == code
    told = capsys.readouterr()
    first, _ = json.JSONDecoder().raw_decode(told.out)
    front = first["cases"]["front"]
    assert front["equilibrium"] is False
    assert "tips forward" in json.dumps(front)
    assert "peak_kpa" not in front or front["peak_kpa"] is None  # no number that is not one
    assert first["cases"]["rear"]["equilibrium"] is (code == 0)
    if code == 4:
        assert "under no case" in told.err
        assert "front: tips forward" in told.err
