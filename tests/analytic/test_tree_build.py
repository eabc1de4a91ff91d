"""Bars on their arches: spread and angle as told, joints, mirror image, mass."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fitsim.tree.adjust import adjusted
from fitsim.tree.faces import bearing_reach, height_at
from fitsim.tree.library import library_names
from fitsim.tree.read import read_tree
from fitsim.tree.rigging import rigging_point
from fitsim.tree.solid import volume_and_centroid

if TYPE_CHECKING:
    from fitsim.tree.tree import MountedBar, Tree

NAMES = library_names()
MIRROR = np.diag([1.0, -1.0, 1.0, 1.0])

#: The outline's sides are off by up to 0.06 mm where they slant (see `core_polygon`).
EDGE = 1.5e-4


@pytest.fixture(scope="module", params=NAMES)
def tree(request: pytest.FixtureRequest) -> Tree:
    return read_tree(request.param)


def inner_edge_y(bar: MountedBar, xi: float) -> float:
    """Tree y of the left bar's inner edge, from the grid alone."""
    face = bar.underside
    row = int(np.abs(face.xi - xi).argmin())
    inside = face.inside[row]
    crossing = int(np.argmax(inside > 0))
    share = -inside[crossing - 1] / (inside[crossing] - inside[crossing - 1])
    eta = face.eta[crossing - 1] + share * (face.eta[crossing] - face.eta[crossing - 1])
    zeta = height_at(face, np.array([face.xi[row]]), np.array([eta]))[0]
    return float((bar.T_tree_bar @ [face.xi[row], eta, zeta, 1.0])[1])


def face_angle(bar: MountedBar, xi: float) -> float:
    """Angle of the face from horizontal, across the bar at its middle line, rad."""
    step = 0.004
    zeta = height_at(bar.underside, np.full(2, xi), np.array([-step, step]))
    across = bar.T_tree_bar[:3, :3] @ [0.0, 2 * step, zeta[1] - zeta[0]]
    return float(np.arctan2(-across[2], np.hypot(across[0], across[1])))


@pytest.mark.parametrize("end", ["front", "rear"])
def test_spread_and_angle_at_the_arches_are_as_told(tree: Tree, end: str) -> None:
    arch = tree.settings["arches"][end]
    left = tree.bars[0]
    xi = left.underside.front - arch["at"]
    half = arch.get("inner_edge", arch.get("spread", 0.0) / 2.0)
    # Half a grid step along a bar that runs outwards by 1 in 40 adds 0.03 mm.
    assert inner_edge_y(left, xi) == pytest.approx(half, abs=EDGE)
    assert face_angle(left, xi) == pytest.approx(arch["angle"], abs=np.radians(0.05))


@pytest.mark.parametrize("spread", [0.04, 0.07, 0.11])
@pytest.mark.parametrize("angle", [10.0, 25.0, 45.0])
def test_any_spread_and_angle_can_be_set(spread: float, angle: float) -> None:
    tree = adjusted(
        read_tree("riding-middle"),
        {"arches.front.spread": spread, "arches.front.angle": np.radians(angle)},
    )
    left = tree.bars[0]
    xi = left.underside.front - 0.090
    assert inner_edge_y(left, xi) == pytest.approx(spread / 2.0, abs=EDGE)
    assert face_angle(left, xi) == pytest.approx(np.radians(angle), abs=np.radians(0.05))


def test_tree_starts_at_the_front_of_the_bearing_length(tree: Tree) -> None:
    left = tree.bars[0]
    flare = tree.settings["bar"]["flare"]
    bearing = left.underside.front - left.underside.rear
    bearing -= flare["front"]["length"] + flare["rear"]["length"]
    front = left.T_tree_bar @ [bearing / 2.0, 0.0, 0.0, 1.0]
    assert front[0] == pytest.approx(0.0, abs=1e-12)
    assert bearing_reach(left) == pytest.approx(bearing / 2.0, abs=1e-12)


def test_right_bar_is_the_mirror_image(tree: Tree) -> None:
    left, right = tree.bars
    assert (left.side, right.side) == ("left", "right")
    assert np.linalg.det(right.T_tree_bar[:3, :3]) == pytest.approx(1.0, abs=1e-12)
    xi, eta = np.meshgrid(left.underside.xi, left.underside.eta, indexing="ij")
    one = np.stack([xi, eta, left.underside.height, np.ones_like(xi)], axis=-1) @ left.T_tree_bar.T
    other = right.underside
    xi, eta = np.meshgrid(other.xi, other.eta, indexing="ij")
    two = np.stack([xi, eta, other.height, np.ones_like(xi)], axis=-1) @ right.T_tree_bar.T
    assert_allclose(two[:, ::-1] @ MIRROR, one, atol=1e-12)


def test_body_is_symmetric_closed_and_heavy_enough(tree: Tree) -> None:
    corners = tree.vertices[tree.triangles]
    volume = np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6.0
    # 3 to 5 litres of wood at 400 to 700 kg/m3: a tree of a few kilograms before its rigging.
    assert 0.002 < volume < 0.006
    assert volume * 700.0 < tree.mass
    edges = np.sort(tree.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    _, shared = np.unique(edges, axis=0, return_counts=True)
    assert (shared == 2).all()
    low, high = tree.vertices.min(axis=0), tree.vertices.max(axis=0)
    assert low[1] == pytest.approx(-high[1], abs=1e-12)
    assert (low < tree.centre_of_mass).all()
    assert (tree.centre_of_mass < high).all()
    assert tree.centre_of_mass[1] == 0.0


def test_centre_of_mass_is_that_of_the_closed_surface(tree: Tree) -> None:
    _, centroid = volume_and_centroid(tree.surface)
    # What the coarser drawn surface and the grid of the underside leave between them
    assert_allclose(tree.centre_of_mass, centroid, atol=1e-4)


def test_arches_clear_the_spine_between_the_bars(tree: Tree) -> None:
    """Nothing of the tree lies between the bars lower than a hand above their inner edges."""
    near = np.abs(tree.vertices[:, 1]) < 0.012
    bars = np.abs(tree.vertices[:, 1]) < 0.045
    assert tree.vertices[near, 2].min() > tree.vertices[bars, 2].min() + 0.05


def test_one_riding_bar_serves_three_sizes() -> None:
    """Sizes of a stock tree often share one bar (common practice, no source)."""
    sizes = ("riding-narrow", "riding-middle", "riding-wide")
    faces = [read_tree(name).bars[0].underside for name in sizes]
    for face in faces[1:]:
        assert_allclose(face.height, faces[0].height, atol=1e-9)


def test_a_fixed_tree_has_no_joints_and_flex_gives_it_mirrored_ones() -> None:
    fixed = read_tree("pack-fixed")
    assert all(bar.joints == () for bar in fixed.bars)
    left, right = adjusted(fixed, {"arches.flex": 900.0}).bars
    assert left.joints[0].stiffness == right.joints[0].stiffness == 900.0
    # The mirror image of a turn about x is the turn about -x.
    assert_allclose(left.joints[0].axis, [1.0, 0.0, 0.0])
    assert_allclose(right.joints[0].axis, [-1.0, 0.0, 0.0])


def test_rigging_hangs_on_the_outer_edges_of_both_bars(tree: Tree) -> None:
    rings = tree.settings["rigging"]
    for along in rings.values():
        left, right = (rigging_point(tree, side, along) for side in ("left", "right"))
        assert_allclose(right, left * (1, -1, 1), atol=1e-9)
        face = tree.bars[0]
        assert left[0] == pytest.approx(
            face.T_tree_bar[0, 3] + face.underside.front - along, abs=0.01
        )
        outer = tree.vertices[np.abs(tree.vertices[:, 0] - left[0]) < 0.01]
        assert left[1] == pytest.approx(outer[:, 1].max(), abs=0.015)
    assert (
        rigging_point(tree, "left", rings["front"])[0]
        > rigging_point(tree, "left", rings["rear"])[0]
    )


def test_changing_a_tree_leaves_the_first_as_it_was() -> None:
    tree = read_tree("pack-pivoting")
    before = tree.bars[0].T_tree_bar.copy()
    wider = adjusted(tree, {"arches.front.spread": 0.090})
    assert_allclose(tree.bars[0].T_tree_bar, before)
    assert tree.settings["arches"]["front"]["spread"] == pytest.approx(0.056)
    assert wider.bars[0].T_tree_bar[1, 3] > before[1, 3]
