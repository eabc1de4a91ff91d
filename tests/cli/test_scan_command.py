"""`fitsim scan` on the demo's own animal: words, JSON and a cleaned file that others can open."""

from __future__ import annotations

import json
from contextlib import redirect_stderr, redirect_stdout
from io import StringIO
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree

from fitsim.cli import main
from fitsim.demo import demo_folder, demo_job
from fitsim.errors import BadSettings
from fitsim.report.scan_file import write_scan
from fitsim.scan.read import read_scan
from fitsim.scan.scan import Provenance, Scan

if TYPE_CHECKING:
    from pathlib import Path


def test_scan_says_what_it_found_and_writes_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mule, cleaned = demo_folder() / "mule.ply", tmp_path / "cleaned.ply"
    with pytest.raises(SystemExit) as left:
        main(["scan", str(mule), "--units", "inch", "-o", str(cleaned)])
    assert left.value.code == 0
    said = capsys.readouterr().out
    for words in ("mule.ply", "triangles", "Estimated, not marked", "give or take", "fat pocket"):
        assert words in said
    written = read_scan(cleaned, unit="m").vertices
    original = read_scan(mule, unit="m").vertices
    # Cleaning drops strays and may thin, but invents nothing and moves nothing: the scan's edges
    # are about 7 mm long, so what is written lies within one of what was read
    assert cKDTree(original).query(written)[0].max() < 0.007
    assert np.mean(cKDTree(written).query(original)[0] < 0.007) > 0.95


@pytest.fixture(scope="module")
def facts() -> dict[str, Any]:
    """What `--json` says of the demo's mule, and nothing else."""
    with redirect_stdout(StringIO()) as out, redirect_stderr(StringIO()) as err:  # noqa: SIM117 - read after
        with pytest.raises(SystemExit) as left:
            main(["scan", str(demo_folder() / "mule.ply"), "--json", "--quiet"])
    assert left.value.code == 0
    assert err.getvalue() == ""
    told: dict[str, Any] = json.loads(out.getvalue())
    return told


def test_scan_as_json(facts: dict[str, Any]) -> None:
    assert facts["scan"]["unit"] == "m"
    assert "fat_pocket_left" in facts["zones_xt_m"]
    assert all(mark["sd_mm"] > 0 for mark in facts["back"]["marks"].values())


@pytest.mark.parametrize("points", [False, True])
def test_a_written_scan_keeps_places_triangles_and_colours(tmp_path: Path, points: bool) -> None:  # noqa: FBT001
    corners = np.random.default_rng(1).uniform(-1.0, 1.0, (60, 3))
    triangles = np.arange(0 if points else 60, dtype=np.int32).reshape(-1, 3)
    colours = np.random.default_rng(2).integers(0, 255, (60, 3)).astype(np.uint8)
    scan = Scan(corners, triangles, Provenance("a.ply", "0" * 64, 20, 60, "m"), colours)
    write_scan(scan, tmp_path / "a.ply")
    read = trimesh.load(tmp_path / "a.ply", process=False)
    # float32 in the file: 6e-8 of a metre
    assert np.allclose(read.vertices, corners, rtol=0.0, atol=1e-6)
    seen = read.colors if points else read.visual.vertex_colors
    assert np.array_equal(np.asarray(seen)[:, :3], colours)
    if not points:
        assert np.array_equal(read.faces, triangles)


def test_only_ply_is_written(tmp_path: Path) -> None:
    scan = Scan(np.zeros((3, 3)), np.zeros((0, 3), np.int32), Provenance("a", "0" * 64, 0, 3))
    with pytest.raises(BadSettings, match=r"end the name in \.ply"):
        write_scan(scan, tmp_path / "a.stl")
    assert list(tmp_path.iterdir()) == []


def test_the_demo_asks_a_question_its_files_can_answer() -> None:
    question, job = demo_job(demo_folder())
    assert job.scan.path.is_file()
    assert question.endswith("?")
    assert None not in {job.tree, job.pad, job.load}


def test_scan_ends_with_the_quality_card(facts: dict[str, Any]) -> None:
    card = facts["quality"]
    assert card["bearing_area_measured"]["left"] > 0.9
    # the demo's scan has 1.1 mm of noise; a part of it is too long-waved to be told from shape
    assert card["noise_sd_mm"] == pytest.approx(1.1, rel=0.25)
    # its fat pockets are 6 mm high, and 2 mm is what the card is sure to
    assert all(abs(spot["height_mm"] - 6.0) < 2.0 for spot in card["fat_pockets"].values())
