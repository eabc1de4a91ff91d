"""The body frame out of a stable: noise, gaps, floor, walls, a handler and a rope, any way up."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fitsim.back.back import Back
from fitsim.errors import BadScan
from fitsim.scan.clean import cleaned
from tests.scenes import FrameError, frame_error, stable_scene

ANGLE, SPINE = 1.0, 0.005
"""deg and m: what the intake is asked to reach in 95 of 100 trials."""
WARNING = "Which end is the head's is not clear"


def test_one_scene_is_placed() -> None:
    scene = stable_scene(3, missing=0.1)
    error = frame_error(scene, Back.from_scan(cleaned(scene.scan)))
    assert max(abs(error.yaw), abs(error.pitch), abs(error.roll)) < ANGLE
    assert error.spine < SPINE
    assert not error.swapped


def test_the_stable_is_taken_away() -> None:
    """Nothing is left but the trunk: no handler, no rope, no floor."""
    scene = stable_scene(3, missing=0.1)
    left = cleaned(scene.scan)
    body = (left.vertices - scene.T_scan_body[:3, 3]) @ scene.T_scan_body[:3, :3]
    # noise of 3 mm, its waves and thinning stay within 15 mm; a rope is 12 mm thick
    assert np.abs(scene.hide.project(body)[2]).max() < 0.015
    assert any("Someone standing beside" in note for note in left.provenance.notes)
    floor = np.abs(left.sheets[:, :3] @ scene.T_scan_body[:3, 2]).argmax()
    up = left.sheets[floor, :3] @ scene.T_scan_body[:3, 2]
    # 3 mm of noise on 4 m of floor tilts it by far less than a tenth of a degree
    assert abs(up) > np.cos(np.radians(0.1))


@pytest.mark.parametrize("seed", [168, pytest.param(186, marks=pytest.mark.slow)])
def test_what_was_not_scanned_does_not_pull_the_spine(seed: int) -> None:
    """Scenes with much missing over the spine and beside it.

    Where the smooth surface runs on into a gap it is a guess: taken for measured, it drew the
    line 7 and 8 mm aside and the yaw to 1.4 degrees.
    """
    scene = stable_scene(seed)
    error = frame_error(scene, Back.from_scan(cleaned(scene.scan)))
    assert abs(error.yaw) < ANGLE
    assert error.spine < SPINE


def test_a_mirrored_scan_misses_the_other_side() -> None:
    """No side is favoured: what is refused for its right side is, mirrored, for its left."""
    scan = stable_scene(118).scan
    assert scan.triangles is not None
    mirrored = replace(
        scan, vertices=scan.vertices * [1.0, 1.0, -1.0], triangles=scan.triangles[:, ::-1]
    )
    for side, one in (("right", scan), ("left", mirrored)):
        with pytest.raises(BadScan, match=f"the {side} side of the back is missing"):
            Back.from_scan(cleaned(one))


COUNT = 40


@cache
def trials() -> tuple[tuple[FrameError, bool], ...]:
    """Errors of the scenes that were not refused, and whether the front was said to be unsure."""
    found = []
    for seed in range(100, 100 + COUNT):
        scene = stable_scene(seed)
        try:
            back = Back.from_scan(cleaned(scene.scan))
        except BadScan:
            continue
        unsure = any(WARNING in caution for caution in back.cautions)
        found.append((frame_error(scene, back), unsure))
    return tuple(found)


@pytest.mark.slow
def test_angles_of_forty_scenes() -> None:
    """Yaw, pitch and roll hold in 95 of 100; front and rear are never silently swapped."""
    assert not [error for error, unsure in trials() if error.swapped and not unsure]
    good = [max(abs(e.yaw), abs(e.pitch), abs(e.roll)) < ANGLE for e, _ in trials()]
    assert np.mean(good) >= 0.95
    # A refusal is right where nearly nothing of one side under the bar was scanned; patches of up
    # to 0.4 m fall so in one scene of eight.
    assert len(good) >= 0.8 * COUNT


@pytest.mark.slow
def test_spine_of_forty_scenes() -> None:
    """The spine line within 5 mm in 95 of 100 of the backs that were found."""
    assert np.mean([error.spine < SPINE for error, _ in trials()]) >= 0.95


@pytest.mark.slow
@pytest.mark.xfail(
    reason="one scene of eight is refused: too little of one side was scanned", strict=True
)
def test_a_back_is_found_in_forty_scenes() -> None:
    """Asked for in 95 of 100; half an animal is refused all the same."""
    assert len(trials()) >= 0.95 * COUNT
