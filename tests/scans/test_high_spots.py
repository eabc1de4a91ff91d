"""High spots and fat pockets from shape against generated backs on which they are known."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.back.from_scan import back_from_scan
from fitsim.back.high_spots import BEARING, high_spots
from fitsim.scan.scan import Provenance, Scan
from meshes import anatomy
from meshes.animal import BROAD_PONY, LEAN_HORSE, MULE, Animal
from meshes.scanner import scan as scanned
from meshes.surface import surface

if TYPE_CHECKING:
    from fitsim.back.back import Back


def _back(animal: Animal, spacing: float = 0.010) -> Back:
    raw = scanned(surface(animal), seed=3, placed=False)
    origin = Provenance("back.ply", "", len(raw.triangles), len(raw.vertices), "m")
    return back_from_scan(Scan(raw.vertices.astype(float), raw.triangles, origin), spacing=spacing)


SLOW = pytest.mark.slow


@pytest.mark.slow
@pytest.mark.parametrize(
    ("kind", "pocket"),
    [
        (MULE, 0.006),
        (BROAD_PONY, 0.012),
        pytest.param(MULE, 0.012, marks=SLOW),
        pytest.param(BROAD_PONY, 0.006, marks=SLOW),
        pytest.param(LEAN_HORSE, 0.006, marks=SLOW),
        pytest.param(LEAN_HORSE, 0.012, marks=SLOW),
    ],
)
def test_the_fat_pocket_is_found(kind: Animal, pocket: float) -> None:
    back = _back(replace(kind, fat_pocket=pocket))
    true_x, true_t = kind.scale * anatomy.FAT_POCKET_CENTRE + [back.T_body_scan[0, 3], 0.0]
    for sign, spot in zip((1.0, -1.0), high_spots(back).pockets.values(), strict=True):
        assert spot is not None
        # What is left of a back without a pocket is up to 1.5 mm; 2 mm is what the card says
        assert spot.height == pytest.approx(kind.scale * pocket, abs=0.002)
        # 12 mm was measured, 23 mm at the lowest; a pocket is 130 mm long
        assert np.hypot(spot.x - true_x, sign * spot.t - true_t) < 0.025


@pytest.mark.slow
@pytest.mark.parametrize(
    "kind", [LEAN_HORSE, pytest.param(MULE, marks=SLOW), pytest.param(BROAD_PONY, marks=SLOW)]
)
def test_no_fat_pocket_is_found_where_there_is_none(kind: Animal) -> None:
    back = _back(replace(kind, fat_pocket=0.0))
    before = {name: mark.points.copy() for name, mark in back.marks.items()}
    assert set(high_spots(back).pockets.values()) == {None}
    for name, points in before.items():
        np.testing.assert_array_equal(back.marks[name].points, points)


@SLOW
def test_a_hollow_beside_the_withers_is_found() -> None:
    deep, filled = (
        [
            s
            for s in high_spots(_back(replace(LEAN_HORSE, hollow=hollow))).spots
            if _beside(s.x, s.t)
        ]
        for hollow in (0.015, 0.0)
    )
    assert {s.side for s in deep if s.height < -0.006} == {"left", "right"}
    assert not [s for s in filled if s.height < -0.006]


def _beside(x: float, t: float) -> bool:
    """Within 50 mm of the hollow behind the withers."""
    return bool(np.hypot(x + 0.055, abs(t) - 0.093) < 0.05)


@SLOW
def test_heights_are_of_the_chart_and_finer_charts_agree() -> None:
    coarse, fine = _back(BROAD_PONY), _back(BROAD_PONY, spacing=0.005)
    here, there = high_spots(coarse), high_spots(fine)
    assert here.height.shape == coarse.chart.valid.shape
    assert np.isnan(here.height[:, np.abs(coarse.chart.t) < 0.029]).all()
    scale = coarse.withers_height / 1.5
    rows = (coarse.chart.x > BEARING[0] * scale) & (coarse.chart.x < 0)
    both = (
        here.height[rows],
        there.height[np.isin(fine.chart.x.round(4), coarse.chart.x[rows].round(4)), ::2],
    )
    # The same surface on another grid: third differences at the rim differ, hence a millimetre
    assert np.sqrt(np.nanmean((both[0] - both[1]) ** 2)) < 0.001
    for side, spot in here.pockets.items():
        other = there.pockets[side]
        assert spot is not None
        assert other is not None
        assert spot.height == pytest.approx(other.height, abs=0.001)
