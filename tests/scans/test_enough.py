"""What is said of how a back was scanned."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitsim.back.back import Back
from fitsim.back.enough import beside_a_wall
from fitsim.back.quality import quality_of
from fitsim.errors import BadScan
from fitsim.scan.clean import cleaned
from fitsim.scan.read import read_scan

if TYPE_CHECKING:
    from pathlib import Path

FLOOR, WALL, IN_FRONT = [0.1, 0.1, 1.0], [0.1, -1.0, 0.2], [1.0, 0.1, 0.1]


@pytest.mark.parametrize(
    ("normals", "said"),
    [
        ([], 0),
        ([WALL], 1),
        ([FLOOR], 0),
        ([FLOOR, WALL], 0),
        ([IN_FRONT], 0),
        ([WALL, IN_FRONT], 1),
    ],
)
def test_a_wall_without_a_floor_may_be_the_floor(
    normals: list[list[float]], said: int, rng: np.random.Generator
) -> None:
    turn = Rotation.random(rng=rng).as_matrix()
    T = np.eye(4)
    T[:3, :3] = 2.5 * turn  # a frame may carry the size of the animal
    sheets = np.array([[*(turn.T @ (n / np.linalg.norm(n))), 1.0] for n in normals]).reshape(-1, 4)
    frame: Any = SimpleNamespace(T_body_scan=T)
    assert beside_a_wall(sheets, frame) == said


def test_one_flank_of_a_real_animal_is_refused(borrowed: Path) -> None:
    """A cow seen from its left, with its floor: the flank arches over like a back."""
    scan = cleaned(read_scan(borrowed / "cattle-depth" / "left.pcd", unit="m"))
    with pytest.raises(BadScan, match="one side of the back is missing"):
        Back.from_scan(scan)


@pytest.mark.slow
def test_a_height_that_set_the_size_is_told_as_its_evidence(borrowed: Path) -> None:
    scan = cleaned(read_scan(borrowed / "horse-scan.ply", withers_height=1.5))
    back = Back.from_scan(scan, withers_height=1.5)
    # Its own README: a scale of 13.107 give or take 4 %, by eye
    told, factor = back.provenance.unit_evidence.split("times ")
    assert told.startswith("Told by the withers height, 1.50 m")
    assert float(factor.split()[0]) == pytest.approx(13.107, rel=0.04)
    advice = quality_of(scan, back).advice
    assert not any("scale was not told" in one.what for one in advice)
