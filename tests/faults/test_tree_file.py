"""Every fault of a tree file is one sentence with the file, the key, the fault and the mend."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitsim.errors import BadSettings, FitsimError
from fitsim.settings import parsed
from fitsim.tree.adjust import adjusted
from fitsim.tree.build import tree_from_settings
from fitsim.tree.library import library_names, library_text
from fitsim.tree.read import EXAMPLE, read_tree
from fitsim.tree.settings import TreeSettings

if TYPE_CHECKING:
    from pathlib import Path

GOOD = library_text("pack-pivoting")

FAULTS = [
    # what is written, what it becomes, where, fault, mend
    ('length = "560 mm"', 'length = "-560 mm"', "bar.length", "zero or negative", "positive"),
    ('length = "560 mm"', "length = 560", "bar.length", "560 has no unit", '"110 mm"'),
    ('crown = "3 mm"', "crown = 0", "bar.crown", "0 has no unit", '"110 mm"'),
    ('angle = "31 deg"', "angle = 31", "arches.front.angle", "31 has no unit", '"9 deg"'),
    ('mass = "11 kg"', "mass = 11", "mass", "11 has no unit", '"35 kg"'),
    ('length = "560 mm"', "length = true", "bar.length", "is no length", '"110 mm"'),
    ('length = "560 mm"', 'length = "560 kg"', "bar.length", "not a length", "write it as"),
    ('length = "560 mm"', 'length = "long"', "bar.length", "", "560 mm"),
    ('length = "560 mm"', 'length = "560 cm"', "bar.length", "no saddle bar", "check the unit"),
    ('length = "560 mm"', 'lenght = "560 mm"', "bar.lenght", "no such setting", "'length'"),
    ('length = "560 mm"\n', "", "bar.length", "is missing", "add it"),
    ('middle = "110 mm"', 'middle = "11 mm"', "bar.width", "no saddle bar", "30 to 300 mm"),
    ('sagitta = "14 mm"', 'sagitta = "140 mm"', "bar.curve", "too strong", "at most"),
    ('sagitta = "14 mm"', 'radius = "0 mm"', "bar.curve", "is no curve", 'sagitta = "0 mm"'),
    (
        'sagitta = "14 mm"',
        'sagitta = "14 mm", radius = "2 m"',
        "bar.curve",
        "must hold one",
        "either",
    ),
    ('crown = "3 mm"', 'crown = "30 mm"', "bar.crown", "too strong", "at most"),
    ('crown = "3 mm"', 'twist = "30 deg"', "bar.twist", "does not bring the face", "deg"),
    ('corner = "36 mm"', 'corner = "4 mm"', "bar.corner", "does not go with", "edge roll"),
    ('thickness = "26 mm"', 'thickness = "8 mm"', "bar.thickness", "too thin", "twice"),
    ('spread = "56 mm"\n', "", "arches.front", "must hold one", "either 'spread'"),
    ('spread = "56 mm"', 'spread = "57 mm"', "arches.front.spread", "none of the steps", "68 mm"),
    ('angle = "31 deg"', 'angle = "80 deg"', "arches.front.angle", "no bar's face", "75 deg"),
    ('angle = "31 deg"', 'angle = "32 deg"', "arches.front.angle", "none of the steps", "35 deg"),
    ('angle = "31 deg"', 'angle = "31 mm"', "arches.front.angle", "not an angle", "deg"),
    ('at = "130 mm"', 'at = "420 mm"', "arches.rear.at", "rear arch sits", "100 mm behind"),
    ('at = "430 mm"', 'at = "600 mm"', "arches.rear.at", "not on a bar", "560 mm"),
    ('shape = "arch"', 'shape = "bridge"', "arches.front.shape", "no choice", "'cross'"),
    ('stop = "8 deg"', 'stop = "90 deg"', "pivot.stop", "no bar's pivot", "45 deg"),
    ('stop = "8 deg"', 'stop = "8 deg"\nstiffness = "9 N"', "pivot.stiffness", "unit", "N*m/rad"),
    (
        'stop = "8 deg"',
        'stop = "8 deg"\nstiffness = 9',
        "pivot.stiffness",
        "no unit",
        '"180 N*m/rad"',
    ),
    ("[bar]\n", "bar = 3\n[bars]\n", "bars", "no such setting", "'bar'"),
    (
        'spread_steps = ["44 mm", "56 mm"',
        'spread_steps = ["44 mm", 56',
        "arches.front.spread_steps.1",
        "no unit",
        "",
    ),
    ('axis = "along"', 'axis = "across"', "pivot", "needs its place", "give 'at'"),
    ('axis = "along"', 'at = "280 mm"', "pivot", "has no 'at'", 'axis = "across"'),
    ('axis = "along"', 'axis = "up"', "pivot.axis", "no choice", "'across'"),
    ('axis = "along"', 'axis = "across"\nat = "600 mm"', "pivot.at", "not on a bar", "560 mm"),
    ('mass = "11 kg"', 'mass = "0 kg"', "mass", "zero or negative", "positive"),
    ('front = "130 mm"\nrear = "430 mm"', 'front = "430 mm"\nrear = "130 mm"', "rigging", "", ""),
    ('kind = "pack"', 'kind = "sofa"', "kind", "no choice", "'riding'"),
    ("[pivot]", "[pivots]", "pivots", "no such setting", "'pivot'"),
    ("[pivot]", "[pivot", "", "not a settings file", "lines like"),
]


# What is written for one opening, where, fault, mend; a number has "mm" added to it.
OPENINGS = [
    ("pocket at=600 length=100 width=60 depth=5", "pocket.0", "not on a bar", "on the bar"),
    ("pocket at=90 across=70 length=90 width=60 depth=5", "pocket.0", "not on a bar", "on the bar"),
    ("pocket at=100 length=100 width=30 depth=9", "pocket.0.depth", "steep-walled", "6.0 mm"),
    ("pocket at=90 length=100 width=90 depth=15", "pocket.0.depth", "too little", "a thicker bar"),
    ("pocket at=90 length=100 width=90 depth=-2", "pocket.0.depth", "zero or negative", "positive"),
    ("slot at=280 across=70 length=60 width=20", "slot.0", "not on a bar", "on the bar"),
    ("slot at=280 across=30 length=60 width=20", "slot.0", "too near the bar's edge", "of wood"),
    ("slot at=280 length=60", "slot.0.width", "is missing", "add it"),
    ("slots at=280", "slots", "no such setting", "'slot'"),
    (
        "slot at=280 length=60 width=20; slot at=330 length=60 width=20",
        "slot.0",
        "runs into another slot",
        "between them",
    ),
    ("notch at=40 length=80 depth=6", "notch.0", "runs into a rounded corner", "from either tip"),
    ("notch at=280 length=40 depth=9", "notch.0.length", "too short for a swept", "shallower"),
    ("notch at=280 length=400 depth=85", "notch.0.depth", "leaves too little", "at least 30 mm"),
    ("notch at=280 edge=top length=90 depth=6", "notch.0.edge", "no choice", "'inner'"),
    (
        "notch at=200 length=120 depth=6; notch at=260 length=120 depth=6",
        "notch.0",
        "runs into another notch",
        "further apart",
    ),
]


def opening(words: str) -> str:
    lines = []
    for one in words.split(";"):
        kind, *pairs = one.split()
        lines.append(f"[[bar.{kind}]]")
        for pair in pairs:
            key, value = pair.split("=")
            unit = " mm" if value.lstrip("-").isdigit() else ""
            lines.append(f'{key} = "{value}{unit}"')
    return "\n".join(lines) + "\n"


FAULTS += [
    ("[arches.front]", f"{opening(words)}[arches.front]", f"bar.{where}", fault, mend)
    for words, where, fault, mend in OPENINGS
]


@pytest.mark.parametrize("slip", FAULTS, ids=lambda slip: slip[1].strip())
def test_fault_is_one_sentence_that_says_what_to_do(slip: tuple[str, ...], tmp_path: Path) -> None:
    was, becomes, where, fault, mend = slip
    assert was in GOOD
    path = tmp_path / "mine.toml"
    path.write_text(GOOD.replace(was, becomes, 1))
    with pytest.raises(BadSettings) as refusal:
        read_tree(path)
    error = refusal.value
    assert error.where == (f"{path}, {where}" if where else str(path))
    assert fault in error.fault
    assert mend in error.mend
    assert "\n" not in str(error)


def test_bars_that_cross_are_refused() -> None:
    text = library_text("riding-middle")
    text = text.replace('spread = "56 mm"', 'spread = "12 mm"').replace('"72 mm"', '"120 mm"')
    with pytest.raises(BadSettings, match="the bars cross before their front tip; widen the front"):
        read_text(text)


def read_text(text: str) -> None:
    tree_from_settings(parsed(text, "mine.toml", TreeSettings, EXAMPLE), "mine.toml")


def test_a_name_near_one_in_the_library_is_suggested() -> None:
    with pytest.raises(BadSettings, match="did you mean 'riding-middle'"):
        read_tree("riding-midle")


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "tree.toml"
    path.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(BadSettings, match=r"tree\.toml: is not a text file"):
        read_tree(path)


def test_a_tree_from_a_mesh_has_no_settings_to_change() -> None:
    tree = replace(read_tree("pack-fixed"), settings={})
    with pytest.raises(BadSettings, match="came from a mesh and has no settings"):
        adjusted(tree, {"bar.length": 0.6})
    with pytest.raises(BadSettings, match="is not a setting"):
        adjusted(read_tree("pack-fixed"), {"bars.length": 0.6})
    with pytest.raises(BadSettings, match="zero or negative"):
        adjusted(read_tree("pack-fixed"), {"bar.length": -0.6})


@pytest.mark.parametrize("name", library_names())
def test_inches_and_millimetres_make_the_same_tree(name: str, tmp_path: Path) -> None:
    text = library_text(name)
    path = tmp_path / "inch.toml"
    millimetres = [part for part in text.split('"') if part.endswith(" mm")]
    for part in set(millimetres):
        text = text.replace(f'"{part}"', f'"{float(part[:-3]) / 25.4!r} in"')
    path.write_text(text)
    one, two = read_tree(name), read_tree(path)
    # Two decimal conversions of a double.
    assert abs(one.vertices - two.vertices).max() < 1e-12


@settings(max_examples=30, deadline=None)
@given(place=st.integers(0, len(GOOD) - 1), swap=st.characters(codec="utf-8"))
def test_any_slip_of_the_pen_is_a_tree_or_a_sentence(place: int, swap: str) -> None:
    text = GOOD[:place] + swap + GOOD[place + 1 :]
    try:
        parsed(text, "mine.toml", TreeSettings, EXAMPLE)
    except FitsimError as error:
        assert error.where.startswith("mine.toml")  # noqa: PT017 - either outcome is right
