"""What is kept from the screen is what the command line reads."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import tempfile
import zipfile
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from fitsim.app import exports
from fitsim.app.bench import changed_tree, load_of
from fitsim.app.scenario import Scenario
from fitsim.app.sessions import Sessions, sweep
from fitsim.errors import BadScan
from fitsim.rig.read import read_load, read_rig
from fitsim.scan.scale import read_known
from fitsim.tree.read import read_tree

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.app.sessions import Place
    from fitsim.scan.scale import Known

SET = Scenario(
    front_left=150.0, front_right=130.0, rear_left=90.0, rear_right=0.0, front_wider=0.010,
    more_curve=0.003, mass=70.0, uneven=6.0, at=0.02, slope=0.1,
)  # fmt: skip


@pytest.mark.parametrize("load", ["rider", "pack", "none"])
def test_settings_read_back(mule: Place, load: str, tmp_path: Path) -> None:
    scenario = replace(SET, load=load)
    kept = zipfile.ZipFile(io.BytesIO(exports.settings_files(mule, scenario)))
    kept.extractall(tmp_path)
    rig = read_rig(tmp_path / "rig.toml")
    assert (rig.front.tension_left, rig.front.tension_right) == (150.0, 130.0)
    assert (rig.rear.tension_left, rig.rear.tension_right) == (90.0, 0.0)
    assert (
        read_tree(tmp_path / "tree.toml").settings["bar"] == changed_tree(scenario).settings["bar"]
    )
    if load != "none":
        again = read_load(str(tmp_path / "load.toml"), scenario.slope, None)
        mine = load_of(scenario)
        assert [w.mass for w in again.weights] == [w.mass for w in mine.weights]
        assert again.going == mine.going
    command = (tmp_path / "fit.txt").read_text()
    assert '--at "20 mm"' in command
    assert '--slope "5.73 deg"' in command
    assert "mule.ply" in command


@pytest.mark.parametrize("known", [(0.153, 2.0), ((0.0, 0.0, 0.0), (0.0, -0.1, 0.0), 0.6)])
def test_a_known_distance_is_kept(mule: Place, known: Known) -> None:
    place = replace(mule, file=replace(mule.file, known=known))
    kept = zipfile.ZipFile(io.BytesIO(exports.settings_files(place, SET)))
    told = kept.read("fit.txt").decode().partition('--known "')[2].partition('"')[0]
    assert read_known(told) == known


def test_hands_say_something(mule: Place) -> None:
    rows = exports.tried_by_hand(mule, Scenario())
    assert any("Flat hand" in test for test, _ in rows)


@pytest.mark.skipif(os.name == "nt", reason="no way to ask whether a process lives")
def test_what_a_killed_app_left_is_taken_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    for owner in (str(ended.pid), str(os.getpid()), "nobody"):
        folder = tmp_path / f"fitsim-app-{owner}-x"
        folder.mkdir()
        (folder / "scan.ply").write_text("ply")
    sweep()
    left = sorted(folder.name.split("-")[2] for folder in tmp_path.iterdir())
    assert left == sorted([str(os.getpid()), "nobody"])


def test_a_brought_name_leaves_nothing_but_its_ending(mule: Place) -> None:
    sessions = Sessions(mule)
    for name in ("../../../etc/passwd.ply", "..\\..\\a.PLY", "/etc/x.ply", "a\x00b.ply"):
        path = sessions.brought(name)
        assert str(path.parent) == sessions.folder.name
        assert path.suffix == ".ply"
    for name in ("passwd", "a.exe", ""):
        with pytest.raises(BadScan, match="not a kind of scan"):
            sessions.brought(name)
    sessions.close()
