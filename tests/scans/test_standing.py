"""Hips tilted against the withers and a spine bent aside: made-up backs moved by known amounts."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.back.from_scan import back_from_scan
from fitsim.back.mirror import mirrored
from fitsim.back.quality import quality_of
from fitsim.back.standing import standing
from fitsim.report.quality_lines import card_facts, card_lines
from fitsim.scan.scan import Provenance, Scan
from meshes.animal import MULE
from meshes.scanner import scan as scanned
from meshes.surface import surface

if TYPE_CHECKING:
    from fitsim.back.back import Back

TILT, BEND = 5.0, 0.020
"""deg and m: about 35 mm of height between the hip points, and a bend the eye sees."""


@cache
def stood(tilt: float, bend: float) -> tuple[Scan, Back]:
    """A scan of a mule whose hips were tilted (deg) and whose spine was bent (m), and its back."""
    hide = surface(MULE)
    raw = scanned(hide, triangles=20_000, noise=0.0015, holes=3, placed=False, seed=7)
    points, scale = raw.vertices.astype(float), MULE.withers_height / 1.5
    x, y = points[:, 0], points[:, 1]
    crest = np.interp(x, hide.stations, hide.spine(hide.stations)[:, 2])
    part = np.clip((-0.25 * scale - x) / (0.30 * scale), 0.0, 1.0)
    angle = np.radians(tilt) * part**2 * (3.0 - 2.0 * part)  # level in front, then over to the hips
    z = points[:, 2] - crest
    side = y * np.cos(angle) - z * np.sin(angle)
    u = (x / scale + 0.275) / 0.375  # -1 at the hips, 1 at the withers
    lean = -2.0 * bend * u / (0.375 * scale)  # sections stay square to the bent spine
    moved = np.column_stack([
        x - lean * side,
        side + bend * (1.0 - u**2),
        crest + y * np.sin(angle) + z * np.cos(angle),
    ])  # fmt: skip
    origin = Provenance("back.ply", "", len(raw.triangles), len(points), "m", "Told: m.")
    scan = Scan(moved, raw.triangles, origin)
    return scan, back_from_scan(scan)


@pytest.mark.parametrize(("tilt", "bend"), [(0.0, 0.0), (TILT, 0.0), (0.0, -BEND)])
def test_a_known_stance_is_told(tilt: float, bend: float) -> None:
    found = standing(stood(tilt, bend)[1])
    assert found is not None
    # 2.5 sd: three stances by two numbers, so one beyond 2 sd would be no surprise
    assert abs(np.degrees(found.hip_tilt) - tilt) < 2.5 * np.degrees(found.hip_tilt_sd)
    assert abs(found.bend - bend) < 2.5 * found.bend_sd
    # of use: the stance stands out of what is stated
    assert np.degrees(found.hip_tilt_sd) < TILT / 2.5
    assert found.bend_sd < BEND / 2.5


def test_the_mirror_image_stands_the_other_way() -> None:
    back = stood(TILT, 0.0)[1]
    one, other = standing(back), standing(mirrored(back))
    assert one is not None
    assert other is not None
    assert other.hip_tilt == pytest.approx(-one.hip_tilt, abs=1e-9)
    assert other.bend == pytest.approx(-one.bend, abs=1e-9)
    assert other.hip_tilt_sd == pytest.approx(one.hip_tilt_sd, rel=1e-6)


def test_the_card_tells_the_stance_and_where_to_read() -> None:
    card = quality_of(*stood(TILT, 0.0))
    text = "\n".join(card_lines(card))
    assert "the right hip is the lower" in text
    assert "not corrected for" in text
    assert any(advice.paragraph == "How the animal stands" for advice in card.advice)
    facts = card_facts(card)["standing"]
    assert isinstance(facts, dict)
    assert facts["hip_tilt_deg"] > 2.0
    square = "\n".join(card_lines(quality_of(*stood(0.0, 0.0))))
    assert "the hips are level with the withers, within" in square
    assert "the spine is straight" in square


def test_a_scan_without_hips_tells_no_stance() -> None:
    scan, _ = stood(0.0, 0.0)
    assert scan.triangles is not None
    front = (scan.vertices[scan.triangles][..., 0] > -0.45).all(axis=1)
    short = Scan(scan.vertices, scan.triangles[front], scan.provenance)
    card = quality_of(short, back_from_scan(short))
    assert card.standing is None
    assert "Stance: not known" in "\n".join(card_lines(card))
