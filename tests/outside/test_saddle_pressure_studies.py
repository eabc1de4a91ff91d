"""Published measurements under saddles and packs: their direction, order and, where stated, size.

Pressures are read as the studies' mats read them, over cells of 2 x 3 cm. A mat is set to zero on
the girthed animal, so what a rider adds is the pressure over that under both cinches. The tree on
each animal is set as a builder would (`tests.strides.fitted_tree`). Nothing was tuned for these;
the sizes found are in docs/validation.md beside the published ones.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.back.motion.gait import load_factor, read_gait
from fitsim.back.motion.kinematics import kinematics
from fitsim.back.motion.posture import posture
from fitsim.contact.solve import solve
from fitsim.measure.mat import mat_reading
from fitsim.rig.cases import cases_for
from fitsim.rig.load import pack, rider
from fitsim.rig.read import read_load, read_rig
from tests.fits import back_of
from tests.strides import fitted_on, fitted_stride, measures_of, stride_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.study.stride import Stride
    from tests.validation.measured import Measured

ANIMALS = [
    "mule",
    pytest.param("pony", marks=pytest.mark.slow),
    pytest.param("horse", marks=pytest.mark.slow),
    pytest.param("donkey", marks=pytest.mark.slow),
]
RIDER = 80.0  # kg, the default load
WIDTH_DEG, WIDTH = 10.0, 0.010  # one width of a tree: 10 deg and 2 cm (Meschan 2007; Hartpury 2023)


@cache
def added(animal: str, gait: str) -> tuple[float, float]:
    """Mean over cells and moments, and highest cell, of what the rider adds, Pa."""
    followed, on = fitted_stride(animal, gait, 12), fitted_on(animal)
    back = back_of(animal)
    cases = cases_for(back, on.problem.tree, on.seat.T_body_tree, read_rig(), read_load())
    girthed = solve(on.problem, next(case for case in cases if case.name == "both")).pressure
    over = [
        mat_reading(back.chart, np.clip(one.equilibrium.pressure - girthed, 0.0, None))
        for one in followed.moments
    ]
    return float(np.mean([one.mean for one in over])), max(one.highest for one in over)


def third_means(followed: Stride) -> NDArray[np.float64]:
    """Mean pressure of the loaded cells of the front, middle and rear third, over a stride, Pa."""
    chart = followed.back.chart
    station = chart.points[chart.valid][:, 0]
    rows = []
    for one in followed.moments:
        rest = one.equilibrium
        under = np.isfinite(rest.along)
        slope, offset = np.polyfit(station[under], rest.along[under], 1)
        read = mat_reading(chart, rest.pressure)
        third = np.clip(3.0 * (slope * read.x + offset), 0.0, 2.999).astype(int)
        rows.append([float(read.pressure[third == k].mean()) for k in range(3)])
    return np.mean(rows, axis=0)


def carried(followed: Stride) -> NDArray[np.float64]:
    """Vertical force through the stride without the pull of the cinches, N."""
    found = measures_of(followed)
    return found.vertical_force - found.strap_force


@pytest.mark.slow
@pytest.mark.parametrize("animal", ANIMALS)
def test_too_narrow_loads_the_rear_third(animal: str, measured: Measured) -> None:
    """Meschan 2007 (doi:10.1016/j.tvjl.2006.02.005): x1.26 with a tree 2 cm too narrow.

    The direction is asked for; the size found is x1.05 to x1.14.
    """
    best = third_means(fitted_stride(animal))
    narrow = third_means(fitted_stride(animal, steeper_deg=WIDTH_DEG, closer=WIDTH))
    what = "mean pressure of the rear third, one width too narrow over right (theirs 1.26)"
    measured.within(what, narrow[2] / best[2], (1.0, 1.5), "", "Meschan 2007")


@pytest.mark.slow
@pytest.mark.parametrize("animal", ANIMALS)
def test_too_wide_moves_load_to_the_middle(animal: str, measured: Measured) -> None:
    """What ours does, where studies disagree (Meschan 2007: middle; MacKechnie-Guire 2019: front).

    Shown, not tuned: this fails if the model changes its mind, so that the docs are changed too.
    """
    best = third_means(fitted_stride(animal))
    wide = third_means(fitted_stride(animal, steeper_deg=-WIDTH_DEG, closer=-WIDTH))
    what = "middle third, one width too wide over right"
    measured.above(what, wide[1] / best[1], 1.0, "", "Meschan 2007; others find the front")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("gait", "published", "sd"),
    [("walk", 12.1, 1.2), ("trot", 24.3, 4.6), ("canter", 27.2, 4.4)],
)
@pytest.mark.parametrize("animal", ANIMALS)
def test_force_per_rider_mass(
    animal: str, gait: str, published: float, sd: float, measured: Measured
) -> None:
    """Fruehwirth 2004, Equine Vet J 36:754-757, numbers from memory: peak N per kg of rider.

    Within the spread (one sd) of twelve horses; the tree's own weight is in both.
    """
    peak = carried(fitted_stride(animal, gait, 12)).max() / RIDER
    what = f"peak force per kg of rider, {gait}"
    source = "Fruehwirth 2004 (from memory)"
    measured.apart(what, peak, published, source, off=sd, unit="N")


@pytest.mark.slow
@pytest.mark.parametrize("animal", ANIMALS)
def test_trot_peaks_and_mean_in_body_weights(animal: str, measured: Measured) -> None:
    """De Cocq 2010 (doi:10.1016/j.jbiomech.2009.10.036): 1.9 to 3.1 body weights, mean 1.0."""
    followed = fitted_stride(animal, "trot", 12)
    weight = 9.80665 * (RIDER + followed.tree.mass)
    through = carried(followed) / weight
    peaks = [through[:6].max(), through[6:].max()]  # one for each diagonal
    for peak in peaks:
        what = "peaks at trot, in body weights"
        measured.within(what, float(peak), (1.9, 3.1), "", "De Cocq 2010")
    # Twelve moments miss the top of the curve, not its mean.
    mean = through.mean()
    measured.apart("mean at trot, in body weights", mean, 1.0, "De Cocq 2010", off=0.01, unit="")


@pytest.mark.slow
@pytest.mark.parametrize("animal", ANIMALS)
def test_pressure_rises_from_walk_to_trot_to_canter(animal: str, measured: Measured) -> None:
    """Von Peinen 2010 (doi:10.1111/j.2042-3306.2010.00191.x), backs without a mark.

    Highest 13.4, 21.0, 24.7 kPa, mean 7.8, 9.8, 10.9 kPa at the withers. Ours is over the whole
    tree and a rider who does not rise: the order is asked for, and a mean at walk within a
    factor 1.5 of theirs.
    """
    walk, trot, canter = (added(animal, gait) for gait in ("walk", "trot", "canter"))
    source = "von Peinen 2010, at the withers"
    for one, other, words in ((walk, trot, "trot over walk"), (trot, canter, "canter over trot")):
        measured.above(f"highest cell a rider adds, {words}", other[1] / one[1], 1.0, "", source)
    for gait, theirs, cell in (("walk", 13, walk), ("trot", 21, trot), ("canter", 25, canter)):
        held = f"theirs {theirs}; held to half and to three times"
        what = f"highest cell a rider adds at {gait} ({held})"
        measured.within(what, 1e-3 * cell[1], (0.5 * theirs, 3.0 * theirs), "kPa", source)
    what = "mean pressure a rider adds at walk (theirs 7.8)"
    measured.within(what, 1e-3 * walk[0], (7.8 / 1.5, 7.8 * 1.5), "kPa", source)


@pytest.mark.slow
@pytest.mark.parametrize("animal", ANIMALS)
def test_forward_seat_loads_the_front_third(animal: str, measured: Measured) -> None:
    """Latif 2010 (doi:10.1111/j.2042-3306.2010.00237.x): over 80 % in front, under 3 % behind.

    A rider who stands in short stirrups, 160 mm ahead of the bar's middle. The front third must
    carry most of the three, and far more than with the usual seat. Ours does not reach 80 %: the
    cinches, which press on all thirds, are in it.
    """
    jockey = rider(60.0, height=0.0, behind_front=0.12)
    thirds = []
    for load in (jockey, rider(60.0)):
        found = measures_of(fitted_stride(animal, "canter", 8, load=load))
        weight = found.normal_force / found.normal_force.sum()
        thirds.append([float(found.share[name] @ weight) for name in ("front", "middle", "rear")])
    forward, usual = thirds
    assert max(forward) == forward[0]
    what, latif = "rider 160 mm ahead of the middle, canter:", "Latif 2010"
    more = 100.0 * (forward[0] - usual[0])
    measured.above(f"{what} front third over the usual seat's", more, 15.0, "points", latif)
    measured.above(f"{what} front third", 100.0 * forward[0], 40.0, "%", latif, asked=80.0)
    measured.below(f"{what} rear third", 100.0 * forward[2], 15.0, "%", latif, asked=3.0)


@pytest.mark.slow
@pytest.mark.parametrize("animal", ["mule", "pony", "donkey", "horse"])
def test_a_heavier_low_pack_changes_the_pattern_little(animal: str, measured: Measured) -> None:
    """Lagos 2023 (doi:10.4067/S0719-81322023000100069): no difference from 80 to 130 kg on mules.

    Patterns are held against each other by their correlation over the nodes, and by thirds.
    """
    maps, shares = [], []
    for mass in (80.0, 130.0):
        load = pack(0.45 * mass, 0.45 * mass, 0.10 * mass, side_height=-0.15)
        followed = stride_of(animal, "walk", 8, tree="pack-fixed", load=load)
        found = measures_of(followed)
        maps.append(np.mean([one.equilibrium.pressure for one in followed.moments], axis=0))
        weight = found.normal_force / found.normal_force.sum()
        shares.append([float(found.share[name] @ weight) for name in ("front", "middle", "rear")])
    what, source = "packs of 80 and 130 kg:", "Lagos 2023: no difference"
    alike = float(np.corrcoef(*maps)[0, 1])
    measured.above(f"{what} correlation of the pressure maps", alike, 0.98, "", source)
    off = 100.0 * np.abs(np.subtract(*shares))
    measured.below(f"{what} thirds apart", off, 3.0, "points", source)


@pytest.mark.slow
def test_the_back_moves_within_what_it_can(measured: Measured) -> None:
    """Licka and Peham 1998 (doi:10.1111/j.2042-3306.1998.tb04511.x), at T16, standing horses.

    Arched as far as it goes it rises by 5.9 % of the withers height, hollowed it falls by 2.4 %,
    bent it goes 4.2 % to a side. No gait may ask for more, and walk for something like a tenth.
    """
    back = back_of("mule")
    for name in ("walk", "trot", "single-foot", "canter"):
        moving = kinematics(back, read_gait(name))
        middle = np.array([np.argmin(np.abs(back.chart.x + 0.28)), len(back.chart.t) // 2])
        node = np.flatnonzero(back.chart.valid).searchsorted(
            np.ravel_multi_index(tuple(middle), back.chart.valid.shape)
        )
        ends = [np.argmin(np.abs(back.chart.x - x)) for x in moving.span]
        rows = [
            np.flatnonzero(back.chart.valid).searchsorted(
                np.ravel_multi_index((end, middle[1]), back.chart.valid.shape)
            )
            for end in ends
        ]
        rest = back.chart.points[back.chart.valid]
        off = []
        for phase in np.arange(24) / 24:
            moved = posture(moving, float(phase)).carried - rest
            off.append(moved[node] - moved[rows].mean(axis=0))  # against the line of both ends
        height = back.withers_height
        low, high = np.min(off, axis=0), np.max(off, axis=0)
        assert low[2] < 0.0 < high[2]
        aside = np.abs([low[1], high[1]]).max()
        for way, moves, most in (("rises", high[2], 5.9), ("falls", -low[2], 2.4),
                                 ("bends", aside, 4.2)):  # fmt: skip
            what = f"the back {way} in a gait, of the withers' height"
            source = "Licka and Peham 1998: as far as it goes"
            measured.below(what, 100.0 * moves / height, most, "%", source)


@pytest.mark.slow
@pytest.mark.parametrize("gait", ["walk", "trot", "single-foot", "canter"])
def test_the_load_means_its_weight(gait: str) -> None:
    """De Cocq 2010: the mean over a stride does not differ from body weight, whatever the gait."""
    factor = load_factor(read_gait(gait), np.arange(48) / 48)
    assert np.isclose(factor.mean(), 1.0, atol=1e-3)
    assert factor.min() >= 0.0
