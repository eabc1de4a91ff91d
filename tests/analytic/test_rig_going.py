"""Slopes, turns, lean, stirrups, stretching and swinging straps against hand-worked statics."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.errors import BadSettings
from fitsim.rig.cases import cases_for
from fitsim.rig.going import GRAVITY, LEVEL, Going, going_in_words, pull_of_gravity
from fitsim.rig.holdbacks import far_ends
from fitsim.rig.load import NO_LOAD, pack, place_of, rider
from fitsim.rig.rig import Cinch, Holdback, Rig
from fitsim.tree.rigging import rigging_point
from tests.build import small_back, small_tree

if TYPE_CHECKING:
    from fitsim.rig.case import Strap

SEAT = np.eye(4)
SEAT[:3, 3] = (-0.02, 0.0, 0.02)
MIRROR = np.array([1.0, -1.0, 1.0])


@pytest.fixture(scope="module")
def back() -> object:
    return small_back(0.020)


def straps_of(back: object, rig: Rig) -> dict[str, Strap]:
    both = cases_for(back, small_tree(), SEAT, rig, NO_LOAD)[2]  # type: ignore[arg-type]
    return {strap.name: strap for strap in both.straps}


def ring(strap: Strap) -> np.ndarray:  # type: ignore[type-arg]
    return (SEAT @ np.append(strap.attach_tree, 1.0))[:3]


def run(strap: Strap) -> np.ndarray:  # type: ignore[type-arg]
    """Unit direction of pull."""
    line = strap.anchor_body - ring(strap)
    return np.asarray(line / np.linalg.norm(line))


# --- the going -----------------------------------------------------------------------------------


@pytest.mark.parametrize("degrees", [0.0, 7.0, 20.0, 45.0])
def test_weight_keeps_its_size_and_tilts_by_the_slope(degrees: float) -> None:
    a = np.radians(degrees)
    for going in (Going(slope=a), Going(side_slope=a), Going(slope=-a, side_slope=0.5 * a)):
        assert np.linalg.norm(pull_of_gravity(going)) == pytest.approx(GRAVITY, rel=1e-12)
    assert pull_of_gravity(Going(slope=a))[0] == pytest.approx(-GRAVITY * np.sin(a))
    assert pull_of_gravity(Going(side_slope=a))[1] == pytest.approx(GRAVITY * np.sin(a))


def test_a_mirrored_slope_mirrors_the_weight() -> None:
    one = Going(0.1, 0.2, 0.8, 1.5)
    other = replace(one, side_slope=-0.2, cornering=-0.8)
    np.testing.assert_allclose(pull_of_gravity(other), MIRROR * pull_of_gravity(one), atol=1e-12)


def test_a_turn_to_the_left_throws_to_the_right() -> None:
    """4 m/s round 8 m: 2 m/s2 (v2 / r), whatever the gait."""
    turned = pull_of_gravity(Going(cornering=4.0**2 / 8.0, load_factor=2.0))
    np.testing.assert_allclose(turned, [0.0, -2.0, -2.0 * GRAVITY], atol=1e-12)


def test_the_going_acts_on_tree_and_load_alike(back: object) -> None:
    going = Going(slope=0.2, load_factor=1.8)
    tree = small_tree()
    *unloaded, loaded = cases_for(back, tree, SEAT, Rig(), pack().over(going))  # type: ignore[arg-type]
    for case in unloaded:
        total = sum(force.force_body for force in case.forces)
        np.testing.assert_allclose(total, tree.mass * pull_of_gravity(going), rtol=1e-12)
    total = sum(force.force_body for force in loaded.forces)
    np.testing.assert_allclose(total, (tree.mass + 80.0) * pull_of_gravity(going), rtol=1e-12)


def test_the_load_says_what_it_goes_over() -> None:
    uphill = pack().over(Going(slope=np.radians(15.0)))
    assert uphill.name == "pack of 2 x 35 + 10 kg, 15 deg uphill"
    assert uphill.over(Going(slope=np.radians(-5.0))).name.endswith("+ 10 kg, 5 deg downhill")
    assert uphill.over(LEVEL).name == pack().name
    assert going_in_words(Going(side_slope=0.1, cornering=-1.0)).endswith("turning right")


# --- the rider -----------------------------------------------------------------------------------


def test_stirrups_take_their_share_and_hang_from_the_bars() -> None:
    load = rider(80.0, stirrup_share=0.25, left_stirrup=0.7, stirrups_behind_front=0.2)
    masses = {weight.name: weight.mass for weight in load.weights}
    assert masses == pytest.approx({"rider": 60.0, "stirrup_left": 14.0, "stirrup_right": 6.0})
    tree = small_tree()
    for weight in load.weights[1:]:
        side = "left" if weight.name.endswith("left") else "right"
        np.testing.assert_allclose(place_of(weight, tree), rigging_point(tree, side, 0.2))


@pytest.mark.parametrize("share", [0.0, 0.5])
def test_a_lean_makes_the_moment_of_the_whole_rider(share: float) -> None:
    """Leaning forward and left moves the weight's foot the same however the stirrups share it."""
    tree = small_tree()
    load = rider(80.0, lean_forward=0.3, lean_left=0.2, stirrup_share=share)
    upright = rider(80.0, stirrup_share=share)

    def foot(one: object) -> np.ndarray:  # type: ignore[type-arg]
        weights = one.weights  # type: ignore[attr-defined]
        return np.asarray(sum(w.mass * place_of(w, tree) for w in weights) / 80.0)

    moved = (foot(load) - foot(upright))[:2]
    np.testing.assert_allclose(moved, 0.68 * 0.33 * np.sin([0.3, 0.2]), atol=1e-12)


# --- straps --------------------------------------------------------------------------------------


def test_a_cinch_that_swings_back_pulls_back(back: object) -> None:
    swung = straps_of(back, Rig(rear=Cinch(120.0, 120.0, swing=0.12)))
    plain = straps_of(back, Rig())
    for side in ("left", "right"):
        name = f"rear_cinch_{side}"
        assert run(plain[name])[0] == pytest.approx(0.0, abs=1e-12)
        # 120 mm back over the depth of this girth, 660 to 680 mm below the ring
        tilt = -run(swung[name])[0] / -run(swung[name])[2]
        assert tilt == pytest.approx(0.12 / 0.68, rel=0.06)
    left, right = swung["rear_cinch_left"], swung["rear_cinch_right"]
    np.testing.assert_allclose(right.anchor_body, MIRROR * left.anchor_body, atol=1e-9)


def test_a_connecting_strap_stops_the_swing(back: object) -> None:
    """Shorter than the rings are apart it draws the rear cinch forward, a long one does nothing."""
    loose = Rig(rear=Cinch(120.0, 120.0, swing=0.12))
    name = "rear_cinch_left"
    free = run(straps_of(back, loose)[name])[0]
    long, short = (
        run(straps_of(back, replace(loose, connecting=length))[name])[0] for length in (0.60, 0.25)
    )
    assert long == free < 0.0
    assert short > 0.0
    front = {run(straps_of(back, replace(loose, connecting=c))["front_cinch_left"])[0]
             for c in (None, 0.25)}  # fmt: skip
    assert len(front) == 1


def test_an_elastic_cinch_pulls_as_told_where_it_is_laid(back: object) -> None:
    for strap in straps_of(back, Rig(front=Cinch(150.0, 90.0, stiffness=4e3))).values():
        if strap.name.startswith("front"):
            assert strap.stiffness == 4e3
            length = float(np.linalg.norm(strap.anchor_body - ring(strap)))
            assert strap.tight_length == pytest.approx(length, rel=1e-12)


def test_a_ring_may_stand_out_and_up(back: object) -> None:
    plain = straps_of(back, Rig())["front_cinch_right"]
    moved = straps_of(back, Rig(front=Cinch(180.0, 180.0, beside=0.02, above=0.03)))
    shift = moved["front_cinch_right"].attach_tree - plain.attach_tree
    np.testing.assert_allclose(shift, [0.0, -0.02, 0.03], atol=1e-12)


def test_holdbacks_hang_slack_and_run_to_where_they_hold(back: object) -> None:
    rig = Rig(breast_strap=Holdback(0.05), breeching=Holdback(), crupper=Holdback(0.02))
    straps = straps_of(back, rig)
    slack = {"breast_strap": 0.05, "breeching": 0.10, "crupper": 0.02}
    for name, strap in straps.items():
        if "cinch" in name:
            continue
        length = float(np.linalg.norm(strap.anchor_body - ring(strap)))
        kind = name.removesuffix("_left").removesuffix("_right")
        assert strap.tight_length - length == pytest.approx(slack[kind], rel=1e-9)
        assert strap.tension == 0.0
        # the breast strap holds it from going back, the others from going forward
        assert (run(strap)[0] > 0.5) if kind == "breast_strap" else (run(strap)[0] < -0.5)
    for name in ("breast_strap", "breeching"):
        left, right = straps[f"{name}_left"], straps[f"{name}_right"]
        np.testing.assert_allclose(right.anchor_body, MIRROR * left.anchor_body, atol=1e-12)
    assert straps["crupper"].anchor_body[1] == 0.0


def test_far_ends_grow_with_the_animal(back: object) -> None:
    """An animal as long as it is high: shoulder to buttock is its withers height."""
    ends = far_ends(back)  # type: ignore[arg-type]
    length = ends["breast_strap"][0] - ends["breeching"][0]
    assert length == pytest.approx(back.withers_height)  # type: ignore[attr-defined]


def test_a_holdback_beyond_the_bar_is_refused(back: object) -> None:
    with pytest.raises(BadSettings, match=r"breeching\.behind_front"):
        straps_of(back, Rig(breeching=Holdback(behind_front=0.9)))
