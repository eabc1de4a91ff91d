"""Two scans of one made-up animal: a known loss is found, a turned scanner changes nothing."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fitsim.back.back import Back
from fitsim.back.change import Change, change
from fitsim.errors import BadScan
from fitsim.scan.clean import cleaned
from fitsim.scan.scan import Provenance, Scan
from meshes.animal import BROAD_PONY, MULE
from meshes.scanner import scan
from meshes.surface import surface

LOSS, PLACE, SPREAD = 0.008, (-0.20, 0.09), (0.09, 0.05)
"""m: the muscle that sank: how deep, where in (x, t), and how far to the sides."""


@cache
def hide():  # noqa: ANN201 - the demo's own class
    return surface(MULE)


@cache
def scanned(seed: int, loss: float) -> Back:
    """The mule, scanned anyhow with its own noise and holes, some muscle gone on the left."""
    raw = scan(hide(), triangles=40_000, seed=seed, placed=False)
    points = raw.vertices.astype(float)
    x, t, _ = hide().project(points)
    far = ((x - PLACE[0]) / SPREAD[0]) ** 2 + ((t - PLACE[1]) / SPREAD[1]) ** 2
    points = points - hide().normals(x, t) * (loss * np.exp(-far))[:, None]
    T = scan(hide(), triangles=400, seed=seed).T_scan_body
    points = points @ T[:3, :3].T + T[:3, 3]
    provenance = Provenance(f"{seed}.ply", "", len(raw.triangles), len(points), unit="m")
    return Back.from_scan(cleaned(Scan(points, raw.triangles, provenance)))


@cache
def found(later: int, loss: float) -> Change:
    return change(scanned(1, 0.0), scanned(later, loss))


@pytest.mark.slow
def test_muscle_lost_is_found() -> None:
    one = found(3, LOSS)
    patch = one.patches[0]
    # 1.5 mm is the stated noise floor of a single place on these scans (1.1 mm of noise each)
    assert patch.most == pytest.approx(-LOSS, abs=0.0016)
    # the frame's own station may be off by 35 mm (its stated sd), the patch is 90 mm long
    assert patch.x == pytest.approx(PLACE[0], abs=0.035)
    assert patch.t == pytest.approx(PLACE[1], abs=0.015)
    zone = {zone.name: zone for zone in one.zones}["long_muscle_left"]
    assert zone.sure
    assert zone.mean < 0.0


def test_volume_lost_is_the_volume_taken() -> None:
    """The integral of the taken bump is loss * pi * a * b."""
    one, back = found(3, LOSS), scanned(1, 0.0)
    near = (np.abs(back.chart.x - PLACE[0]) < 0.25)[:, None] & (back.chart.t > 0.0)
    lost = -float(np.nansum(np.where(near, one.height * back.chart.area, 0.0)))
    taken = LOSS * np.pi * SPREAD[0] * SPREAD[1]
    # zone floors of 0.4 mm over the 0.10 m2 looked at are 40 cm3
    assert lost == pytest.approx(taken, abs=40e-6)


def test_other_zones_did_not_change() -> None:
    right = [zone for zone in found(3, LOSS).zones if zone.name.endswith("_right")]
    assert right
    assert not [zone.name for zone in right if zone.sure]


def test_a_turned_scanner_changes_nothing() -> None:
    one = found(2, 0.0)
    assert one.patches == ()
    assert not [zone.name for zone in one.zones if zone.sure]
    assert one.floor < 0.0025  # 1.1 mm of noise in each scan, twice the spread


def test_backwards_is_the_opposite() -> None:
    """Gain and loss change places when the scans do."""
    forth, back = found(3, LOSS), change(scanned(3, LOSS), scanned(1, 0.0))
    assert back.patches[0].most == pytest.approx(-forth.patches[0].most, abs=0.001)
    # a place on the one frame laid on the other and back: what both layings err
    both = back.T_before_after @ forth.T_before_after
    assert np.abs(both[:3, :3] - np.eye(3)).max() < 0.005
    assert np.abs(both[:3, 3]).max() < 0.004


@pytest.mark.slow
def test_another_animal_is_refused() -> None:
    raw = scan(surface(BROAD_PONY), triangles=20_000, seed=5, placed=False)
    provenance = Provenance("pony.ply", "", len(raw.triangles), len(raw.vertices), unit="m")
    other = Scan(raw.vertices.astype(float), raw.triangles, provenance)
    with pytest.raises(BadScan, match=r"pony\.ply: (the two backs differ|it shows only)"):
        change(scanned(1, 0.0), Back.from_scan(cleaned(other)))


def test_grown_animals_are_told() -> None:
    tall = replace(scanned(2, 0.0), withers_height=1.6)
    assert any("as high at the withers" in c for c in change(scanned(1, 0.0), tall).cautions)
