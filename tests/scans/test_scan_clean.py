"""What is not the animal goes, and the animal stays."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree

from fitsim.errors import BadScan
from fitsim.scan.clean import cleaned
from fitsim.scan.planes import floors_and_walls
from fitsim.scan.read import read_scan
from fitsim.scan.thin import MOST, ROOM, thin_mesh, thin_points
from fitsim.scan.winding import outward
from tests.trunk import scan_of, sheet, trunk, turned

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.scan.scan import Scan


def room() -> list[trimesh.Trimesh]:
    """A floor 4 x 4 m a metre under the back's crest and two walls."""
    return [
        sheet([-1.2, -2.0, 0.2], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0], 60),
        sheet([-1.2, 2.0, 0.2], [4.0, 0.0, 0.0], [0.0, 0.0, 2.2], 60),
        sheet([2.8, -2.0, 0.2], [0.0, 4.0, 0.0], [0.0, 0.0, 2.2], 60),
    ]


def points_of(mesh: trimesh.Trimesh, count: int, seed: int = 0) -> np.ndarray:
    return trimesh.sample.sample_surface(mesh, count, seed=seed)[0]


def as_scan(mesh: trimesh.Trimesh) -> Scan:
    return scan_of(mesh.vertices, mesh.faces)


def test_a_clean_back_is_left_alone() -> None:
    mesh = trunk()
    scan = cleaned(as_scan(mesh))
    assert scan.provenance.notes == ()
    assert np.array_equal(scan.vertices, mesh.vertices)
    assert np.array_equal(scan.triangles, mesh.faces)


def test_two_animals_worth_of_stray_points_go(rng: np.random.Generator) -> None:
    """As many floor, wall and loose points as twice the back's; turned anywhere."""
    back = points_of(trunk(), 40_000)
    floor, wall, other = (points_of(m, 25_000, seed) for seed, m in enumerate(room()))
    loose = rng.uniform([-1.2, -2.0, 0.2], [2.8, 2.0, 2.4], (5_000, 3))
    cloud = np.r_[back, floor, wall, other, loose]
    cloud += rng.normal(0.0, 0.002, cloud.shape)
    scan = cleaned(scan_of(turned(cloud, np.random.default_rng(5))))
    truth = turned(cloud, np.random.default_rng(5))
    kept, _ = cKDTree(scan.vertices).query(truth[:40_000], distance_upper_bound=0.01)
    # Loss is allowed only at the lower border, where points have fewer neighbours.
    assert np.isfinite(kept).mean() > 0.99
    off, _ = cKDTree(truth[:40_000]).query(scan.vertices)
    assert (off < 0.03).mean() > 0.999
    notes = " ".join(scan.provenance.notes)
    assert len(re.findall(r"A floor or wall of about \d+\.\d m²", notes)) == 3
    assert "stray pieces" in notes


def test_floor_and_walls_of_a_mesh_go() -> None:
    mesh = trunk()
    scan = cleaned(as_scan(trimesh.util.concatenate([mesh, *room()])))
    assert len(scan.vertices) == len(mesh.vertices)
    assert len(scan.triangles) == len(mesh.faces)
    areas = [float(a) for a in re.findall(r"([\d.]+) m²", " ".join(scan.provenance.notes))]
    # Three samples a cell leave one cell in twenty empty, and cells in the corners of the room
    # belong to neither sheet.
    assert sorted(areas) == pytest.approx([8.8, 8.8, 16.0], rel=0.15)


def test_a_floor_of_two_triangles_goes() -> None:
    """Floors of few large triangles have hardly a vertex: they are found by their area."""
    floor = sheet([-1.2, -2.0, 0.2], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0], 1)
    scan = cleaned(as_scan(trimesh.util.concatenate([trunk(), floor])))
    assert len(scan.triangles) == len(trunk().faces)


def test_hooves_keep_the_height_of_the_ground(rng: np.random.Generator) -> None:
    """The withers height is measured from the lowest points: they must stay."""
    legs = [
        trimesh.creation.cylinder(0.05, segment=[[x, y, 0.0], [x, y, 1.0]], sections=32)
        for x in (0.1, 1.3)
        for y in (-0.2, 0.2)
    ]
    animal = points_of(trimesh.util.concatenate([trunk(), *legs]), 60_000)
    animal = animal[animal[:, 2] > 0.0]
    floor = points_of(sheet([-1.2, -2.0, 0.0], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0], 1), 60_000)
    under = np.linalg.norm(floor[:, None, :2] - [[0.1, 0.2], [1.3, 0.2]], axis=2).min(axis=1)
    cloud = np.r_[animal, floor[under > 0.05]]
    scan = cleaned(scan_of(cloud + rng.normal(0.0, 0.001, cloud.shape)))
    assert abs(scan.vertices[:, 2].min()) < 0.01  # under 1 % of the withers height
    assert len(scan.vertices) < 1.1 * len(animal)


def test_animals_have_no_floors(borrowed: Path) -> None:
    """No part of a real shape is flat enough to be taken for a floor."""
    for name, scale in (("horse-scan.ply", 13.107), ("donkey-lowpoly.glb", 0.4136)):
        raw = read_scan(borrowed / name, withers_height=1.5)
        scan = cleaned(raw)
        assert len(scan.triangles) == len(raw.triangles), name
        mesh = trimesh.Trimesh(scan.vertices * scale, scan.triangles, process=False)
        assert mesh.volume > 0.0, name
        assert floors_and_walls(points_of(mesh, 60_000)) == [], name


def test_a_live_animal_is_found_in_its_room(borrowed: Path) -> None:
    """Cattle under a depth camera, floor and rails; its back is about 1.20 m high."""
    raw = read_scan(borrowed / "cattle-depth" / "left.pcd")
    floor = max(floors_and_walls(raw.vertices), key=lambda plane: plane.area)
    scan = cleaned(raw)
    height = (scan.vertices - floor.point) @ floor.normal
    height *= np.sign(np.median(height))
    assert height.max() == pytest.approx(1.20, abs=0.10)  # head and withers; about, as listed
    assert abs(np.quantile(height, 0.001)) < 0.05  # it stands on the floor
    assert np.ptp(scan.vertices @ np.linalg.svd(scan.vertices.std(axis=0)[None])[2][0]) > 1.5


def test_strays_go_and_parts_of_the_animal_stay() -> None:
    mesh = trunk()
    gap = np.abs(mesh.triangles_center[:, 0] - 0.7) > 0.03  # a strap hid a strip 6 cm wide
    parted = mesh.submesh([gap], append=True, repair=False)
    strays = [trimesh.creation.icosphere(2, 0.02) for _ in range(3)]
    for number, stray in enumerate(strays):
        stray.apply_translation([0.4 * number, 0.0, 1.42])
    far = trimesh.creation.icosphere(4, 0.2)
    far.apply_translation([0.7, 1.2, 1.0])
    scan = cleaned(as_scan(trimesh.util.concatenate([parted, *strays, far])))
    assert len(scan.triangles) == len(parted.faces)
    assert "4 stray pieces" in scan.provenance.notes[0]


def test_the_same_surface_twice_goes() -> None:
    coarse = trunk(60, 45)
    scan = cleaned(as_scan(trimesh.util.concatenate([trunk(), coarse])))
    assert len(scan.triangles) == len(trunk().faces)
    assert "The same surface lay there twice" in scan.provenance.notes[0]


def test_points_that_stand_off_go(rng: np.random.Generator) -> None:
    back = points_of(trunk(), 30_000)
    spikes = back[::300] * [1.0, 1.0, 1.0] + [0.0, 0.0, 0.025]
    scan = cleaned(scan_of(np.r_[back, spikes] + rng.normal(0, 0.001, (30_100, 3))))
    above = np.asarray(cKDTree(back).query(scan.vertices)[0])
    assert (above > 0.02).sum() < 0.5 * len(spikes)
    assert len(scan.vertices) > 0.985 * len(back)


def test_a_room_without_an_animal_is_refused() -> None:
    cloud = np.concatenate([points_of(m, 20_000) for m in room()])
    with pytest.raises(BadScan, match="hardly anything in it but floor, walls"):
        cleaned(scan_of(cloud))


def test_a_mesh_too_large_for_an_animal_is_refused() -> None:
    mesh = trunk()
    mesh.apply_scale(4.0)
    with pytest.raises(BadScan, match=r"still 5\.\d\d m long") as caught:
        cleaned(as_scan(mesh))
    assert "--withers-height" in caught.value.mend


def test_cleaning_does_not_depend_on_the_frame(rng: np.random.Generator) -> None:
    mesh = trimesh.util.concatenate([trunk(), *room()])
    for _ in range(3):
        placed = scan_of(turned(np.asarray(mesh.vertices), rng), mesh.faces)
        assert len(cleaned(placed).triangles) == len(trunk().faces)


def test_nothing_is_changed_in_place() -> None:
    scan = as_scan(trimesh.util.concatenate([trunk(), *room()]))
    before = scan.vertices.copy(), scan.triangles.copy()
    cleaned(scan)
    assert np.array_equal(scan.vertices, before[0])
    assert np.array_equal(scan.triangles, before[1])


@pytest.mark.parametrize("share", [0.0, 0.3, 0.6, 1.0])
def test_triangles_are_turned_out(share: float, rng: np.random.Generator) -> None:
    mesh = trunk()
    wrong = rng.random(len(mesh.faces)) < share
    faces = mesh.faces.copy()
    faces[wrong] = faces[wrong][:, ::-1]
    triangles, turned_round = outward(mesh.vertices, faces.astype(np.int32))
    assert turned_round == wrong.sum()
    normals = trimesh.Trimesh(mesh.vertices, triangles, process=False).face_normals
    away = mesh.triangles_center * [0.0, 1.0, 1.0] - [0.0, 0.0, 1.0]  # from the trunk's axis
    assert ((normals * away).sum(axis=1) > 0.0).all()


def test_a_strip_with_one_side_is_left() -> None:
    """A Moebius strip cannot be turned right; it must not end the program either."""
    n = 60
    angle = np.linspace(0.0, 2 * np.pi, n, endpoint=False)
    edge = [
        np.c_[
            np.cos(angle) * (1 + w * np.cos(angle / 2)),
            np.sin(angle) * (1 + w * np.cos(angle / 2)),
            w * np.sin(angle / 2),
        ]
        for w in (-0.3, 0.3)
    ]
    a, b = np.arange(n), np.roll(np.arange(n), -1)
    c, d = a + n, b + n
    b[-1], d[-1] = n, 0  # the twist: the last square meets the first upside down
    faces = np.r_[np.c_[a, b, c], np.c_[b, d, c]].astype(np.int32)
    assert len(outward(np.concatenate(edge), faces)[0]) == 2 * n


def test_thinning_keeps_the_surface() -> None:
    mesh = trunk(700, 400)
    assert len(mesh.vertices) > MOST * ROOM
    scan = cleaned(as_scan(mesh))
    assert 0.8 * MOST < len(scan.vertices) <= MOST
    thin = trimesh.Trimesh(scan.vertices, scan.triangles, process=False)
    assert thin.area == pytest.approx(mesh.area, rel=0.01)  # less half a cell at the border
    # A cell of 4 mm lies s²/(24 R) = 2 micrometres off on average, its corners s²/(8 R).
    radius = np.linalg.norm(scan.vertices[:, 1:] * [1, 1 / 1.1] - [0, 1.0 / 1.1], axis=1)
    true = 0.3 * (1.0 + 0.1 * np.sin(3.0 * scan.vertices[:, 0]))
    assert np.abs(radius - true).max() < 5e-5
    assert thin.bounds == pytest.approx(mesh.bounds, abs=0.004)


@pytest.mark.parametrize("count", [5_000, 20_000, 80_000])
def test_thinning_reaches_its_count(count: int) -> None:
    points = points_of(trunk(), 200_000)
    rows = thin_points(points, count)
    assert 0.8 * count < len(rows) <= count
    assert (np.diff(rows) > 0).all()
    vertices, triangles, old = thin_mesh(points, np.arange(150_000).reshape(-1, 3), count)
    assert len(vertices) == len(old) <= count
    assert triangles.max(initial=0) < max(len(vertices), 1)


def test_colours_follow_their_points() -> None:
    mesh = trunk(700, 400)
    shade = np.rint(mesh.vertices[:, 0] / 1.4 * 255).astype(np.uint8)
    from dataclasses import replace

    scan = cleaned(replace(as_scan(mesh), colours=np.c_[shade, shade, shade]))
    assert scan.colours is not None
    expected = scan.vertices[:, 0] / 1.4 * 255
    # A cell is 4 mm: 0.7 of a step of the colour, plus rounding.
    assert np.abs(scan.colours[:, 0] - expected).max() < 1.5
