"""What must hold of any stride: balance over time, mirror, rest, and no matter how finely cut."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitsim.back.mirror import FLIP, mirrored
from fitsim.back.motion.gait import Shoulder, load_factor, read_gait
from fitsim.back.motion.kinematics import kinematics
from fitsim.back.motion.posture import carried_points, posture
from fitsim.measure.stride import SHARES
from fitsim.study.carried import carried_problem, carry, working
from fitsim.study.stride import stride
from tests.fits import back_of
from tests.strides import laid_on, measures_of, stride_of

if TYPE_CHECKING:
    from tests.validation.measured import Measured

GRAVITY = 9.80665
GAITS = ("walk", "single-foot", "trot", "canter")


@given(
    peak=st.floats(1.1, 4.0),
    lowest=st.floats(0.0, 0.9),
    beats=st.integers(1, 4),
    first=st.floats(0.0, 1.0),
)
def test_the_load_means_its_weight_for_any_swing(
    peak: float, lowest: float, beats: int, first: float
) -> None:
    """Impulse over a stride is weight times time, and the peak is the one asked for."""
    gait = replace(
        read_gait("walk"), load_peak=peak, load_lowest=lowest, load_beats=beats, load_at=first
    )
    factor = load_factor(gait, np.arange(960) / 960)
    # The curve has a corner between beats where it is nearly square: 960 moments see it.
    assert np.isclose(factor.mean(), 1.0, atol=2e-3)
    top = float(load_factor(gait, np.array([first]))[0])
    assert np.isclose(top, peak, rtol=1e-9)
    assert factor.min() >= lowest - 1e-12


@pytest.mark.parametrize("gait", GAITS)
def test_impulse_over_a_stride_is_weight_times_time(gait: str, measured: Measured) -> None:
    """What the back carries, without the cinches' pull, adds up to the weight: within 1 %."""
    followed = stride_of("mule", gait, 16 if gait == "walk" else 12)
    found = measures_of(followed)
    weight = GRAVITY * (80.0 + followed.tree.mass)
    impulse = (found.vertical_force - found.strap_force).mean() * followed.gait.stride
    what = "impulse over a stride, four gaits"
    time = followed.gait.stride
    measured.near(what, impulse, weight * time, "weight times time", rel=0.01)


def test_moments_do_not_depend_on_how_many_there_are(measured: Measured) -> None:
    """Each moment is a balance of its own: the same from wherever it was reached.

    To the solver's own tolerance in force (1e-5 of the load) the pressure hardly moves: 1 %.
    """
    fine, coarse = stride_of("mule", "walk", 16), stride_of("mule", "walk", 8)
    for one, other in zip(fine.moments[::2], coarse.moments, strict=True):
        assert one.posture.phase == pytest.approx(other.posture.phase)
        top = other.equilibrium.pressure.max()
        off = np.abs(one.equilibrium.pressure - other.equilibrium.pressure)
        what = "a moment of 16 against the same of 8: pressure, over the highest"
        measured.below(what, 100.0 * off.max() / top, 1.0, "%", "each is a balance of its own")


@pytest.mark.slow
@pytest.mark.parametrize("gait", GAITS)
def test_halving_the_moments_changes_the_peak_little(gait: str, measured: Measured) -> None:
    """48 against 24: under 5 % in the stride's peak and in what the shoulders do."""
    fine, coarse = (measures_of(stride_of("mule", gait, count)) for count in (48, 24))
    what, half = "48 moments against 24, four gaits:", "itself"
    measured.near(f"{what} peak", fine.peak.max(), coarse.peak.max(), half, rel=0.05)
    for side in ("left", "right"):
        one, other = fine.shoulders[side], coarse.shoulders[side]
        measured.near(f"{what} work on a blade", one.work, other.work, half, rel=0.05)
        assert np.isclose(one.restricted, other.restricted, atol=0.02)


def test_a_back_that_does_not_move_stays_as_it_stands() -> None:
    still = replace(
        read_gait("walk"), flexion=0.0, lateral=0.0, axial_front=0.0, axial_rear=0.0,
        shoulder=Shoulder(0.0, 0.0), load_peak=1.0 + 1e-9, load_lowest=1.0 - 1e-9,
    )  # fmt: skip
    back, on = back_of("mule"), laid_on("mule")
    now = posture(kinematics(back, still), 0.37)
    rest = back.chart.points[back.chart.valid]
    # To rounding, in metres: turning there and back again.
    assert np.allclose(now.points, rest, atol=1e-14)
    assert np.allclose(now.normals, back.chart.normals[back.chart.valid], atol=1e-12)
    followed = stride(back, on.problem.tree, still, phases=8, on=on)
    standing = followed.standing.pressure
    for one in followed.moments:
        assert np.abs(one.equilibrium.pressure - standing).max() < 0.01 * standing.max()
        assert np.abs(one.equilibrium.T_body_tree - followed.standing.T_body_tree).max() < 1e-5
    for blade in measures_of(followed).shoulders.values():
        assert blade.restricted == blade.work == 0.0


@pytest.mark.parametrize("gait", ["walk", "single-foot", "trot"])
def test_half_a_stride_later_the_back_is_its_mirror(gait: str) -> None:
    """In gaits whose second half mirrors the first; a canter's does not."""
    back, known = back_of("pony"), read_gait(gait)
    other = mirrored(back)
    for phase in (0.0, 0.2, 0.45):
        one = posture(kinematics(back, known), phase)
        two = posture(kinematics(other, known), phase + 0.5)
        grids = []
        for chart, now in ((back.chart, one), (other.chart, two)):
            grid = np.full((*chart.valid.shape, 3), np.nan)
            grid[chart.valid] = now.points
            grids.append(grid)
        assert np.allclose(grids[0], grids[1][:, ::-1] * FLIP, atol=1e-12, equal_nan=True)
        assert np.isclose(one.load, two.load)
        assert np.isclose(one.lift["left"], two.lift["right"])


@pytest.mark.slow
def test_a_mirrored_animal_has_its_sides_swapped() -> None:
    """Walk on the pony and on its mirror image, half a stride apart.

    To 3 %: the mirrored tree is laid anew, and finds its seat to a tenth of a millimetre.
    """
    back, tree = back_of("pony"), laid_on("pony").problem.tree
    one = measures_of(stride_of("pony", "walk", 8))
    two = measures_of(stride(mirrored(back), tree, "walk", phases=8))
    for side, other in (("left", "right"), ("right", "left")):
        assert np.isclose(one.shoulders[side].work, two.shoulders[other].work, rtol=0.03)
        swapped = np.roll(two.share[other], 4)
        assert np.allclose(one.share[side], swapped, atol=0.01)


def test_a_roll_of_the_whole_trunk_is_rigid_and_carries_the_seat() -> None:
    """Without bending or twist every distance is kept, and `carry` finds that very motion."""
    rolling = replace(
        read_gait("trot"), flexion=0.0, lateral=0.0, axial_front=0.1, axial_rear=0.1,
        shoulder=Shoulder(0.0, 0.0),
    )  # fmt: skip
    back = back_of("mule")
    moving = kinematics(back, rolling)
    # A level axis, so that all sections turn about one line.
    moving = replace(moving, axis=np.full_like(moving.axis, -0.1))
    now = posture(moving, rolling.axial_at)
    rest = back.chart.points[back.chart.valid]
    chosen = np.arange(0, len(rest), 97)
    before = np.linalg.norm(rest[chosen, None] - rest[None, chosen], axis=2)
    after = np.linalg.norm(now.points[chosen, None] - now.points[None, chosen], axis=2)
    assert np.allclose(before, after, atol=1e-12)
    T = carry(rest, now.carried)
    assert np.allclose(rest @ T[:3, :3].T + T[:3, 3], now.points, atol=1e-12)
    assert np.isclose(np.arctan2(T[2, 1], T[2, 2]), 0.05)  # half of extreme to extreme
    assert T[2, 1] > 0.0  # the left side is up
    off_skin = np.array([[0.0, 0.3, -0.5], [-0.4, -0.3, -0.6]])
    assert np.allclose(
        carried_points(moving, rolling.axial_at, off_skin),
        off_skin @ T[:3, :3].T + T[:3, 3],
        atol=1e-12,
    )


@pytest.mark.parametrize("phase", [0.25, 0.6])
def test_normals_are_those_of_the_moved_skin(phase: float) -> None:
    """Against differences of the moved points: how far each normal turned, to half a degree."""
    back = back_of("mule", 0.010)
    chart, now = back.chart, posture(kinematics(back, read_gait("walk")), phase)

    def by_differences(points: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
        grid = np.full((*chart.valid.shape, 3), np.nan)
        grid[chart.valid] = points
        normal = np.cross(np.gradient(grid, axis=0), np.gradient(grid, axis=1))
        return np.asarray(normal / np.linalg.norm(normal, axis=2, keepdims=True))

    known = chart.normals[chart.valid]
    change = now.normals - known
    rest = chart.points[chart.valid]
    other = (by_differences(now.points) - by_differences(rest))[chart.valid]
    seen = np.isfinite(other).all(axis=1)
    off = np.linalg.norm((change - other)[seen], axis=1)
    turned = np.linalg.norm(change[seen], axis=1)
    assert turned.max() > 0.1  # the edge of the blade leans by more than 5 degrees
    assert np.percentile(off, 99) < np.deg2rad(0.5)
    assert off.max() < 0.25 * turned.max()  # where the rise has a kink, at a mark's corner


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_edge_rises_where_it_has_glided_to(side: str) -> None:
    back, walk = back_of("mule"), read_gait("walk")
    moving = kinematics(back, walk)
    now = posture(moving, walk.contacts[side])
    chart, blade = back.chart, moving.blades[side]
    assert now.glide[side] == pytest.approx(walk.shoulder.glide * moving.scale)
    assert now.rise.max() == pytest.approx(walk.shoulder.lift * moving.scale, rel=0.02)
    own = np.zeros(chart.valid.shape)
    own[chart.valid] = now.rise
    row, column = np.unravel_index(int(own.argmax()), own.shape)
    edge = np.interp(abs(chart.t[column]), np.abs(blade.edge[:, 1]), blade.edge[:, 0])
    # The highest node is the one nearest to the crest.
    assert abs(chart.x[row] - (edge - now.glide[side])) <= 0.6 * chart.spacing
    assert (chart.t[column] > 0.0) == (side == "left")


def test_shares_add_up_and_the_sides_take_turns() -> None:
    found = measures_of(stride_of("mule", "walk", 16))
    thirds = sum(found.share[name] for name in SHARES[:3])
    assert np.allclose(thirds, 1.0)
    assert np.allclose(found.share["left"] + found.share["right"], 1.0)
    assert abs(found.lopsided) < 0.03  # the mule is nearly even
    assert found.uneven > abs(found.lopsided)


def test_slip_is_all_or_nothing_at_the_ends_of_friction() -> None:
    """A coat that holds whatever comes lets nothing slip; one without friction, everything."""
    followed, problem = stride_of("mule", "trot", 12), laid_on("mule").problem
    moment = max(followed.moments, key=lambda one: float(np.abs(one.working.slid[:2]).max()))
    here = carried_problem(problem, moment.posture, moment.T_now_standing)
    for friction, slips in ((1e6, 0.0), (0.0, 1.0)):
        pad = replace(problem.pad, friction=friction)
        found = working(replace(here, pad=pad), moment.equilibrium)
        assert np.allclose(found.slipped, slips * found.slid, atol=1e-12)
    assert np.abs(moment.working.slipped[:2]).max() < np.abs(moment.working.slid[:2]).max()


@pytest.mark.slow
@pytest.mark.parametrize("spacing", [0.018, 0.010])
def test_shoulders_do_not_hang_on_the_grid(spacing: float, measured: Measured) -> None:
    """Against 14 mm nodes: work and impulse within 5 %, what is taken back within 0.08.

    The edge is 50 mm of skin, three to five nodes; which columns of nodes lie abreast of the bar
    changes with the grid, and the share is over those.
    """
    other_on = laid_on("mule", spacing=spacing)
    other = measures_of(
        stride(back_of("mule", spacing), other_on.problem.tree, "walk", phases=8, on=other_on)
    )
    known = measures_of(stride_of("mule", "walk", 8))
    for side in ("left", "right"):
        one, two = other.shoulders[side], known.shoulders[side]
        what = "nodes 10 and 18 mm apart:"
        for name, ours, theirs in (("work", one.work, two.work), ("impulse", one.impulse,
                                                                  two.impulse)):  # fmt: skip
            measured.near(f"{what} {name} on a blade", ours, theirs, "14 mm", rel=0.05)
        assert np.isclose(one.restricted, two.restricted, atol=0.08)
