"""`fitsim stride` on the demo's mule: the page, the moving picture, the tables and what is said."""

from __future__ import annotations

import contextlib
import csv
import io
import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image

from fitsim.cli import main
from fitsim.demo import demo_folder

if TYPE_CHECKING:
    from pathlib import Path

PHASES = 8


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The folder that was written, and what was printed."""
    out, said = tmp_path_factory.mktemp("stride") / "out", io.StringIO()
    with pytest.raises(SystemExit) as left, contextlib.redirect_stdout(said):
        main([
            "stride", str(demo_folder() / "mule.ply"), "--gait", "trot", "--phases", str(PHASES),
            "--spacing", "18", "--no-tries", "--quiet", "--json", "-o", str(out),
        ])  # fmt: skip
    assert left.value.code == 0
    return out, said.getvalue()


@pytest.fixture(scope="module")
def made(ran: tuple[Path, str]) -> Path:
    return ran[0]


def test_every_file_is_there_and_nothing_else(made: Path) -> None:
    assert {file.name for file in made.iterdir()} == {
        "stride.html", "stride.gif", "stride.csv", "stride.json", "pressure.npz",
    }  # fmt: skip


def test_json_table_and_arrays_say_the_same(made: Path) -> None:
    told = json.loads((made / "stride.json").read_text("utf-8"))
    with (made / "stride.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    arrays = np.load(made / "pressure.npz")
    assert told["stays"]
    assert told["gait"]["name"] == "trot"
    assert len(rows) == len(told["moments"]) == len(arrays["phase"]) == PHASES
    assert arrays["pressure_pa"].shape == (PHASES, len(arrays["area_m2"]))
    force = arrays["pressure_pa"] @ arrays["area_m2"]
    assert np.allclose(force, [float(row["normal_force_n"]) for row in rows], rtol=1e-5)
    peak = max(float(row["peak_kpa"]) for row in rows)
    assert told["measures"]["peak_kpa"] == pytest.approx(peak)
    assert told["measures"]["carried_impulse_ns"] == pytest.approx(
        88.0 * 9.80665 * told["gait"]["stride_s"], rel=0.01
    )
    assert all(source for source in told["gait"]["sources"].values())
    for side in ("left", "right"):
        assert 0.0 <= told["measures"]["shoulders"][side]["restricted"] <= 1.0
    assert any("veterinarian" in caution for caution in told["cautions"])


def test_the_moving_picture_moves(made: Path) -> None:
    with Image.open(made / "stride.gif") as gif:
        assert getattr(gif, "n_frames") == PHASES  # noqa: B009 - of the GIF reader alone
        first = np.asarray(gif.convert("RGB"), dtype=float)
        gif.seek(PHASES // 2)
        later = np.asarray(gif.convert("RGB"), dtype=float)
    assert first.std() > 10.0
    assert np.abs(first - later).max() > 50.0


def test_the_page_stands_alone_and_says_what_to_try(made: Path) -> None:
    page = (made / "stride.html").read_text("utf-8")
    assert page.count("data:image/webp;base64,") >= PHASES
    for words in ("Try first", "Play", "veterinarian", "not a measurement", "common practice"):
        assert words in page
    assert 'src="http' not in page
    assert 'href="http' not in page


def test_json_is_what_was_written(ran: tuple[Path, str]) -> None:
    told = json.loads(ran[1])
    assert told == json.loads((ran[0] / "stride.json").read_text("utf-8"))
    assert told["case"] == "rider"
    assert told["range"] is None
    assert told["trials"] == []
