"""Friction, slopes and straps that hold back, through the product's solver, against paper.

Sources: Cattaneo and Mindlin's sphere (`fitsim.reference.mindlin`, from memory); the rest is
rigid-body statics with Coulomb's law, worked out beside each test.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.back.back import Chart, Tissue
from fitsim.contact.foundation import build_foundation
from fitsim.reference import mindlin
from fitsim.rig.case import Pad
from fitsim.rig.going import GRAVITY, Going, pull_of_gravity
from fitsim.study.borne import borne
from tests.pressed import (
    Pressed,
    flat_foundation,
    layer_of,
    paraboloid,
    press_down,
    pushed,
    slab,
    strap,
    tree_of,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.contact.foundation import Foundation
    from tests.validation.measured import Measured

    Array = NDArray[np.float64]

MU = 0.4
SPRINGS = Pad("springs", 0.02, 25e3, 0.0, 1e5, MU)
WEIGHT = 100.0  # N


def seated(height: float) -> Array:
    T = np.eye(4)
    T[2, 3] = height
    return T


# --- a sphere pushed sideways --------------------------------------------------------------------

_SPRING = 2e6  # Pa/m of the tangential bed put in for this test


@cache
def deep() -> Foundation:
    """Eight contact radii of tissue, its sideways springs set."""
    found = flat_foundation(0.003, 0.042, layer_of(0.192, 60e3, 0.45))
    return replace(found, shear_compliance=np.full_like(found.shear_compliance, 1.0 / _SPRING))


def sideways(force: float) -> Pressed:
    """A paraboloid under 12 N, pushed sideways at the skin."""
    bare = Pad("none", 0.0, 20e3, 0.0, 1e5, MU)
    down = np.array([0.0, 0.0, -12.0])
    case = pushed(([0, 0, 0], down), ([0, 0, 0], np.array([force, 0.0, 0.0])))
    return press_down(deep(), tree_of(paraboloid(0.3, 0.04, 0.002)), case, bare)


@pytest.mark.parametrize("used", [0.1, 0.5, 0.8, 0.95])
def test_sphere_pushed_sideways_sticks_and_slips_as_on_springs(
    used: float, measured: Measured
) -> None:
    """Travel against force: 2 % of the travel at which all slips (cells of an eighth of a).

    And Mindlin's law for a half-space, which its neighbours' pull makes softer near full slip:
    within 0.05 of mu P, the closed forms themselves being 0.045 apart.
    """
    found = sideways(used * MU * 12.0)
    assert found.rest.found
    pressure = found.rest.pressure
    radius = np.sqrt(found.problem.foundation.area[pressure > 0.0].sum() / np.pi)
    p0 = 1.5 * found.force / (np.pi * radius**2)  # Hertz
    share = found.rest.T_body_tree[0, 3] * _SPRING / (MU * p0)
    what = "sphere pushed sideways, 10 to 95 % of friction used: force at its travel, over mu P"
    for law, limit, source in (
        (mindlin.sideways_on_springs, 0.02, "bed of springs under Hertz's pressure"),
        (mindlin.sideways_on_half_space, 0.05, "Cattaneo and Mindlin (Johnson ch. 7, from memory)"),
    ):
        measured.below(f"{what}, off by", abs(law(share) - used), limit, "", source)
    tangential = found.rest.shear * found.problem.foundation.area[:, None]
    assert tangential.sum(axis=0)[0] == pytest.approx(used * MU * 12.0, rel=1e-3)


def test_sphere_pushed_harder_than_friction_goes() -> None:
    """Sliding, and as a round body does, turning over forward on the way."""
    found = sideways(1.02 * MU * 12.0)
    assert not found.rest.found
    assert found.rest.leaves in {"slides forward", "tips forward"}


# --- slopes --------------------------------------------------------------------------------------


@cache
def tissue() -> Foundation:
    return flat_foundation(0.01, 0.30, layer_of(0.05, 60e3, 0.47))


def on_slope(degrees: float, *, across: bool = False, straps: tuple = ()) -> Pressed:  # type: ignore[type-arg]
    """A bar on a slope, its weight acting at the skin: it slides before it tips."""
    angle = np.radians(degrees)
    going = Going(side_slope=angle) if across else Going(slope=-angle)
    weight = WEIGHT / GRAVITY * pull_of_gravity(going)
    case = replace(pushed(([0, 0, -0.02], weight)), straps=straps)
    return press_down(tissue(), tree_of(slab(0.31, 0.11, np.zeros(3))), case, SPRINGS, seated(0.02))


@pytest.mark.parametrize("across", [False, True])
def test_bare_tree_slides_where_the_slope_is_steeper_than_friction(
    *, across: bool, measured: Measured
) -> None:
    """tan(alpha) = mu: 21.8 deg for 0.4."""
    law = "tan a = mu: 21.8 deg"
    for degrees, told in ((21.5, "stays"), (22.1, "slides left" if across else "slides forward")):
        rest = on_slope(degrees, across=across).rest
        what = f"bare tree on a slope of {degrees} deg, along and across"
        measured.same(what, "stays" if rest.found else rest.leaves, told, law)


def test_a_cinch_adds_its_pull_to_what_friction_holds(measured: Measured) -> None:
    """W sin(a) = mu (W cos(a) + 2 T): with T = 20 N and mu = 0.4 it slides beyond 30.3 deg.

    Long upright straps, so that the few millimetres of travel do not turn them: 0.3 deg.
    """
    pull = 20.0
    straps = tuple(strap(f"s{y:+}", [0, y, 0], [0, y, -50.0], pull) for y in (0.04, -0.04))
    angles = np.radians(np.linspace(0, 60, 60001))
    over = WEIGHT * np.sin(angles) - MU * (WEIGHT * np.cos(angles) + 2.0 * pull)
    limit = float(np.degrees(angles[np.argmax(over > 0.0)]))
    assert limit == pytest.approx(30.3, abs=0.1)  # as a check on the search above
    for side, told in ((-0.3, "stays"), (0.3, "slides forward")):
        rest = on_slope(limit + side, straps=straps).rest
        what = f"with two upright straps of 20 N, {side:+} deg from the limit"
        law = "W sin a = mu (W cos a + 2 T): 30.3 deg"
        measured.same(what, "stays" if rest.found else rest.leaves, told, law)


@pytest.mark.parametrize("slack", [0.0, 0.02, 0.10])
def test_a_slack_strap_holds_what_friction_does_not(slack: float, measured: Measured) -> None:
    """Downhill at 35 deg: tension W (sin a - mu cos a), after slack + T/k of travel.

    A slack of 100 mm is more than a tree may travel else. 1 %: the strap is 10 m long and sinks
    with the tree; travel to 0.5 mm, the bar creeping over the edges of cells.
    """
    stiff, far = 1e4, 10.0
    back = (strap("breeching", [0, 0, -0.02], [-far, 0, 0], 0.0, stiff, far + slack),)
    found = on_slope(35.0, straps=back)
    assert found.rest.found, found.rest.leaves
    tension = float(np.linalg.norm(found.rest.forces[0].force))
    angle = np.radians(35.0)
    what = "slack strap that catches at 35 deg, slack 0 to 100 mm:"
    asked = WEIGHT * (np.sin(angle) - MU * np.cos(angle))
    measured.near(f"{what} tension", tension, asked, "W (sin a - mu cos a)", rel=0.01)
    off = 1e3 * abs(found.rest.T_body_tree[0, 3] - (slack + tension / stiff))
    measured.below(f"{what} travel off by", off, 0.5, "mm", "slack and T/k")


# --- a round body on a friction saddle -----------------------------------------------------------

_RADIUS, _BETA = 0.30, np.radians(35.0)


@cache
def barrel() -> Foundation:
    """A round back: a cylinder along x of hard thin tissue."""
    x = np.arange(-20, 21) * 0.01
    t = np.arange(-28, 29) * 0.01
    turn = np.broadcast_to(t / _RADIUS, (len(x), len(t)))
    normals = np.stack([np.zeros_like(turn), np.sin(turn), np.cos(turn)], axis=-1)
    points = _RADIUS * normals
    points[..., 0] = x[:, None]
    yes = np.ones(turn.shape, dtype=bool)
    curved = np.full(turn.shape, 1.0 / _RADIUS)
    chart = Chart(x, t, points, normals, np.full(turn.shape, 1e-4), curved, yes, ~yes)
    stack = layer_of(0.004, 2e6, 0.3)
    return build_foundation(chart, Tissue((stack,), np.ones((*turn.shape, 1))))


def saddle(offset: float) -> Pressed:
    """Two narrow bars at +-35 deg on the barrel, a weight aside of the middle."""
    bars = []
    for side in (1.0, -1.0):
        flat = slab(0.25, 0.03, np.array([0.0, side * 0.1, 0.0]))
        cos, sin = np.cos(side * _BETA), np.sin(side * _BETA)
        T = np.eye(4)
        T[:3, :3] = [[1, 0, 0], [0, cos, sin], [0, -sin, cos]]
        T[:3, 3] = _RADIUS * np.array([0.0, sin, cos])
        bars.append(replace(flat, T_tree_bar=T))
    case = pushed(([0.0, offset, _RADIUS + 0.05], [0.0, 0.0, -WEIGHT]))
    return press_down(barrel(), tree_of(*bars), case, Pad("none", 0.0, 1e4, 0.0, 1e5, MU))


def test_round_body_rolls_on_its_friction_saddle_at_the_closed_form_offset(
    measured: Measured,
) -> None:
    """Both bars slip: e = mu R / ((1 + mu^2) cos(beta)), 126 mm here; 4 %.

    By hand, N1 and N2 along the radii and mu N across them: sideways (N1 - N2) sin b = mu (N1 +
    N2) cos b; upright N1 + N2 = W / ((1 + mu^2) cos b); about the axis W e = mu (N1 + N2) R.
    4 %: bars 30 mm wide on a radius of 300 mm carry at their edges as they turn.
    """
    limit = MU * _RADIUS / ((1.0 + MU**2) * np.cos(_BETA))
    law = "e = mu R / ((1 + mu^2) cos b): 126 mm"
    for part, told in ((0.96, "stays"), (1.04, "goes left"), (-1.04, "goes right")):
        rest = saddle(part * limit).rest
        # both bars slip round the barrel: a roll or a slide, but to the side of the weight
        way = "stays" if rest.found else f"goes {str(rest.leaves).split()[-1]}"
        what = "round body on a friction saddle, weight at 0.96 and 1.04 of the limit aside"
        measured.same(what, way, told, law)


# --- what a spring scale shows -------------------------------------------------------------------


def test_spring_scale_tops_out_where_the_tree_truly_slides(measured: Measured) -> None:
    """Pulled along by a scale, a bar of 100 N bears mu W; 1 %."""
    tree = tree_of(slab(0.31, 0.11, np.zeros(3)))
    case = pushed(([0, 0, -0.02], [0.0, 0.0, -WEIGHT]))
    held = press_down(tissue(), tree, case, SPRINGS, seated(0.02))
    found = borne(held.problem, case, held.rest, np.array([0, 0, -0.02]), np.array([1.0, 0, 0]))
    measured.near("spring scale that pulls a bar along", found.force, MU * WEIGHT, "mu W", rel=0.01)
    assert found.leaves == "slides forward"


def test_spring_scale_tops_out_where_the_tree_truly_tips() -> None:
    """Hung on beyond the end of a bar: less than W half-length / (arm - half-length).

    That is where a hard bar would turn over its very end; on tissue it turns sooner. Its top is
    held against dead weights of 3 % less, which stay, and 3 % more, which do not.
    """
    tree = tree_of(slab(0.31, 0.11, np.zeros(3)))
    case = pushed(([0, 0, 0], [0.0, 0.0, -WEIGHT]))
    held = press_down(tissue(), tree, case, SPRINGS, seated(0.02))
    found = borne(held.problem, case, held.rest, np.array([0.4, 0, 0]), np.array([0, 0, -1.0]))
    assert found.force < WEIGHT * 0.155 / (0.4 - 0.155)
    assert found.leaves == "tips forward"
    over = replace(case, forces=(*case.forces, *pushed(
        ([0.4, 0, 0], [0.0, 0.0, -1.03 * found.force])).forces))  # fmt: skip
    under = replace(case, forces=(*case.forces, *pushed(
        ([0.4, 0, 0], [0.0, 0.0, -0.97 * found.force])).forces))  # fmt: skip
    assert press_down(tissue(), tree, under, SPRINGS, seated(0.02)).rest.found
    assert not press_down(tissue(), tree, over, SPRINGS, seated(0.02)).rest.found
