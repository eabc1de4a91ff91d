"""What was seen or felt on the animal is kept where it was pointed at, said, and drawn."""

from __future__ import annotations

import json
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.back.back import Back
from fitsim.back.marks import on_chart, read_marks
from fitsim.back.mirror import mirrored
from fitsim.back.noted import NOTED_NAMES
from fitsim.demo import demo_folder
from fitsim.draw.flat_map import coloured, flat_map
from fitsim.errors import BadSettings
from fitsim.report.contract import scan_facts
from fitsim.report.summary import scan_lines
from fitsim.scan.clean import cleaned
from fitsim.scan.read import read_scan

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.scan.scan import Scan

SORE = np.array([[-0.20, 0.10], [-0.24, 0.10], [-0.24, 0.14], [-0.20, 0.14]])
"""(x, t), m: an outline on the left long muscle, its middle at (-220, 120) mm."""


@cache
def scan() -> Scan:
    return cleaned(read_scan(demo_folder() / "mule.ply", unit="m"))


@cache
def bare() -> Back:
    return Back.from_scan(scan())


@cache
def noted() -> Back:
    return Back.from_scan(scan(), {
        "sore_left": told(SORE), "white_hairs_2_right": told([[-0.30, -0.08]]),
        "hip_left": told([[-0.60, 0.20]]),
    })  # fmt: skip


def told(places: NDArray[np.float64] | list[list[float]]) -> NDArray[np.float64]:
    """Places of the chart, as someone points at them on the scan."""
    scan_from_body = np.linalg.inv(bare().T_body_scan)
    body = on_chart(bare().chart, np.asarray(places))
    return np.asarray(body @ scan_from_body[:3, :3].T + scan_from_body[:3, 3])


def test_it_stays_where_it_was_pointed_at_and_shapes_nothing() -> None:
    there = on_chart(bare().chart, SORE)
    # nothing moves it: only rounding of the way into the scan's frame and back
    np.testing.assert_allclose(noted().marks["sore_left"].points, there, atol=1e-9)
    assert noted().marks["sore_left"].source == "marked"
    np.testing.assert_array_equal(noted().chart.points, bare().chart.points)
    np.testing.assert_array_equal(noted().zone_code, bare().zone_code)
    assert not set(NOTED_NAMES) & set(bare().marks), "none is ever estimated"


def test_the_summary_says_where_it_lies() -> None:
    lines = scan_lines(scan(), noted())
    (sore,) = [line for line in lines if line.startswith("Noted: sore, left")]
    assert "220 mm behind the shoulder blade's rear edge" in sore
    # the middle of an outline on a curved flank lies on the grid within one 10 mm cell
    assert any(f"{n} mm from the spine along the skin" in sore for n in (110, 120, 130))
    assert any(line.startswith("Noted: white hairs 2, right, 300 mm behind") for line in lines)
    assert "sore_left" in scan_facts(noted())["back"]["marks"]  # type: ignore[index]


def test_what_hurts_is_a_caution_of_every_result() -> None:
    assert noted().cautions[0].startswith("A sore is marked on the left: nothing is laid on it")
    assert not [said for said in bare().cautions if "veterinarian" in said]
    assert any("on the right" in said for said in Back.from_scan(
        scan(), {"hot_patch_right": told([[-0.1, -0.1]])}).cautions)  # fmt: skip


def test_the_map_shows_it_in_its_place() -> None:
    figure, axes = flat_map(6.0)
    values = np.zeros(noted().chart.valid.shape)
    coloured(figure, axes, noted(), values, 1.0, colours="RdBu", label="mm")
    drawn = {line.get_gid(): line for line in axes.lines if line.get_gid()}
    assert set(drawn) == {"sore_left", "white_hairs_2_right", "hip_left"}
    ring = np.asarray(drawn["sore_left"].get_xydata())
    # places across are those of the nearest node, half a cell of 10 mm off at most
    np.testing.assert_allclose(ring, np.vstack([SORE, SORE[:1]]), atol=0.006)


def test_the_other_side_is_its_mirror_image() -> None:
    turned = mirrored(noted()).marks
    assert {"sore_right", "white_hairs_2_left", "hip_right"} <= set(turned)
    assert turned["sore_right"].points[:, 1].max() < 0.0


@pytest.mark.parametrize(
    "name", ["sore", "sore_0_left", "sore_left_2", "sore_middle", "bruise_left"]
)
def test_other_names_are_refused(tmp_path: Path, name: str) -> None:
    file = tmp_path / "marks.json"
    file.write_text(json.dumps({name: [[0.0, 0.0, 0.0]]}))
    with pytest.raises(BadSettings, match=f'no mark is called "{name}"'):
        read_marks(file)
