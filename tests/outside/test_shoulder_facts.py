"""The shoulder in movement, as people who fit trees know it: common practice, no source.

Nothing was tuned for these; the figures are in docs/validation.md.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fitsim.study.stride import stride
from fitsim.tree.adjust import adjusted
from fitsim.tree.read import read_tree
from tests.fits import back_of, lie_of_the_back
from tests.strides import measures_of, stride_of

if TYPE_CHECKING:
    from tests.validation.measured import Measured

ANIMALS = [
    "mule",
    pytest.param("pony", marks=pytest.mark.slow),
    pytest.param("horse", marks=pytest.mark.slow),
    pytest.param("donkey", marks=pytest.mark.slow),
]
PRACTICE = "common practice, no source"
SIDES = ("left", "right")


@pytest.mark.parametrize("animal", ANIMALS)
def test_front_cinch_alone_holds_the_blades_down_most_and_rear_alone_least(
    animal: str, measured: Measured
) -> None:
    front, both, rear = (
        measures_of(stride_of(animal, "walk", 8, case)).shoulders
        for case in ("front", "both", "rear")
    )
    for name, of in (("front cinch", front), ("both", both), ("rear cinch", rear)):
        left, right = (100.0 * of[side].restricted for side in SIDES)
        measured.told(
            animal, f"{name}: rise taken back, left / right", f"{left:.0f} / {right:.0f} %"
        )
    for side in SIDES:
        assert front[side].restricted > both[side].restricted > rear[side].restricted
        # Rear alone lifts the bar fronts off: what is left is a touch.
        what = "share of the blade's rise taken back, rear cinch alone"
        measured.below(what, 100.0 * rear[side].restricted, 10.0, "%", PRACTICE)
        more = 100.0 * (front[side].restricted - both[side].restricted)
        what = "the same, front cinch alone over both"
        measured.above(what, more, 0.0, "points", PRACTICE)
        assert front[side].work > rear[side].work
        assert both[side].work > rear[side].work


@pytest.mark.parametrize("animal", ANIMALS)
def test_wider_than_the_flat_loads_the_fat_pocket_and_makes_the_shoulder_work(
    animal: str, measured: Measured
) -> None:
    """From 25 to 50 mm beside the spine, with arches that follow the back's slope there.

    The share of its rise that the bar takes back is of the edge abreast of the bar, and need not
    grow when the bar lies abreast of more of it: what the shoulder has to do for it does.
    """
    back, found = back_of(animal), []
    for inner in (0.025, 0.050):
        changes: dict[str, object] = {
            "arches.front.inner_edge": inner,
            "arches.rear.inner_edge": inner + 0.008,
        }
        for arch, x in (("front", -0.03), ("rear", -0.40)):
            changes[f"arches.{arch}.angle"] = lie_of_the_back(back, x, inner + 0.05)
        tree = adjusted(read_tree("riding-middle"), changes)
        found.append(measures_of(stride(back, tree, "walk", phases=8)))
    close, wide = found
    for name, of in (("25 mm beside the spine", close), ("50 mm", wide)):
        work = sum(of.shoulders[side].work for side in SIDES)
        measured.told(animal, f"{name}: work of both blades", f"{work:.1f} J")
    for side in SIDES:
        ratio = wide.shoulders[side].work / close.shoulders[side].work
        what = "work of a blade in a stride, bars 50 mm from the spine over 25 mm"
        measured.above(what, ratio, 1.1, "", PRACTICE)
        assert wide.shoulders[side].lift_work > close.shoulders[side].lift_work
    on_pocket = [sum(one.zones[f"fat_pocket_{side}"].mean() for side in SIDES) for one in found]
    if animal != "horse":  # its statue has no fat behind the shoulder, and its pocket lies lower
        assert on_pocket[1] > on_pocket[0] + 1.0  # N


@pytest.mark.parametrize(
    "animal", [pytest.param(one, marks=pytest.mark.slow) for one in ("mule", "pony")]
)
def test_a_tree_set_forward_rides_on_the_blades_and_one_set_back_frees_them(animal: str) -> None:
    back, tree = back_of(animal), read_tree("riding-middle")
    forward, usual, behind = (
        measures_of(stride(back, tree, "walk", phases=8, at=at)).shoulders
        for at in (0.05, 0.0, -0.05)
    )
    for side in SIDES:
        assert forward[side].impulse > usual[side].impulse > behind[side].impulse
        assert forward[side].work > behind[side].work
