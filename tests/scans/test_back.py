"""Backs of borrowed animals, against what others measured on them by eye, and refusals."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from fitsim.back.back import Back
from fitsim.back.withers import BLADE_BEHIND_WITHERS
from fitsim.errors import BadScan, BadSettings
from fitsim.scan.scan import Provenance, Scan

if TYPE_CHECKING:
    from pathlib import Path

# The borrowed animals' scale comes from withers placed by eye; their notes give 4 % for it.
BY_EYE = 0.04


def animal(path: Path) -> Scan:
    """A borrowed mesh of unknown size."""
    mesh = trimesh.load(path, process=False, force="mesh")
    mesh.merge_vertices(merge_tex=True, merge_norm=True)
    return scan_of(mesh, path.name, None)


def scan_of(mesh: trimesh.Trimesh, name: str = "shape.ply", unit: str | None = "m") -> Scan:
    """A `Scan` of a trimesh."""
    return Scan(
        np.asarray(mesh.vertices, dtype=float),
        np.asarray(mesh.faces, dtype=np.int32),
        Provenance(name, "", len(mesh.faces), len(mesh.vertices), unit=unit),  # type: ignore[arg-type]
    )


@pytest.fixture(scope="module")
def horse(borrowed: Path) -> Back:
    """The horse's back, found once."""
    return Back.from_scan(animal(borrowed / "horse-scan.ply"), withers_height=1.5)


def scale_and_turn(back: Back) -> tuple[float, np.ndarray]:
    """Uniform scale and rotation of T_body_scan."""
    linear = back.T_body_scan[:3, :3]
    scale = float(np.cbrt(np.linalg.det(linear)))
    return scale, linear / scale


@pytest.mark.parametrize("seed", [None, 4])
def test_horse(borrowed: Path, seed: int | None) -> None:
    """Scale, axes and withers as noted beside the borrowed scan (by eye)."""
    scan = animal(borrowed / "horse-scan.ply")
    turn = np.eye(3) if seed is None else Rotation.random(rng=seed).as_matrix()
    back = Back.from_scan(replace(scan, vertices=scan.vertices @ turn.T), withers_height=1.5)
    scale, rotation = scale_and_turn(back)
    assert abs(scale / 13.107 - 1.0) < BY_EYE
    axes = rotation @ turn  # rows: forward +y, left -x, up +z in the file
    assert axes[2, 2] > np.cos(np.radians(2.0))
    assert axes[0, 1] > np.cos(np.radians(8.0))  # the neck, hips and tail turn the spine
    withers = np.array([0.0, 0.0167, 0.0]) @ turn.T
    station = (back.T_body_scan[:3, :3] @ withers + back.T_body_scan[:3, 3])[0]
    sd = back.marks["withers"].sd_m
    assert abs(station - BLADE_BEHIND_WITHERS * 1.5) < 2.0 * sd
    assert back.chart.valid.mean() > 0.98
    assert back.chart.x[0] == pytest.approx(-0.75)
    assert back.chart.x[-1] == pytest.approx(0.30)
    assert not back.barrel.extrapolated.any()


MEASURED_WIDTHS = {
    "withers": (0.233, 0.343, 0.416, 0.466),
    "mid": (0.387, 0.498, 0.569, 0.608),
    "loin": (0.399, 0.516, 0.597, 0.646),
}


@pytest.mark.parametrize("place", MEASURED_WIDTHS)
def test_horse_widths(horse: Back, place: str) -> None:
    """Widths 5, 10, 15, 20 cm below the crest, measured by others on the same scan.

    Their stations are not told, so one station must show all four widths at once: to 4 % for
    the scale by eye, and 2 % for the station.
    """
    chart = horse.chart
    middle = len(chart.t) // 2
    worst = []
    for y, z in zip(chart.points[..., 1], chart.points[..., 2], strict=True):
        widths = [
            np.interp(drop - z[middle], -z[middle:], y[middle:])
            - np.interp(drop - z[middle], -z[middle::-1], y[middle::-1])
            for drop in (0.05, 0.10, 0.15, 0.20)
        ]
        worst.append(np.abs(np.array(widths) / MEASURED_WIDTHS[place] - 1.0).max())
    best = int(np.argmin(worst))
    assert worst[best] < 0.06
    # The withers' widths are found over the withers, not elsewhere.
    assert (chart.x[best] > 0.0) == (place == "withers")


def test_donkey_is_reported_too_coarse_and_still_works(borrowed: Path) -> None:
    back = Back.from_scan(animal(borrowed / "donkey-lowpoly.glb"), withers_height=1.2)
    assert any("Too coarse as scanned" in caution for caution in back.cautions)
    scale, rotation = scale_and_turn(back)
    assert abs(scale / 0.4136 - 1.0) < BY_EYE
    # forward +z, left +x, up +y; an artist's mesh, exactly symmetric
    assert np.allclose(rotation, [[0, 0, 1], [1, 0, 0], [0, 1, 0]], atol=0.02)
    assert np.abs(back.marks["spine"].points[:, 1]).max() < 2e-3


def test_toy_cow_is_understood(borrowed: Path) -> None:
    back = Back.from_scan(animal(borrowed / "spot.obj"), withers_height=1.2)
    _, rotation = scale_and_turn(back)
    # up +y, forward -z
    assert np.allclose(rotation, [[0, 0, -1], [-1, 0, 0], [0, 1, 0]], atol=0.08)


def test_upper_half_of_the_horse(borrowed: Path) -> None:
    """Cut at mid trunk, neck and head left on: no feet, and the neck must not pass for legs."""
    scan = animal(borrowed / "horse-scan.ply")
    vertices = scan.vertices * 13.1
    keep = (vertices[:, 2] > 0.0)[scan.triangles].all(axis=1)
    half = replace(
        scan,
        vertices=vertices,
        triangles=scan.triangles[keep],
        provenance=replace(scan.provenance, unit="m"),
    )
    back = Back.from_scan(half, withers_height=1.5)
    _, rotation = scale_and_turn(back)
    # This horse's withers do not show on its crest; the back says how unsure that leaves it.
    assert rotation[0, 1] > np.cos(np.radians(20.0))
    assert rotation[2, 2] > np.cos(np.radians(20.0))
    assert any("withers do not show" in caution for caution in back.cautions)
    assert back.barrel.extrapolated.any()


def shapes() -> dict[str, trimesh.Trimesh]:
    """Things that are no back."""
    make = trimesh.creation
    return {
        "sphere": make.icosphere(4, 0.5),
        "plane": make.box((1.5, 0.8, 0.001)).subdivide_to_size(0.04),
        "box": make.box((1.5, 0.8, 0.6)).subdivide_to_size(0.04),
        "pipe": make.cylinder(0.3, 1.5, sections=60).subdivide_to_size(0.05),
    }


@pytest.mark.parametrize("name", ["sphere", "plane", "box", "pipe"])
def test_no_back_in_it(name: str) -> None:
    with pytest.raises(BadScan, match=r"shape\.ply: no back was found in it: .*; scan the whole"):
        Back.from_scan(scan_of(shapes()[name]))


def trunk(along: slice = slice(None), *, hump: float = 0.0, factor: float = 1.0) -> Scan:
    """A plain trunk with withers: known, noise-free, 1.3 m long."""
    x = np.linspace(-0.9, 0.4, 131)[along]
    angle = np.linspace(-2.0, 2.0, 121)
    xx, aa = np.meshgrid(x, angle, indexing="ij")
    narrow = 0.30 - 0.05 / (1.0 + np.exp(-(xx + 0.05) / 0.08))
    z = 1.05 * narrow * np.cos(aa) + 0.06 * np.exp(-(((xx - 0.1) / 0.12) ** 2) - (aa / 0.5) ** 2)
    z += 0.02 * np.log1p(np.exp((xx - 0.15) / 0.05))  # the neck begins to rise
    z += hump * np.exp(-(((xx + 0.25) / 0.12) ** 2) - (aa / 0.8) ** 2)
    points = np.stack([xx, narrow * np.sin(aa), z], axis=-1).reshape(-1, 3) * factor
    i, j = np.meshgrid(np.arange(len(x) - 1), np.arange(len(angle) - 1), indexing="ij")
    a = (i * len(angle) + j).ravel()
    b, c, d = a + len(angle), a + len(angle) + 1, a + 1
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return Scan(points, faces.astype(np.int32), Provenance("trunk.ply", "", len(faces),
                len(points), unit="m"))  # fmt: skip


def test_plain_trunk_is_placed() -> None:
    back = Back.from_scan(trunk())
    _, rotation = scale_and_turn(back)
    roll, pitch, yaw = np.degrees(Rotation.from_matrix(rotation).as_euler("xyz"))
    assert abs(roll) < 0.1
    assert abs(yaw) < 0.1
    assert abs(pitch) < 2.0  # the back's own slope: its line is laid level
    assert np.abs(back.marks["spine"].points[:, 1]).max() < 1e-3


@pytest.mark.parametrize(
    ("scan", "fault"),
    [
        (trunk(slice(62, None)), "ends .* mm behind the shoulder blade|too short for a tree"),
        (trunk(slice(70, 100)), "too short for a tree|wide as it is long"),
        (trunk(factor=1e3), "would be .* m long; check the unit"),
        (trunk(hump=0.3), "hump"),
    ],
)
def test_unusable_backs(scan: Scan, fault: str) -> None:
    with pytest.raises(BadScan, match=fault):
        Back.from_scan(scan)


def test_size_must_be_known() -> None:
    scan = trunk()
    unknown = replace(scan, provenance=replace(scan.provenance, unit=None))
    with pytest.raises(BadScan, match=r"its size is not known"):
        Back.from_scan(unknown, withers_height=1.5)


def test_one_sided_scan() -> None:
    scan = trunk()
    keep = (scan.vertices[:, 1] > -0.02)[scan.triangles].all(axis=1)
    half = replace(scan, triangles=scan.triangles[keep])
    with pytest.raises(BadScan, match=r"both sides|no back was found"):
        Back.from_scan(half)


def test_senseless_settings() -> None:
    with pytest.raises(BadSettings, match=r"no animal's height"):
        Back.from_scan(trunk(), withers_height=15.0)
    with pytest.raises(BadSettings, match="spacing"):
        Back.from_scan(trunk(), spacing=0.5)
    with pytest.raises(BadSettings, match=r'no mark is called "knee"'):
        Back.from_scan(trunk(), marks={"knee": np.zeros((1, 3))})


def test_marks_file(tmp_path: Path) -> None:
    """The same withers by JSON and CSV set the same station."""
    backs = []
    for name, text in {
        "marks.json": '{"withers": [[0.12, 0.0, 0.33]]}',
        "marks.csv": "name,x,y,z\nwithers,0.12,0.0,0.33\n",
    }.items():
        path = tmp_path / name
        path.write_text(text)
        backs.append(Back.from_scan(trunk(), marks=path, withers_height=1.5))
    assert np.allclose(backs[0].T_body_scan, backs[1].T_body_scan)
    assert backs[0].marks["withers"].points[0, 0] == pytest.approx(BLADE_BEHIND_WITHERS * 1.5)
    (tmp_path / "bad.json").write_text("[1, 2")
    with pytest.raises(BadSettings, match=r"bad\.json: the marks are not a list"):
        Back.from_scan(trunk(), marks=tmp_path / "bad.json")
