"""Each way a tracings file can be wrong, with the sentence docs/tracings-file.md promises."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitsim.errors import BadScan, BadSettings, FitsimError
from fitsim.scan.read import read_scan
from fitsim.scan.tracings import read_tracings

if TYPE_CHECKING:
    from collections.abc import Callable

DOCS = Path(__file__).resolve().parents[2] / "docs" / "tracings-file.md"

HEAD = "part,station_mm,across_mm,height_mm"


def _lines(stations: tuple[int, ...] = (50, -25, -100, -175, -250)) -> list[str]:
    """A barrel 500 mm wide with a level spine."""
    spine = [f"spine,{x},,0" for x in range(-650, 251, 50)]
    angles = [math.radians(a) for a in range(-80, 81, 8)]
    ring = [(250 * math.sin(a), 250 * math.cos(a) - 250) for a in angles]
    sections = [f"section,{x},{y:.1f},{z:.1f}" for x in stations for y, z in ring]
    return [HEAD, "withers,100,,", *spine, *sections]


def _swapped(lines: list[str]) -> list[str]:
    first = next(n for n, line in enumerate(lines) if line.startswith("section"))
    lines[first + 3], lines[first + 4] = lines[first + 4], lines[first + 3]
    return lines


def _without(start: str, lines: list[str]) -> list[str]:
    return [line for line in lines if not line.startswith(start)]


def _first_section(lines: list[str], keep: Callable[[int, float], bool]) -> list[str]:
    """Leave out points of the tracing at 50 mm."""
    kept, count = [], 0
    for line in lines:
        words = line.split(",")
        if words[:2] == ["section", "50"]:
            count += 1
            if not keep(count, float(words[2])):
                continue
        kept.append(line)
    return kept


SPOILT: dict[str, Callable[[], list[str]]] = {
    "heading.csv": lambda: ["part,station,height,across", *_lines()[1:]],
    "units.csv": lambda: ["part,station_mm,across_cm,height_mm", *_lines()[1:]],
    "word.csv": lambda: [HEAD, "rib,1,2,3", *_lines()[1:]],
    "number.csv": lambda: [*_lines()[:29], "section,50,,12", *_lines()[29:]],
    "withers.csv": lambda: _without("withers", _lines()),
    "profile.csv": lambda: [*_without("spine", _lines()), "spine,-650,,0", "spine,250,,0"],
    "twice.csv": lambda: [*_lines(), "spine,-400,,1"],
    "reach.csv": lambda: (
        [n for x in (100, 150, 200, 250) for n in [f"spine,{x},,0"]]
        + _without("spine", _lines())[1:]
    ),
    "few.csv": lambda: _lines((50, -25, -100)),
    "gap.csv": lambda: _lines((125, 50, -250, -325)),
    "order.csv": lambda: _swapped(_lines()),
    "points.csv": lambda: _first_section(_lines(), lambda n, _: n in {1, 11, 21}),
    "spineless.csv": lambda: _first_section(_lines(), lambda _, y: y > 60),
    "named.ply": _lines,
}


def _content(name: str) -> bytes:
    lines = SPOILT[name]()
    if lines[0].startswith("spine"):
        lines = [HEAD, *lines]
    return ("\n".join(lines) + "\n").encode()


@pytest.mark.parametrize("name", SPOILT)
def test_the_page_says_what_the_program_says(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(_content(name))
    with pytest.raises(BadScan) as caught:
        read_scan(tmp_path / name)
    assert f"`{caught.value}`" in DOCS.read_text(encoding="utf-8"), str(caught.value)


def test_a_unit_told_against_the_heading_is_refused() -> None:
    content = "\n".join(_lines()).encode()
    with pytest.raises(BadSettings) as caught:
        read_tracings("told.csv", content, unit="cm")
    assert f"`{caught.value}`" in DOCS.read_text(encoding="utf-8"), str(caught.value)


def test_whole_files_are_read_and_the_unit_may_be_told() -> None:
    content = "\n".join(["part,station,across,height", *_lines()[1:]]).encode()
    scan = read_tracings("plain.csv", content, unit="mm")
    # the barrel is 0.9 m long at most and 0.49 m wide
    assert 0.45 < scan.vertices[:, 1].max() - scan.vertices[:, 1].min() < 0.50


@given(st.integers(0, 4000), st.sampled_from([b"", b"-", b"nan", b"1e999", b",", b"\n", b"\xff"]))
def test_a_spoilt_file_is_refused_in_one_sentence_or_read(at: int, put: bytes) -> None:
    content = "\n".join(_lines()).encode()
    try:
        read_tracings("spoilt.csv", content[:at] + put + content[at + 3 :])
    except FitsimError as fault:
        assert str(fault).count("\n") == 0  # noqa: PT017 - either way is right
