"""What must not change the answer: side, place in space, unit, grid, and a scanner's noise.

The limits are those of issue 3. Every variant goes the whole way from the scan's points.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import fitsim
from fitsim.errors import BadScan
from fitsim.tree.read import read_tree
from tests.fits import SCANS, cinched, fit_of, measures, moved_scan, raw, taken_in

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.measure.measures import Measures
    from fitsim.scan.scan import Scan
    from fitsim.study.fit import FitSet
    from tests.validation.measured import Measured

FINE = 0.010  # m, the product's own grid: the limits are asked of what people get
TREE = "riding-middle"
CASES = ("front", "rear", "both")
OTHER = {"left": "right", "right": "left"}
ANIMALS = ["mule", pytest.param("horse", marks=pytest.mark.slow)]


def fit_scan(scan: Scan, animal: str, spacing: float = FINE) -> FitSet:
    """From points to cases, with cinches alone."""
    return cinched(taken_in(scan, SCANS[animal][1], spacing), read_tree(TREE))


@cache
def base(animal: str) -> FitSet:
    return fit_of(animal, TREE, FINE)


def hold_alike(
    one: FitSet,
    other: FitSet,
    *,
    peak: float,
    force: float,
    share: float,
    mirrored: bool = False,
    measured: Measured,
    change: str,
) -> None:
    """Peak and force within a share of themselves, shares within points, in every case.

    What each zone carries holds to 2 % of all the force (the issue sets no limit for zones).
    """
    for case in CASES:
        a, b = measures(one, case), measures(other, case)
        measured.near(f"{change}: peak", b.peak, a.peak, "as it lay", rel=peak)
        measured.near(
            f"{change}: net force", b.normal_force, a.normal_force, "as it lay", rel=force
        )
        seen = [b.share[OTHER.get(part, part) if mirrored else part] for part in a.share]
        off = 100.0 * np.abs(np.subtract(seen, list(a.share.values())))
        measured.below(f"{change}: shares off by", off, 100.0 * share, "points", "as it lay")
        carried, seen_there = regions(a), regions(b)
        for region, load in carried.items():
            side = region.rpartition("_")[2]
            name = region.removesuffix(side) + OTHER.get(side, side) if mirrored else region
            assert seen_there[name] == pytest.approx(load, abs=0.02 * a.normal_force), (
                f"{case}: {region}"
            )


def regions(found: Measures) -> dict[str, float]:
    """Force on each zone, N; those that may bear are one to a side.

    A node counts to one zone whole, so on another grid the border between long muscle and ribs,
    which lies in the middle of the load, moves by half a cell: 14 N of 680. Nobody judges that one.
    """
    summed: dict[str, float] = {}
    for zone, load in found.zones.items():
        kind, _, side = zone.rpartition("_")
        name = f"may_bear_{side}" if kind in {"long_muscle", "ribs", "loin"} else zone
        summed[name] = summed.get(name, 0.0) + load.force
    return summed


@pytest.mark.parametrize("animal", ["mule", pytest.param("horse", marks=pytest.mark.slow)])
def test_mirrored_scan_gives_the_mirrored_fit(animal: str, measured: Measured) -> None:
    """2 % of peak, force and shares (issue). The animal leans by itself, so sides differ."""
    scan = raw(animal)
    mirrored = fit_scan(moved_scan(scan, scan.vertices * [1.0, -1.0, 1.0], mirrored=True), animal)
    hold_alike(base(animal), mirrored, peak=0.02, force=0.02, share=0.02, mirrored=True,
               measured=measured, change=f"{animal}, mirrored")  # fmt: skip


TURNS = {
    "upside down": Rotation.from_euler("x", 180.0, degrees=True),
    "on its side, facing away": Rotation.from_euler("xz", [90.0, 180.0], degrees=True),
    "anyhow": Rotation.from_rotvec([1.9, -0.7, 2.3]),
}


@pytest.mark.parametrize(
    ("animal", "turn"),
    [
        ("mule", "upside down"),
        *(pytest.param("mule", turn, marks=pytest.mark.slow) for turn in list(TURNS)[1:]),
        pytest.param("horse", "upside down", marks=pytest.mark.slow),
        pytest.param("horse", "anyhow", marks=pytest.mark.slow),
        pytest.param("horse", "on its side, facing away", marks=pytest.mark.slow),
    ],
)
def test_scan_turned_and_moved_anywhere(animal: str, turn: str, measured: Measured) -> None:
    """2 % (issue): the body frame is found anew from the points."""
    scan = raw(animal)
    size = float(np.ptp(scan.vertices, axis=0).max())
    where = TURNS[turn].apply(scan.vertices.copy()) + size * np.array([2.0, -3.0, 0.7])
    hold_alike(base(animal), fit_scan(moved_scan(scan, where), animal),
               peak=0.02, force=0.02, share=0.02, measured=measured,
               change=f"{animal}, turned and moved anyhow")  # fmt: skip


PER_METRE = {"mm": 1000.0, "inch": 1.0 / 0.0254, "cm": 100.0}


@pytest.mark.parametrize(
    ("unit", "told"), [("mm", True), ("mm", False), ("cm", True), ("inch", True)]
)
def test_unit_of_the_scan(
    unit: str,
    told: bool,  # noqa: FBT001
    tmp_path: Path,
    measured: Measured,
) -> None:
    """The same animal written in another unit, told or found, reads as the same points.

    To a micrometre (coordinates in the file have single precision), so the same fit follows: the
    rest of the way has no unit in it.
    """
    import trimesh

    scan = raw("mule")
    mesh = trimesh.Trimesh(scan.vertices * PER_METRE[unit], scan.triangles, process=False)
    path = tmp_path / "back.ply"
    mesh.export(path)
    read = fitsim.read_scan(path, unit=unit if told else None)
    assert read.provenance.unit == unit
    off = 1e6 * np.abs(read.vertices - scan.vertices)
    what = "mule in mm, cm, inch, told or not: points off by"
    measured.below(what, off, 1.0, "micrometres", "the same in m")
    np.testing.assert_array_equal(read.triangles, scan.triangles)


def test_unit_that_cannot_be_told_is_asked_for(tmp_path: Path) -> None:
    """A mule in inches could be a foal in centimetres: one sentence, no guess."""
    import trimesh

    scan = raw("mule")
    path = tmp_path / "back.ply"
    trimesh.Trimesh(scan.vertices / 0.0254, scan.triangles, process=False).export(path)
    with pytest.raises(BadScan, match="--unit inch"):
        fitsim.read_scan(path)


@pytest.mark.slow
@pytest.mark.parametrize("animal", ["mule", "horse"])
def test_twice_the_nodes(animal: str, measured: Measured) -> None:
    """Spacing over root 2: peak within 5 %, net force within 1 % (issue)."""
    finer = fit_scan(raw(animal), animal, FINE / np.sqrt(2.0))
    count = [int(f.back.chart.valid.sum()) for f in (base(animal), finer)]
    assert count[1] / count[0] == pytest.approx(2.0, rel=0.03)
    hold_alike(base(animal), finer, peak=0.05, force=0.01, share=0.02, measured=measured,
               change=f"{animal}, twice the nodes")  # fmt: skip


NOISE = 0.002  # m, standard deviation of each coordinate of every point


@pytest.mark.parametrize("animal", ANIMALS)
@pytest.mark.parametrize("seed", [3, pytest.param(4, marks=pytest.mark.slow)])
def test_noise_of_the_scanner(animal: str, seed: int, measured: Measured) -> None:
    """2 mm of noise: peak within 10 % (issue); force and shares move less than 3 %."""
    scan = raw(animal)
    scale = float(np.linalg.norm(base(animal).back.T_body_scan[:3, 0]))
    noise = np.random.default_rng(seed).normal(0.0, NOISE / scale, scan.vertices.shape)
    noisy = fit_scan(replace(scan, vertices=scan.vertices + noise), animal)
    hold_alike(base(animal), noisy, peak=0.10, force=0.03, share=0.03, measured=measured,
               change=f"{animal}, 2 mm of noise")  # fmt: skip
