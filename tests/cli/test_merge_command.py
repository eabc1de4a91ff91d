"""`fitsim merge`: two views into a file that `fitsim scan` reads, or one sentence and no file."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
import trimesh

from fitsim.cli import main
from fitsim.scan.read import read_scan
from tests.depths import LEFT, RIGHT, TOP, rough, shots

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path


def _views(folder: Path, **places: Sequence[float]) -> tuple[list[str], str]:
    """View files and a start, named by the cameras' places."""
    rng = np.random.default_rng(11)
    frames = shots(places, rng, 0.001)
    files = []
    for shot in frames:
        files.append(str(folder / f"{shot.name}.ply"))
        trimesh.PointCloud(shot.points).export(files[-1])
    first, *others = rough(frames, rng)
    poses = {
        f"T_{frames[0].name}_{shot.name}": (np.linalg.inv(first) @ T).tolist()
        for shot, T in zip(frames[1:], others, strict=True)
    }
    start = folder / "start.json"
    start.write_text(json.dumps(poses))
    return files, str(start)


def _ended(*words: str) -> object:
    with pytest.raises(SystemExit) as left:
        main(["merge", *words])
    return left.value.code


def test_views_become_a_scan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files, start = _views(tmp_path, top=TOP, left=LEFT)
    out = str(tmp_path / "merged.ply")
    assert _ended(*files, "--start", start, "-o", out, "--json", "--quiet") == 0
    said = capsys.readouterr()
    assert said.err == ""
    facts = json.loads(said.out)
    assert [view["name"] for view in facts["views"]] == ["top.ply", "left.ply"]
    assert facts["views"][0]["T_first_view"] == np.eye(4).tolist()
    (pair,) = facts["pairs"]
    # A still animal's views disagree by their noise
    assert pair["median_disagreement_mm"] < 1.6 * pair["noise_explains_mm"]
    assert facts["animal_moved"] is False
    merged = read_scan(out, unit="m")
    assert merged.is_points
    assert 1.0 < np.ptp(merged.vertices, axis=0).max() < 1.6  # m, the mule's trunk


@pytest.mark.slow
def test_a_view_that_cannot_be_placed_is_named_and_nothing_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files, start = _views(tmp_path, left=LEFT, right=RIGHT)
    out = tmp_path / "merged.ply"
    assert _ended(*files, "--start", start, "-o", str(out), "--quiet") == 3
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("right.ply: this view cannot be placed surely beside left.ply")
    assert not out.exists()


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["a.ply"], "merge: 1 view cannot be merged; name two to 12 files."),
        (["a.ply", "b.ply", "-o", "c.stl"], "c.stl: only PLY is written; end the name in .ply."),
        (["a.ply", "b.ply", "--start", "lost.json"], "lost.json: cannot be read"),
    ],
)
def test_faults_are_said_before_the_work(
    words: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _ended(*words) == 3
    assert sentence in capsys.readouterr().err
