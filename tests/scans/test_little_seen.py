"""A side of which much is missing under a bar is said in every result; a whole back is silent."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import pytest

from fitsim.back.back import Back
from fitsim.demo import demo_folder
from fitsim.errors import BadScan
from fitsim.scan.clean import cleaned
from fitsim.scan.read import read_scan

if TYPE_CHECKING:
    from fitsim.scan.scan import Scan

SAID = "side was scanned over only"


@cache
def whole() -> tuple[Scan, Back]:
    scan = cleaned(read_scan(demo_folder() / "mule.ply", unit="m"))
    return scan, Back.from_scan(scan)


def without(share: float) -> Scan:
    """The mule without the front share of the right side where a bar lies, from 20 mm out."""
    scan, back = whole()
    place = scan.vertices @ back.T_body_scan[:3, :3].T + back.T_body_scan[:3, 3]
    reach = 0.45 * back.withers_height / 1.5
    gone = (place[:, 1] < -0.02) & (place[:, 0] < 0.02) & (place[:, 0] > -share * reach)
    return replace(scan, triangles=scan.triangles[~gone[scan.triangles].any(axis=1)])


def test_a_whole_back_says_nothing() -> None:
    assert not [said for said in whole()[1].cautions if SAID in said]


def test_half_of_a_side_is_said() -> None:
    back = Back.from_scan(without(0.5))
    (said,) = [said for said in back.cautions if SAID in said]
    assert said.startswith("The right side was scanned over only ")
    seen = float(said.partition("only ")[2].partition(" %")[0])
    # %: the frame of what is left may lie some centimetres off, and gaps are filled at their rim
    assert seen == pytest.approx(50.0, abs=15.0)


def test_a_missing_side_is_refused() -> None:
    with pytest.raises(BadScan, match="the right side of the back is missing"):
        Back.from_scan(without(0.99))
