"""Pad, rig and load files: what is right is read, and each fault gives one sentence to act on."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.errors import BadSettings
from fitsim.rig.going import Going
from fitsim.rig.read import read_load, read_pad, read_rig
from fitsim.rig.rig import Cinch, Holdback

if TYPE_CHECKING:
    from collections.abc import Callable

PAGE = (Path(__file__).parents[2] / "docs" / "rig-file.md").read_text(encoding="utf-8")
READERS = {"rig": read_rig, "pad": read_pad, "load": read_load}
RIG = """
name = "mountain rig"
[front_cinch]
tension = "150 N"
behind_front = "4 in"
[rear_cinch]
tension_left = "90 N"
tension_right = "20 lbf"
"""
PAD = 'name = "mine"\nthickness = "25 mm"\npressure_at_25_percent = "3 psi"\n'


def written(folder: Path, text: str) -> Path:
    path = folder / "given.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_rig_file(tmp_path: Path) -> None:
    rig = read_rig(written(tmp_path, RIG))
    assert rig.name == "mountain rig"
    assert (rig.front.tension_left, rig.front.tension_right) == (150.0, 150.0)
    assert rig.front.behind_front == pytest.approx(0.1016)
    assert rig.rear.tension_left == 90.0
    assert rig.rear.tension_right == pytest.approx(20 * 4.4482216)  # lbf, from memory
    assert rig.rear.behind_front is None


def test_what_a_rig_file_leaves_out_stays_usual(tmp_path: Path) -> None:
    rig = read_rig(written(tmp_path, '[rear_cinch]\ntension = "0 N"\n'))
    assert rig.name == "given"
    assert rig.front == read_rig().front
    assert (rig.rear.tension_left, rig.rear.tension_right) == (0.0, 0.0)


def test_what_else_a_rig_may_have(tmp_path: Path) -> None:
    text = """
[front_cinch]
stiffness = "6 N/mm"
tightened = "25 mm"
swings_back = "-20 mm"
beside = "10 mm"
[connecting_strap]
length = "300 mm"
[breast_strap]
[breeching]
slack = "4 in"
behind_front = "500 mm"
"""
    rig = read_rig(written(tmp_path, text))
    assert rig.front == Cinch(150.0, 150.0, stiffness=6e3, swing=-0.02, beside=0.01)
    assert rig.connecting == 0.3
    assert rig.breast_strap == Holdback()
    assert rig.breeching == Holdback(0.1016, behind_front=0.5)
    assert rig.crupper is None


def test_going_in_a_load_file(tmp_path: Path) -> None:
    text = """
[going]
slope = "10 deg"
turn = "right"
turn_radius = "8 m"
speed = "4 m/s"
load_factor = 1.5
"""
    load = read_load(written(tmp_path, text))
    assert load.kind == "none"
    assert load.going == Going(np.radians(10.0), 0.0, -2.0, 1.5)
    with_pack = read_load(written(tmp_path, '[pack]\nleft = "9 kg"\nright = "9 kg"\n' + text))
    assert with_pack.going == load.going
    over = read_load(written(tmp_path, text), slope=0.0, side_slope=0.1)
    assert over.going == replace(load.going, slope=0.0, side_slope=0.1)


def test_pad_file(tmp_path: Path) -> None:
    pad = read_pad(written(tmp_path, PAD))
    assert pad.p25 == pytest.approx(3 * 6894.757, rel=1e-6)  # psi, from memory
    assert (pad.thickness, pad.stiffening, pad.friction) == (0.025, 4.0, 0.4)


def test_load_files(tmp_path: Path) -> None:
    assert read_load(written(tmp_path, '[rider]\nmass = "75 kg"\n')).weights[0].mass == 75.0
    packed = read_load(written(tmp_path, '[pack]\nleft = "30 kg"\nright = "32 kg"\n'))
    assert (packed.kind, packed.name) == ("pack", "pack of 30 + 32 kg")
    assert [weight.name for weight in packed.weights] == ["pack_left", "pack_right"]


@pytest.mark.parametrize(("name", "kind"), [("rider", "rider"), ("pack", "pack"), ("none", "none")])
def test_loads_by_name(name: str, kind: str) -> None:
    assert read_load(name).kind == kind


def front(line: str) -> str:
    return f"[front_cinch]\n{line}\n"


@pytest.mark.parametrize(
    ("read", "text", "where", "fault", "mend"),
    [
        (
            read_rig,
            front('tension = "-180 N"'),
            "front_cinch.tension",
            "-180 N is negative",
            "0 to 2000 N",
        ),
        (read_rig, front('tension = "18 kN"'), "front_cinch.tension", "18 kN", "0 to 2000 N"),
        (read_rig, front("tension = 180"), "front_cinch.tension", "no unit", '"180 N"'),
        (read_rig, front('tension = "180 mm"'), "front_cinch.tension", "length", '"180 N"'),
        (read_rig, front('tension = "tight"'), "front_cinch.tension", "tight", "N"),
        (read_rig, front('tension = "nan N"'), "front_cinch.tension", "nan", "N"),
        (read_rig, front('tensoin = "180 N"'), "front_cinch.tensoin", "no such", "'tension'"),
        (read_rig, front('ring = "180 N"'), "front_cinch.ring", "no such", "behind_front"),
        (read_rig, "front_cinch = 3", "front_cinch", "table", "[front_cinch]"),
        (read_rig, "[cinch]\n", "cinch", "no such", "'rear_cinch'"),
        (read_rig, front('tension = "9 N"\ntension_left = "9 N"'), "front_cinch", "twice", "or"),
        (read_rig, front('tension_left = "9 N"'), "front_cinch", "one side", "both"),
        (read_rig, "[front_cinch", "given.toml", "not a settings file", "lines like"),
        (read_pad, 'name = "x"\nthickness = "2 cm"\n', "pressure_at_25_percent", "missing", "add"),
        (read_pad, PAD.replace("25 mm", "-1 mm"), "thickness", "-1 mm", "0 to 150 mm"),
        (read_pad, PAD.replace("3 psi", "0 kPa"), "pressure_at_25", "0 kPa", "0.1 to 5000 kPa"),
        (read_pad, PAD + "friction = -1\n", "friction", "-1 is too small", "0 or more"),
        (read_pad, PAD + 'friction = "rough"\n', "friction", "not a number", "plain number"),
        (read_pad, PAD + "stiffening = nan\n", "stiffening", "not a finite", "plain number"),
        (read_pad, PAD + "friction = 3\n", "friction", "3 is too large", "2 or less"),
        (read_pad, PAD.replace('"mine"', "7"), "name", "not text", "quotation marks"),
        (read_pad, PAD.replace('"25 mm"', "25"), "thickness", "25 has no unit", '"110 mm"'),
        (read_rig, front("tension = 0"), "front_cinch.tension", "0 has no unit", '"180 N"'),
        (read_load, "[rider]\nmass = 72\n", "rider.mass", "72 has no unit", '"35 kg"'),
        (read_load, "", "given.toml", "one load", "[rider]"),
        (read_load, '[rider]\nmass = "-3 kg"\n', "rider.mass", "-3 kg", "0 to 400 kg"),
        (read_load, "[rider]\n", "rider.mass", "missing", "add"),
        (read_load, '[pack]\nleft = "9 kg"\n', "pack.right", "missing", "add"),
        (read_rig, front('tightened = "30 mm"'), "front_cinch", "by a length", "stiffness"),
        (
            read_rig,
            front('stiffness = "5 N/mm"\ntightened = "30 mm"\ntension = "9 N"'),
            "front_cinch",
            "twice",
            "either",
        ),
        (read_rig, front('stiffness = "0 N/mm"'), "stiffness", "zero or negative", "N/mm"),
        (read_rig, "[breeching]\nslack = 3\n", "breeching.slack", "3 has no unit", '"110 mm"'),
        (read_rig, "[connecting_strap]\n", "connecting_strap.length", "missing", "add"),
        (read_rig, '[breast_strap]\nslak = "9 mm"\n', "slak", "no such", "'slack'"),
        (read_load, '[going]\nslope = "60 deg"\n', "going.slope", "60 deg", "-45 to 45 deg"),
        (read_load, '[going]\nturn = "left"\n', "going", "in part only", "turn_radius"),
        (read_load, '[going]\nturn = "up"\n', "going.turn", "is no choice", "'left' or 'right'"),
        (read_load, "[going]\nload_factor = 9\n", "load_factor", "too large", "5 or less"),
        (read_load, '[rider]\nmass = "1000 kg"\n', "rider.mass", "1000 kg", "0 to 400 kg"),
        (
            read_load,
            '[rider]\nmass = "80 kg"\nstirrup_share = 1.5\n',
            "stirrup_share",
            "too large",
            "0.95 or less",
        ),
        (read_load, '[pack]\nlfet = "9 kg"\nright = "9 kg"\n', "pack.lfet", "no such", "'left'"),
    ],
)
def test_each_fault_gives_one_sentence(  # noqa: PLR0917 - pytest fills them by name
    tmp_path: Path, read: Callable[[Path], object], text: str, where: str, fault: str, mend: str
) -> None:
    path = written(tmp_path, text)
    with pytest.raises(BadSettings) as caught:
        read(path)
    error = caught.value
    assert error.where.startswith(str(path))
    assert where in error.where
    assert fault in error.fault
    assert mend in error.mend
    assert str(error).count("\n") == 0
    assert "pydantic" not in str(error).lower()
    assert error.exit_code == 3


@pytest.mark.parametrize("read", [read_rig, read_pad, read_load])
def test_files_that_cannot_be_read(tmp_path: Path, read: Callable[[Path], object]) -> None:
    with pytest.raises(BadSettings, match="cannot be read"):
        read(tmp_path / "none-such.toml")
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00\x81")
    with pytest.raises(BadSettings, match="not a text file"):
        read(binary)
    with pytest.raises(BadSettings):
        read(tmp_path)


def test_a_slip_in_a_name_is_met_with_the_nearest() -> None:
    with pytest.raises(BadSettings, match="did you mean 'felt-thick'"):
        read_pad("felt-thik")
    with pytest.raises(BadSettings, match="did you mean 'rider'"):
        read_load("ridr")
    with pytest.raises(BadSettings, match="use none, felt-thin, felt, felt-thick or a TOML file"):
        read_pad("xyz")


def blocks(language: str) -> list[str]:
    """Code blocks of docs/rig-file.md."""
    return re.findall(rf"```{language}\n(.*?)```", PAGE, re.DOTALL)


@pytest.mark.parametrize("example", blocks("toml"))
def test_examples_of_the_page_are_right(tmp_path: Path, example: str) -> None:
    kind = example.splitlines()[0].removeprefix("# ")
    assert READERS[kind](written(tmp_path, example))


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("rig", front('tension = "-180 N"')),
        ("rig", front('tensoin = "180 N"')),
        ("load", '[going]\nslope = "60 deg"\n'),
        ("load", '[rider]\nmass = "80 mm"\n'),
    ],
)
def test_sentences_of_the_page_are_the_ones_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, text: str
) -> None:
    (tmp_path / f"{kind}.toml").write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(BadSettings) as caught:
        READERS[kind](f"{kind}.toml")
    assert str(caught.value) in blocks("text")[0].splitlines()
