"""One side of a trunk is never laid as a back lying on its side, and no wrong side is named."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitsim.back.back import Back
from fitsim.demo import demo_folder
from fitsim.errors import BadScan
from fitsim.scan.clean import cleaned
from fitsim.scan.read import read_scan
from tests.trunk import sheet

if TYPE_CHECKING:
    from fitsim.scan.scan import Scan

TURNED = 3.0
"""deg: a frame farther off than this is laid wrong (whole backs without feet: 2 at most)."""


@cache
def whole() -> tuple[Scan, np.ndarray]:
    """The mule as read, and its points in the body frame."""
    scan = read_scan(demo_folder() / "mule.ply", unit="m")
    T = Back.from_scan(cleaned(scan)).T_body_scan
    return scan, scan.vertices @ T[:3, :3].T + T[:3, 3]


def part(side: float, share: float, *, points: bool, seed: int, floor: bool = False) -> Scan:
    """That share of the trunk from one side (+1 left) inward, in the body frame turned anyhow."""
    scan, place = whole()
    keep = side * place[:, 1] > np.quantile(side * place[:, 1], 1.0 - share)
    faces = scan.triangles[keep[scan.triangles].all(axis=1)]
    used = np.flatnonzero(keep) if points else np.unique(faces)
    number = np.full(len(place), -1)
    number[used] = np.arange(len(used))
    triangles = np.empty((0, 3), np.int32) if points else number[faces].astype(np.int32)
    vertices = place[used]
    if floor:
        ground = sheet([-2.0, -1.6, -1.45], [4.0, 0, 0], [0, 3.2, 0], 120)
        if not points:
            triangles = np.r_[triangles, ground.faces + len(vertices)].astype(np.int32)
        vertices = np.r_[vertices, ground.vertices]
    turn = np.eye(3) if seed == 0 else Rotation.random(random_state=seed).as_matrix()
    return replace(
        scan, vertices=vertices @ turn.T, triangles=triangles, colours=None, normals=None
    )


def laid(scan: Scan, seed: int) -> tuple[float, tuple[str, ...]] | str:
    """How far off the frame is, deg, and the cautions; or the refusal."""
    turn = np.eye(3) if seed == 0 else Rotation.random(random_state=seed).as_matrix()
    try:
        back = Back.from_scan(cleaned(scan))
    except BadScan as fault:
        return str(fault)
    off = np.degrees(Rotation.from_matrix(back.T_body_scan[:3, :3] @ turn).magnitude())
    return float(off), back.cautions


def check(scan: Scan, side: float, seed: int) -> None:
    """Refused, naming no wrong side, or laid right and said to be one-sided."""
    found = laid(scan, seed)
    if isinstance(found, str):
        assert "side of the back is missing" in found
        assert ("the left side" if side > 0 else "the right side") not in found
        return
    assert found[0] < TURNED
    assert any("side was scanned over only" in caution for caution in found[1])


@pytest.mark.parametrize(
    ("side", "share", "kind", "seed"), [(1.0, 0.5, "points", 1), (-1.0, 0.45, "mesh", 0)]
)
def test_half_a_trunk_is_refused(side: float, share: float, kind: str, seed: int) -> None:
    check(part(side, share, points=kind == "points", seed=seed), side, seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [0, 2])
@pytest.mark.parametrize("kind", ["points", "mesh"])
@pytest.mark.parametrize("share", [0.40, 0.45, 0.50, 0.55])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_no_share_of_either_side_is_laid_wrong(
    side: float, share: float, kind: str, seed: int
) -> None:
    check(part(side, share, points=kind == "points", seed=seed), side, seed)


@pytest.mark.slow
@pytest.mark.parametrize("share", [0.40, 0.50, 0.55])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_half_a_trunk_over_its_floor(side: float, share: float) -> None:
    check(part(side, share, points=False, seed=3, floor=True), side, 3)


def test_a_side_scanned_less_far_down_is_no_half() -> None:
    """70 % of the trunk reaches 0.19 m past the spine: enough for a bar, and laid right."""
    found = laid(part(1.0, 0.7, points=True, seed=0), 0)
    assert not isinstance(found, str), found
    assert found[0] < TURNED
