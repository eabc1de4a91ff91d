"""Stickers found by colour on made-up hides, against the places where they were put.

Colours of coats, dirt and paper dots are from memory of photographs; light is made up.
"""

from __future__ import annotations

import colorsys
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pytest
import trimesh
from PIL import Image
from scipy.spatial import cKDTree

from fitsim.scan.read import read_scan
from fitsim.scan.scale import scaled
from fitsim.scan.stickers import COARSEST, Blob, blobs_of
from tests.painted import DUNG, HIDES, MUD, STICKERS, Dot, dotted, hide, lit
from tests.trunk import LENGTH, RADIUS, scan_of, trunk, turned

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.scan.scan import Scan

CASTS = ((1.0, 1.0, 1.0), (1.12, 1.0, 0.85), (0.88, 1.0, 1.12))
"""Daylight, lamp and open shade, as a camera leaves them after its own white balance."""


def place(along: float, around: float) -> NDArray[np.float64]:
    """A place on the made-up trunk, (3,) m."""
    r = RADIUS * (1.0 + 0.1 * np.sin(3.0 * along))
    return np.array([along, r * np.cos(around), 1.1 * r * np.sin(around) + 1.0])


class Herded(NamedTuple):
    """One made-up animal: its scan, what was stuck on it, and what was found."""

    coat: str
    stuck: list[tuple[str, Dot]]
    found: tuple[Blob, ...]

    def off(self, blob: Blob) -> tuple[float, str]:
        """How far a spot lies from the nearest sticker, m, and that sticker's colour."""
        far = [float(np.linalg.norm(blob.place - dot.place)) for _, dot in self.stuck]
        nearest = int(np.argmin(far))
        return far[nearest], self.stuck[nearest][0]


def animal(seed: int, *, stickers: int = 8) -> Herded:
    """An animal of any coat, some in patches, with stickers of 15 to 40 mm and as much dirt."""
    rng = np.random.default_rng(seed)
    coat = list(HIDES)[seed % len(HIDES)]
    along = int(rng.integers(180, 300))  # points 5 to 8 mm apart
    mesh = trunk(along, int(0.8 * along))
    points = np.asarray(mesh.vertices) + 0.001 * rng.standard_normal(mesh.vertices.shape)
    patches = HIDES["white"] if seed % 3 == 0 and coat != "white" else None
    grid = [(u, v) for u in np.linspace(0.12, 1.28, 9) for v in np.linspace(0.3, 2.84, 5)]
    spots = [place(*grid[k]) for k in rng.permutation(len(grid))]
    names = [str(name) for name in rng.choice(list(STICKERS), stickers)]
    stuck = [
        (name, Dot(spot, STICKERS[name], rng.uniform(0.015, 0.040)))
        for name, spot in zip(names, spots, strict=False)
    ]
    dirt = [
        Dot(spot, (MUD, DUNG)[k % 2], rng.uniform(0.004, 0.050))
        for k, spot in enumerate(spots[8:22])
    ]
    bare = hide(points, rng, HIDES[coat], other=patches)
    colours = dotted(points, bare, [*dirt, *(dot for _, dot in stuck)])
    seen = lit(points, colours, rng, CASTS[seed // 8 % 3])
    scan = replace(scan_of(points, mesh.faces), colours=seen)
    return Herded(coat, stuck, blobs_of(scan))


@cache
def herd() -> list[Herded]:
    """Two rounds of all coats, the second under a lamp."""
    return [animal(seed) for seed in range(16)]


def clear(one: Herded) -> list[Blob]:
    return [blob for blob in one.found if not blob.doubt]


def test_no_false_one() -> None:
    for one in herd():
        for blob in clear(one):
            off, colour = one.off(blob)
            assert off < 0.010, (one.coat, blob)
            assert colour == blob.colour, (one.coat, blob)


def test_nearly_all_are_found() -> None:
    # Red on a brown coat may be lost, and pink under a lamp is between pink and red: said in docs
    wanted = [
        (one, name, dot)
        for one in herd()
        for name, dot in one.stuck
        if name in {"blue", "green", "yellow"}
    ]
    found = [
        any(b.colour == name and np.linalg.norm(b.place - dot.place) < 0.010 for b in clear(one))
        for one, name, dot in wanted
    ]
    assert len(found) > 60
    assert np.mean(found) > 0.95


def test_places_lie_within_what_is_stated() -> None:
    off = np.array([[one.off(b)[0], b.sd_m] for one in herd() for b in clear(one)])
    assert len(off) > 90
    # Of places off by sd in each of two directions 95 % lie within 2.45 sd (Rayleigh)
    assert (off[:, 0] < 2.45 * off[:, 1]).mean() >= 0.95
    assert off[:, 1].max() < 0.006  # and what is stated is not made large to hold


def test_nothing_is_found_on_a_bare_hide() -> None:
    """Fourteen pieces of dirt and patches of white, no sticker: nothing clear, on any coat."""
    assert not [blob for seed in range(16, 21) for blob in clear(animal(seed, stickers=0))]


def dot_scan(colour: tuple[int, int, int], width: float = 0.025, points: int = 220) -> Scan:
    mesh, rng = trunk(points, 4 * points // 5), np.random.default_rng(5)
    vertices = np.asarray(mesh.vertices)
    coloured = dotted(vertices, hide(vertices, rng, HIDES["brown"]), [
        Dot(place(0.7, 1.2), colour, width)])  # fmt: skip
    return replace(scan_of(vertices, mesh.faces), colours=lit(vertices, coloured, rng, shade=0.2))


@pytest.mark.parametrize(
    ("colour", "width", "doubt"),
    [
        ((60, 200, 190), 0.025, "its colour lies between two"),  # between green and blue
        ((105, 150, 190), 0.025, "its colour is pale"),
        ((30, 85, 200), 0.060, "mm long"),
    ],
)
def test_what_is_unclear_is_said_to_be(
    colour: tuple[int, int, int], width: float, doubt: str
) -> None:
    (blob,) = blobs_of(dot_scan(colour, width))
    assert doubt in blob.doubt


def test_a_streak_is_no_sticker() -> None:
    mesh, rng = trunk(220, 176), np.random.default_rng(5)
    vertices = np.asarray(mesh.vertices)
    line = [Dot(place(0.7 + 0.006 * k, 1.2), STICKERS["blue"], 0.010) for k in range(6)]
    seen = lit(vertices, dotted(vertices, hide(vertices, rng, HIDES["grey"]), line), rng)
    (blob,) = blobs_of(replace(scan_of(vertices, mesh.faces), colours=seen))
    assert blob.doubt == "it is a streak"


LINES = {
    "straight": [(0.5 + 0.3 * s, 1.2) for s in np.linspace(0, 1, 200)],
    "bent": [(0.6 + 0.1 * s**2, 0.4 + 1.0 * s) for s in np.linspace(0, 1, 200)],
    "ring": [(0.7 + 0.07 * np.cos(a), 1.2 + 0.22 * np.sin(a)) for a in np.linspace(0, 6.3, 200)],
}
"""Chalk lines on the trunk, (along, around)."""


@pytest.mark.parametrize("name", LINES)
@pytest.mark.parametrize("coat", ["brown", "white"])
def test_a_chalk_line_gives_places_along_it(name: str, coat: str) -> None:
    mesh, rng = trunk(220, 176), np.random.default_rng(6)
    vertices = np.asarray(mesh.vertices)
    way = np.array([place(*at) for at in LINES[name]])
    far, _ = cKDTree(way).query(vertices)
    share = np.clip((0.007 - far) / 0.004 + 0.5, 0.0, 1.0)[:, None]  # edges as soft as of dots
    colours = (1 - share) * hide(vertices, rng, HIDES[coat]) + share * np.array(STICKERS["green"])
    seen = lit(vertices, colours, rng, shade=0.3)
    found = blobs_of(replace(scan_of(vertices, mesh.faces), colours=seen))
    assert {blob.colour for blob in found} == {"green"}
    assert {blob.line > 0 for blob in found} == {True}
    assert not any(blob.doubt for blob in found)
    off, _ = cKDTree(way).query([blob.place for blob in found])
    # Beside the line, one direction, 95 % lie within two standard deviations; a bend of 70 mm
    # radius carries the middle of a 30 mm piece 0.5 mm inwards
    assert np.mean(off < 2.0 * np.array([blob.sd_m for blob in found]) + 0.0005) >= 0.95
    # and no part of it is left out: pieces of 30 mm
    gap, _ = cKDTree([blob.place for blob in found]).query(way)
    assert gap.max() < 0.030


def test_a_speck_and_a_rug_are_not_spoken_of() -> None:
    assert blobs_of(dot_scan(STICKERS["blue"], 0.006)) == ()
    assert blobs_of(dot_scan(STICKERS["blue"], 0.300)) == ()


def test_it_does_not_matter_how_the_scan_lies_or_what_its_unit_is() -> None:
    scan = dot_scan(STICKERS["green"])
    (blob,) = blobs_of(scan)
    moved = turned(np.vstack([scan.vertices, blob.place]), np.random.default_rng(2))
    (other,) = blobs_of(replace(scan, vertices=moved[:-1]))
    # The cells in which the hide is averaged lie otherwise: that moves a place by microns
    np.testing.assert_allclose(other.place, moved[-1], atol=1e-4)
    (large,) = blobs_of(replace(scan, vertices=1e3 * scan.vertices), metre=1e-3)
    np.testing.assert_allclose(large.place, 1e3 * blob.place, rtol=1e-9)
    assert large.width_m == pytest.approx(blob.width_m)


def test_where_points_are_too_far_apart_nothing_is_looked_for() -> None:
    scan = dot_scan(STICKERS["green"], 0.040, points=100)
    assert LENGTH / 100 > COARSEST
    assert blobs_of(scan) == ()


def textured(folder: Path, kind: str) -> tuple[Path, NDArray[np.float64]]:
    """A coarse trunk, corners 25 mm apart, whose picture shows a sticker between them."""
    along, around, side = 60, 50, 1024
    mesh = trunk(along, around)
    u, v = np.repeat(np.linspace(0, 1, along), around), np.tile(np.linspace(0, 1, around), along)
    there = np.array([0.507, 0.413])
    middle = place(LENGTH * there[0], -0.3 + there[1] * (np.pi + 0.6))
    ahead = place(LENGTH * there[0], -0.3 + (there[1] + 1e-4) * (np.pi + 0.6))
    rows, columns = np.mgrid[0:side, 0:side] / (side - 1.0)
    far = np.hypot(
        LENGTH * (columns - there[0]), np.linalg.norm(ahead - middle) / 1e-4 * (1 - rows - there[1])
    )
    picture = np.full((side, side, 3), HIDES["sorrel"], np.uint8)
    picture[far < 0.010] = STICKERS["blue"]
    mesh.visual = trimesh.visual.TextureVisuals(
        uv=np.column_stack([u, v]), image=Image.fromarray(picture)
    )
    path = folder / f"back.{kind}"
    mesh.export(path)
    return path, middle


@pytest.mark.parametrize("kind", ["obj", "glb"])
def test_a_picture_shows_what_lies_between_the_corners(tmp_path: Path, kind: str) -> None:
    path, middle = textured(tmp_path, kind)
    scan = read_scan(path, "m")
    assert scan.paint is not None
    (blob,) = blobs_of(scan)
    assert (blob.colour, blob.doubt) == ("blue", "")
    # Facets 25 mm wide lie up to 0.3 mm under the round trunk
    assert np.linalg.norm(blob.place - middle) < 2.45 * blob.sd_m
    twice = scaled(scan, 2.0, "Told.")
    assert twice.paint is not None
    np.testing.assert_array_equal(twice.paint.points, 2.0 * scan.paint.points)


def spotted(points: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    """A white hide with 100 blood-bay spots as large and round as stickers."""
    middles = points[rng.choice(len(points), 100, replace=False)]
    far, nearest = cKDTree(middles).query(points)
    inside = far < rng.uniform(0.008, 0.025, 100)[nearest]
    return np.where(inside[:, None], HIDES["blood bay"], HIDES["white"])


def by_height(points: NDArray[np.float64], _: np.random.Generator) -> NDArray[np.float64]:
    """Colours that a program gives to heights: all hues, none of them the animal's."""
    share = (points[:, 2] - points[:, 2].min()) / np.ptp(points[:, 2])
    return 255.0 * np.array([colorsys.hsv_to_rgb(0.8 * one, 1.0, 1.0) for one in share])


@pytest.mark.parametrize("coat", [spotted, by_height])
def test_nothing_is_found_where_colours_are_the_coat_s_or_a_program_s(
    coat: Callable[[NDArray[np.float64], np.random.Generator], NDArray[np.float64]],
) -> None:
    mesh, rng = trunk(220, 176), np.random.default_rng(9)
    vertices = np.asarray(mesh.vertices)
    seen = lit(vertices, coat(vertices, rng), rng, shade=0.3)
    found = blobs_of(replace(scan_of(vertices, mesh.faces), colours=seen))
    assert not [blob for blob in found if not blob.doubt]
