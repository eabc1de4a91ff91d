"""Whole fits on the made-up and the borrowed animals, each worked out once in a test run."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

import fitsim
from fitsim.back.from_scan import back_from_scan
from fitsim.contact.solve import solve
from fitsim.measure.measured import measured
from fitsim.rig.cases import cases_for
from fitsim.rig.read import read_load, read_rig
from fitsim.study.fit import Fit, FitSet
from fitsim.study.laid import laid
from fitsim.tree.adjust import adjusted
from fitsim.tree.read import read_tree

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitsim.back.back import Back
    from fitsim.measure.measures import Measures
    from fitsim.rig.rig import Rig
    from fitsim.scan.scan import Scan
    from fitsim.tree.tree import Tree

ROOT = Path(__file__).resolve().parents[1]
BORROWED = ROOT.parent / "shared" / "meshes"
CINCHES = ("front", "rear", "both")
COARSE = 0.014  # m: grid of the default tests; the product's own is 0.010

# file, withers height m (None: the scan carries its scale)
SCANS: Mapping[str, tuple[Path, float | None]] = {
    "mule": (ROOT / "meshes" / "mule.ply", None),
    "pony": (ROOT / "meshes" / "broad_pony.ply", None),
    "horse": (BORROWED / "horse-scan.ply", 1.5),
    "donkey": (BORROWED / "donkey-lowpoly.glb", 1.2),
}
OURS, THEIRS = ("mule", "pony"), ("horse", "donkey")


@cache
def raw(animal: str) -> Scan:
    """The scan as its file has it; skips where a borrowed one is absent."""
    path, height = SCANS[animal]
    if not path.is_file():
        pytest.skip("the borrowed scans (../shared/meshes) are not on this machine")
    scan = fitsim.read_scan(path, withers_height=height)
    scan.vertices.setflags(write=False)  # shared by many tests: whoever spoils it copies it
    return scan


def taken_in(scan: Scan, height: float | None, spacing: float = COARSE) -> Back:
    """Clean a scan and find the back in it."""
    return back_from_scan(fitsim.cleaned(scan), withers_height=height, spacing=spacing)


def back_of(animal: str, spacing: float = COARSE) -> Back:
    """An animal's back."""
    return _back_of(animal, spacing)  # a cache takes a default and the same value given for two


@cache
def _back_of(animal: str, spacing: float) -> Back:
    return taken_in(raw(animal), SCANS[animal][1], spacing)


def cinched(
    back: Back,
    tree: Tree,
    rig: Rig | None = None,
    names: tuple[str, ...] = CINCHES,
) -> FitSet:
    """The cinch cases of `fitsim.study.fit.fit`, without the time that rocking the tree takes."""
    on, chosen, none = laid(back, tree), rig or read_rig(), read_load("none")
    fits = {}
    for case in cases_for(back, tree, on.seat.T_body_tree, chosen, none):
        if case.name in names:
            rest = solve(on.problem, case)
            found = measured(back, tree, case, rest, None) if rest.found else None
            fits[case.name] = Fit(case, rest, found)
    return FitSet(back, tree, on.problem.pad, chosen, none, fits, on.seat)


@cache
def fit_of(animal: str, tree: str, spacing: float = COARSE) -> FitSet:
    """A tree of the library on an animal, cinches only."""
    return cinched(back_of(animal, spacing), read_tree(tree))


def measures(fitset: FitSet, case: str) -> Measures:
    """What was measured in a case that holds; fails where it does not."""
    one = fitset.fits[case]
    assert one.measures is not None, f"{case}: {one.equilibrium.leaves}"
    return one.measures


def lie_of_the_back(back: Back, x: float, beside: float) -> float:
    """Slope across the back, rad, a distance beside the spine: mean of both sides."""
    row = int(np.abs(back.chart.x - x).argmin())
    seen = back.chart.valid[row]
    points, normals = back.chart.points[row][seen], back.chart.normals[row][seen]
    sides = [int(np.abs(points[:, 1] - side * beside).argmin()) for side in (1.0, -1.0)]
    return float(np.mean([np.arctan2(abs(normals[j, 1]), normals[j, 2]) for j in sides]))


@cache
def spread_fit(animal: str, inner_edge: float, *, follows: bool, spacing: float = COARSE) -> FitSet:
    """The middle riding tree with its bars set so far from the spine (m, front arch).

    The rear arch is set 8 mm wider, as in the library. `follows` gives the arches the angle of
    the back under the middle of the bars there, as a builder would; otherwise the angles stay.
    """
    back = back_of(animal, spacing)
    changes: dict[str, object] = {
        "arches.front.inner_edge": inner_edge,
        "arches.rear.inner_edge": inner_edge + 0.008,
    }
    if follows:
        for arch, x in (("front", -0.03), ("rear", -0.40)):
            changes[f"arches.{arch}.angle"] = lie_of_the_back(back, x, inner_edge + 0.05)
    return cinched(back, adjusted(read_tree("riding-middle"), changes))


def moved_scan(scan: Scan, vertices: np.ndarray, *, mirrored: bool = False) -> Scan:  # type: ignore[type-arg]
    """The same scan with other vertices; a mirrored one keeps its outside out."""
    triangles = scan.triangles[:, ::-1].copy() if mirrored else scan.triangles
    return replace(scan, vertices=np.asarray(vertices, dtype=float), triangles=triangles)
