"""The way of a strap over the barrel, against the tangent to a circle and plain geometry."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from fitsim.back.back import Barrel
from fitsim.rig.straps import SHORTEST_RUN, girth_at, strap_anchor, strap_to_barrel

RADIUS = 0.32
CORNERS = 720
SIDES = ("left", "right")
# A polygon of 720 corners leaves its circle by 1 - cos(pi / 720), so a hundred-thousandth.
POLYGON = RADIUS * 1e-5


def circle(radius: float = RADIUS, corners: int = CORNERS) -> np.ndarray:
    turn = np.arange(corners) * 2.0 * np.pi / corners
    return radius * np.column_stack([np.cos(turn), np.sin(turn)])


def sign(side: str) -> float:
    return 1.0 if side == "left" else -1.0


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize(("distance", "bearing"), [(0.36, 60.0), (0.40, 80.0), (0.345, 30.0)])
def test_strap_is_tangent_to_a_circle(side: str, distance: float, bearing: float) -> None:
    angle = np.radians(bearing)
    ring = distance * np.array([sign(side) * np.cos(angle), np.sin(angle)])
    anchor = strap_anchor(circle(), ring, side)
    run = anchor - ring
    # The tangent from a point at distance d to a circle: length sqrt(d^2 - R^2), touching at the
    # angle arccos(R / d) beyond the point's own bearing.
    assert np.hypot(*run) == pytest.approx(np.sqrt(distance**2 - RADIUS**2), abs=RADIUS / 100)
    touch = angle - np.arccos(RADIUS / distance)
    expected = RADIUS * np.array([sign(side) * np.cos(touch), np.sin(touch)])
    # The touching corner is within one corner's spacing of the touching place.
    assert np.hypot(*(anchor - expected)) < 2.0 * np.pi * RADIUS / CORNERS
    assert abs(np.cross(np.append(run / np.hypot(*run), 0), np.append(anchor, 0))[2]) == (
        pytest.approx(RADIUS, abs=POLYGON)
    )


@pytest.mark.parametrize("side", SIDES)
def test_no_corner_of_any_girth_lies_beyond_the_strap(side: str, rng: np.random.Generator) -> None:
    for _ in range(50):
        cloud = rng.normal(size=(30, 2)) * (0.25, 0.35)
        girth = cloud[ConvexHull(cloud).vertices]
        ring = np.array([sign(side) * rng.uniform(0.05, 0.3), girth[:, 1].max() + 0.05])
        anchor = strap_anchor(girth, ring, side)
        run = anchor - ring
        beyond = sign(side) * (run[0] * (girth - ring)[:, 1] - run[1] * (girth - ring)[:, 0])
        assert beyond.max() < 1e-12  # m2, rounding only: the strap does not cut the animal
        assert run[1] < 0.0


@pytest.mark.parametrize("side", SIDES)
def test_direction_is_steady_as_a_ring_sinks_into_the_girth(side: str) -> None:
    angle = np.radians(40.0)
    outward = np.array([sign(side) * np.cos(angle), np.sin(angle)])
    down = sign(side) * np.array([np.sin(angle), -sign(side) * np.cos(angle)])
    for depth in (1e-6, -1e-6, -0.010):
        ring = (RADIUS - POLYGON + depth) * outward
        run = strap_anchor(circle(), ring, side) - ring
        # Within two corners' turn (1 degree) of the surface's own direction.
        assert run @ down / np.hypot(*run) > np.cos(np.radians(1.0))
        assert np.hypot(*run) >= SHORTEST_RUN * (1.0 - 1e-12)


def test_strap_spans_a_hollow_along_the_girth() -> None:
    # A ring 20 mm inside a slanting straight stretch: the strap runs along with the stretch.
    girth = np.array([[0.0, -0.7], [0.3, -0.4], [0.05, 0.0], [-0.05, 0.0], [-0.3, -0.4]])
    slant = np.array([0.25, -0.4]) / np.hypot(0.25, 0.4)
    ring = np.array([0.05, 0.0]) + 0.1 * slant - 0.02 * np.array([slant[1] * -1, slant[0]])
    run = strap_anchor(girth, ring, "left") - ring
    np.testing.assert_allclose(run / np.hypot(*run), slant, atol=1e-12)
    assert np.hypot(*run) == pytest.approx(np.hypot(0.25, 0.4) - 0.1, abs=1e-12)


@pytest.mark.parametrize("corners", [np.s_[:], np.s_[::-1]])
@pytest.mark.parametrize("closed", [True, False])
def test_the_way_a_section_is_drawn_does_not_matter(corners: slice, *, closed: bool) -> None:
    plain = circle(corners=90)
    drawn = plain[corners]
    drawn = np.vstack([drawn, drawn[:1]]) if closed else drawn
    barrel = Barrel(np.array([0.0, 0.5]), (drawn, plain), np.zeros(2, dtype=bool))
    ring = np.array([0.2, 0.4])
    np.testing.assert_allclose(
        strap_anchor(girth_at(barrel, 0.2), ring, "left"),
        strap_anchor(plain, ring, "left"),
        atol=1e-12,
    )


def test_girth_between_stations_has_the_blended_support() -> None:
    # The support function of a Minkowski blend is the blend of the support functions.
    wide = circle(corners=37) * (1.0, 1.3) + (0.0, -0.3)
    small = 0.7 * circle(corners=24)
    barrel = Barrel(np.array([-0.4, 0.1]), (wide, small), np.zeros(2, dtype=bool))
    girth = girth_at(barrel, -0.25)
    turn = np.linspace(0.0, 2.0 * np.pi, 113)
    towards = np.column_stack([np.cos(turn), np.sin(turn)])
    blend = 0.7 * (wide @ towards.T).max(axis=0) + 0.3 * (small @ towards.T).max(axis=0)
    np.testing.assert_allclose((girth @ towards.T).max(axis=0), blend, atol=1e-12)
    corner = np.roll(girth, -1, axis=0) - girth
    turned = corner[:, 0] * np.roll(corner, -1, axis=0)[:, 1]
    turned -= corner[:, 1] * np.roll(corner, -1, axis=0)[:, 0]
    assert turned.min() > -1e-12  # convex, anticlockwise


@pytest.mark.parametrize("x", [-2.0, 2.0])
def test_beyond_the_barrel_the_end_section_serves(x: float) -> None:
    barrel = Barrel(np.array([-0.4, 0.1]), (circle(0.3), circle(0.4)), np.zeros(2, dtype=bool))
    radius = 0.3 if x < 0.0 else 0.4
    assert np.hypot(*girth_at(barrel, x).T).max() == pytest.approx(radius, abs=1e-12)


def test_left_and_right_straps_are_mirror_images() -> None:
    barrel = Barrel(np.array([-0.6, 0.2]), (circle(), circle()), np.zeros(2, dtype=bool))
    T_body_tree = np.eye(4)
    T_body_tree[:3, 3] = (-0.02, 0.0, 0.3)
    ring = np.array([-0.1, 0.16, 0.02])
    mirror = np.array([1.0, -1.0, 1.0])
    left, right = (
        strap_to_barrel(side, side, at, T_body_tree=T_body_tree, barrel=barrel, tension=180.0)
        for side, at in (("left", ring), ("right", mirror * ring))
    )
    np.testing.assert_allclose(right.anchor_body, mirror * left.anchor_body, atol=1e-12)
    assert left.anchor_body[0] == pytest.approx(-0.12)  # in the plane of its station


def test_a_cinch_of_tension_t_presses_the_tree_down_with_about_2t() -> None:
    # Shared balance of a strap under the belly: where both ends leave vertically it is 2 T.
    barrel = Barrel(np.array([-0.6, 0.2]), (circle(), circle()), np.zeros(2, dtype=bool))
    down = 0.0
    for side in SIDES:
        strap = strap_to_barrel(
            side,
            side,
            np.array([0.0, sign(side) * RADIUS, 0.1]),
            T_body_tree=np.eye(4),
            barrel=barrel,
            tension=180.0,
        )
        run = strap.anchor_body - strap.attach_tree
        down -= strap.tension * run[2] / np.linalg.norm(run)
    assert down == pytest.approx(2 * 180.0, rel=1e-4)  # as round as the polygon


@pytest.mark.parametrize("tilt", [-1e-15, 0.0, 1e-15])
@pytest.mark.parametrize("first", [0, 1, 2, 3, 4])
def test_a_level_belly_is_placed_alike_however_it_is_rounded(tilt: float, first: int) -> None:
    """Halfway between two level-bellied trunks, one a tenth larger: 1.05 of the smaller."""
    trunk = np.array([[-0.2, -0.5], [0.1, -0.5], [0.2, -0.5], [0.3, -0.2], [-0.3, -0.2]])
    rounded = trunk + tilt * np.array([[0, 0], [0, 0], [0, 1], [0, 0], [0, 0]])
    barrel = Barrel(
        np.array([0.0, 0.1]), (np.roll(rounded, first, axis=0), 1.1 * trunk), np.zeros(2, bool)
    )
    girth = girth_at(barrel, 0.05)
    for corner in 1.05 * trunk[[0, 2, 3, 4]]:
        assert np.hypot(*(girth - corner).T).min() < 1e-12
    np.testing.assert_allclose(girth.min(axis=0), 1.05 * trunk.min(axis=0), atol=1e-12)
    np.testing.assert_allclose(girth.max(axis=0), 1.05 * trunk.max(axis=0), atol=1e-12)
