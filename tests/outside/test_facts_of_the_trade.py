"""Facts of the trade on four animals: common practice, no source.

Nothing was tuned for them. Where a fact holds only under a condition, the condition is stated and
tested too; the figures are in docs/validation.md.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.rig.rig import Cinch, Rig
from fitsim.tree.read import read_tree
from tests.fits import OURS, THEIRS, back_of, cinched, fit_of, lie_of_the_back, measures, spread_fit

if TYPE_CHECKING:
    from fitsim.measure.measures import Measures
    from fitsim.study.fit import FitSet
    from tests.validation.measured import Measured

PRACTICE = "common practice, no source"
ANIMALS = ("mule", "pony", "horse", "donkey")
FIXED = ("riding-middle", "pack-fixed")  # bars fixed to their arches
SLOW = ("riding-narrow", "riding-wide")


def is_slow(animal: str, tree: str) -> bool:
    """Left to `make slow`: the other spreads, and the second tree on the borrowed animals."""
    return tree in SLOW or (animal in THEIRS and tree == "pack-fixed")


ON = [
    pytest.param(animal, tree, marks=[pytest.mark.slow] if is_slow(animal, tree) else [])
    for tree in (*FIXED, *SLOW)
    for animal in ANIMALS
]
# Of the bar's length without skin under it, between two stretches that bear: it bridges.
BRIDGES = 0.15


def bridging(found: Measures) -> float:
    """Share of the bar's length that hangs between its ends, the worse side."""
    return max(gap.length_share for gap in found.bridging.values())


@pytest.mark.parametrize(("animal", "tree"), ON)
def test_front_cinch_alone_drives_the_fronts_in(animal: str, tree: str, measured: Measured) -> None:
    """At least 60 % on the front third; rear third under 25 % and its tips clear, or it bridges.

    A bar whose curve is flatter than the back rests on both ends whatever the cinch: the rear
    third then carries what the lever rule gives it (the horse, whose back is far more hollow).
    """
    found = measures(fit_of(animal, tree), "front")
    front, rear = 100.0 * found.share["front"], 100.0 * found.share["rear"]
    measured.above("front cinch alone: load on the front third", front, 60.0, "%", PRACTICE)
    if bridging(found) < BRIDGES:
        measured.below("front cinch alone: load on the rear third", rear, 25.0, "%", PRACTICE)
        lift = 1e3 * min(found.lift["rear_left"], found.lift["rear_right"])
        measured.above("front cinch alone: lift of the rear tips", lift, 5.0, "mm", PRACTICE)
    else:
        assert animal == "horse"  # of the four
        measured.below("the same where the bars bridge (horse): rear third", rear, 30.0, "%",
                       PRACTICE)  # fmt: skip


@cache
def mirrored_rig(animal: str, tree: str) -> FitSet:
    """The rear cinch as tight as the front one, and as far from its own end of the bar."""
    built = read_tree(tree)
    rigging = built.settings["rigging"]
    assert isinstance(rigging, dict)
    place = float(rigging["front"])
    length = built.bars[0].underside.front - built.bars[0].underside.rear
    rig = Rig("mirror", Cinch(180.0, 180.0, place), Cinch(180.0, 180.0, length - place))
    return cinched(back_of(animal), built, rig, ("rear",))


@pytest.mark.parametrize(("animal", "tree"), ON)
def test_rear_cinch_alone_is_the_mirror_of_it(animal: str, tree: str, measured: Measured) -> None:
    """60 % on the rear third and under 25 % on the front third, when the rigging is the mirror.

    The usual rear cinch is looser and farther from its end than the front one, so that the tree's
    own weight counts for more: that is the next test. Of the horse, whose bars bridge
    two thirds of their length, only the first half is asked: they rest on both ends whatever the
    cinch (24-30 % in front).
    """
    found = measures(mirrored_rig(animal, tree), "rear")
    front, rear = 100.0 * found.share["front"], 100.0 * found.share["rear"]
    what = "rear cinch alone, rigged as the front one's mirror:"
    measured.above(f"{what} load on the rear third", rear, 60.0, "%", PRACTICE)
    if animal != "horse":
        measured.below(f"{what} load on the front third", front, 25.0, "%", PRACTICE)
    if bridging(found) < BRIDGES:
        lift = 1e3 * min(found.lift["front_left"], found.lift["front_right"])
        measured.above(f"{what} lift of the front tips", lift, 5.0, "mm", PRACTICE)


@pytest.mark.parametrize(("animal", "tree"), ON)
def test_usual_rear_cinch_loads_the_rear_and_frees_the_front(
    animal: str, tree: str, measured: Measured
) -> None:
    """Most of the load on the rear third, less on the front third than front or both give it."""
    fitset = fit_of(animal, tree)
    front, rear, both = (measures(fitset, case) for case in ("front", "rear", "both"))
    what = "rear cinch alone as usual (looser): load on the rear third"
    measured.above(what, 100.0 * rear.share["rear"], 50.0, "%", PRACTICE)
    assert rear.share["rear"] > rear.share["middle"] > 0.0 or bridging(rear) >= BRIDGES
    assert rear.share["front"] < both.share["front"] < front.share["front"]
    for side in ("left", "right"):
        assert rear.zones[f"scapula_{side}"].force <= front.zones[f"scapula_{side}"].force


def tell(fitset: FitSet, row: str, measured: Measured) -> None:
    """Keep shares by third, and lift of the tips that a single cinch lets go, animal by animal."""
    ends = {"front": "rear", "rear": "front", "both": None}
    for case, lifted in ends.items():
        found = measures(fitset, case)
        shares = " / ".join(
            f"{100.0 * found.share[one]:.0f}" for one in ("front", "middle", "rear")
        )
        measured.told(row, "both" if lifted is None else f"{case} cinch", f"{shares} %")
        if lifted is not None:
            lift = sorted(1e3 * found.lift[f"{lifted}_{side}"] for side in ("left", "right"))
            told = dict.fromkeys(f"{one:.0f}" for one in lift)  # once where both sides are alike
            measured.told(row, f"its {lifted} lift", f"{' to '.join(told)} mm")
    measured.told(row, "bridges", f"{100.0 * bridging(measures(fitset, 'both')):.0f} %")


@pytest.mark.parametrize(("animal", "tree"), ON)
def test_both_cinches_level_it(animal: str, tree: str, measured: Measured) -> None:
    """Shares of both ends lie between those under either cinch alone."""
    fitset = fit_of(animal, tree)
    tell(fitset, f"{animal}, {tree}", measured)
    front, rear, both = (measures(fitset, case).share for case in ("front", "rear", "both"))
    for end in ("front", "rear"):
        low, high = sorted((front[end], rear[end]))
        between = (both[end] - low) / (high - low)
        what = f"both cinches: load on the {end} third, from 0 under one alone to 1 under the other"
        measured.within(what, between, (0.0, 1.0), "", PRACTICE)


@pytest.mark.parametrize(
    "animal", [*OURS, *(pytest.param(one, marks=pytest.mark.slow) for one in THEIRS)]
)
def test_pivoting_bars_even_out_a_single_cinch(animal: str) -> None:
    """Bars that rock under their arches take a cinch's lever away until they meet their stops.

    So the first fact is one of fixed bars: here the front third always carries less.
    """
    pivoting = measures(fit_of(animal, "pack-pivoting"), "front").share
    fixed = measures(fit_of(animal, "pack-fixed"), "front").share
    assert pivoting["front"] < fixed["front"]
    assert pivoting["front"] > 0.40


SPREADS = (0.025, 0.055, 0.085)  # m, inner edge from the spine line


def on_pockets(fitset: FitSet, case: str = "front") -> float:
    """Force on both fat pockets, N."""
    zones = measures(fitset, case).zones
    return zones["fat_pocket_left"].force + zones["fat_pocket_right"].force


@pytest.mark.parametrize("animal", ["mule", "pony", pytest.param("donkey", marks=pytest.mark.slow)])
def test_wider_spread_puts_the_bars_on_the_fat_pocket(animal: str) -> None:
    """The pocket's force rises as bars set at the lie of the back move out, under every cinch."""
    fitsets = [spread_fit(animal, edge, follows=True) for edge in SPREADS]
    for case in ("front", "both"):
        forces = [on_pockets(fitset, case) for fitset in fitsets]
        assert forces[0] <= forces[1] <= forces[2]
        total = measures(fitsets[-1], case).normal_force
        assert forces[2] > max(forces[0], 0.0) + 0.01 * total


def test_wider_spread_at_one_angle_does_too_on_a_broad_back() -> None:
    """On the pony, where 30 degrees is the lie of the back that far out as well."""
    forces = [on_pockets(spread_fit("pony", edge, follows=False)) for edge in SPREADS]
    assert forces[0] <= forces[1] < forces[2]


def test_but_less_on_a_slab_sided_mule_where_the_bar_stands_on_its_inner_edge() -> None:
    """Why the angle must follow: that far out the mule is far steeper than the bar's 30 degrees.

    Its outer part, which is over the pocket, then hangs: less than half of what it carries there
    when the bar lies flat on the flank.
    """
    far = SPREADS[-1]
    steep = {animal: lie_of_the_back(back_of(animal), -0.03, far + 0.05) for animal in OURS}
    assert np.degrees(steep["mule"]) > 38.0
    assert np.degrees(steep["pony"]) < 35.0
    hanging, lying = (spread_fit("mule", far, follows=follows) for follows in (False, True))
    assert on_pockets(hanging) < 0.5 * on_pockets(lying)


@pytest.mark.parametrize("animal", ANIMALS)
def test_bars_an_inch_from_the_spine_leave_it_and_the_pocket_alone(
    animal: str, measured: Measured
) -> None:
    """25 mm from the spine: nothing on the spine strip, nor on pockets that lie clear of the bar.

    The bars are of one size: a small animal's pocket begins closer to the spine than a bar 115 mm
    wide reaches (the donkey's 120 mm from it), and then its edge does carry a little.
    """
    fitset = spread_fit(animal, 0.025, follows=False)
    pocket = next(zone for zone in fitset.back.zones if zone.name == "fat_pocket_left")
    reach = 0.025 + 0.115
    overlaps = float(pocket.outline[:, 1].min()) < reach - 0.001
    assert overlaps is (animal == "donkey")
    for case in ("front", "rear", "both"):
        found = measures(fitset, case)
        spine = 100.0 * found.zones["spine"].force / found.normal_force
        pocket = 100.0 * on_pockets(fitset, case) / found.normal_force
        what = "bars 25 mm from the spine: load on the"
        measured.below(f"{what} spine", spine, 1.0, "%", PRACTICE)
        where = "pockets under the bar (donkey)" if overlaps else "pockets clear of the bar"
        measured.below(f"{what} {where}", pocket, 8.0 if overlaps else 0.5, "%", PRACTICE)
