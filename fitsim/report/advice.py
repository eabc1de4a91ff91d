"""What to change, by stated rules: each piece of advice says what to do and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitsim.draw.quantity import percent, quantity
from fitsim.draw.words import (
    BRIDGED,
    MOSTLY,
    ON_THE_BLADE,
    ON_THE_POCKET,
    TOUCHES,
    UNEVEN,
    case_title,
    end_lift,
    lifted_end,
    what_would_hold,
    working_fit,
    zone_share,
)
from fitsim.measure.spread import USED_TO, inner_edges

if TYPE_CHECKING:
    from fitsim.draw.quantity import System
    from fitsim.measure.measures import Measures
    from fitsim.study.fit import Fit, FitSet

UNSURE = 0.010
"""m: a mark less certain than this is worth pointing at on the animal."""


@dataclass(frozen=True)
class Advice:
    """One thing to try, and the finding it follows from."""

    do: str
    why: str


def headline(fitset: FitSet) -> str:
    """Return the finding that matters most, in a few words."""
    fit = working_fit(fitset)
    if fit is None or fit.measures is None:
        return "This tree stays on under none of these rigs"
    m, under = fit.measures, case_title(fit.case.name).lower()
    spine, end = m.zones.get("spine"), lifted_end(m)
    third = max(("front", "middle", "rear"), key=lambda name: m.share[name])
    findings = (
        (spine is not None and spine.force >= TOUCHES, "The bars touch the spine"),
        (zone_share(m, "scapula") >= ON_THE_BLADE, "It presses on the shoulder blades"),
        (zone_share(m, "fat_pocket") >= ON_THE_POCKET, "It presses on the fat pockets"),
        (end is not None, f"The {end} tips lift even under {under}"),
        (m.share[third] >= MOSTLY, f"Most of the load sits on the {third} third"),
    )
    first = next((words for met, words in findings if met), None)
    return first or f"The load lies along the bars under {under}"


def advice(fitset: FitSet, system: System = "metric") -> list[Advice]:
    """Return what to try, most pressing first; never empty.

    Parameters
    ----------
    fitset : all cases of one tree on one back.
    system : units people chose.
    """
    found: list[Advice] = []
    fit = working_fit(fitset)
    if fit is not None and fit.measures is not None:
        found += [
            *_zones(fit.measures),
            *_spread(fitset, fit, system),
            *_along(fit, system),
            *_cinches(fitset, system),
        ]
    found += [*_lost(fitset), *_marks(fitset, system)]
    if not found:
        found = [
            Advice(
                "Nothing here asks for a change. Confirm it on the standing and moving animal.",
                "None of the rules of this report was met under the rig the animal works in.",
            )
        ]
    return found


def _lost(fitset: FitSet) -> list[Advice]:
    """Advice for cases in which the tree does not stay on."""
    return [
        Advice(
            f"Do not rely on {case_title(name).lower()} with this tree.",
            f"It {fit.equilibrium.leaves or 'leaves the back'}. "
            + what_would_hold(fit.equilibrium.leaves or ""),
        )
        for name, fit in fitset.fits.items()
        if fit.measures is None
    ]


def _zones(m: Measures) -> list[Advice]:
    """Advice on zones that should stay free."""
    found = []
    spine = m.zones.get("spine")
    if spine is not None and spine.force >= TOUCHES:
        found.append(
            Advice(
                "Widen the spread until the inner edges clear the spine by about 25 mm (1 in).",
                "The bars touch the spine. The 25 mm is common practice, no source.",
            )
        )
    if (share := zone_share(m, "scapula")) >= ON_THE_BLADE:
        found.append(
            Advice(
                "Set the tree further back, or give the fronts more room: more flare or spread.",
                f"{percent(share)} of the load is on the shoulder blades, which move each stride.",
            )
        )
    if (share := zone_share(m, "fat_pocket")) >= ON_THE_POCKET:
        found.append(
            Advice(
                "Bring the bars closer to the spine (not nearer than about 25 mm), or try a tree "
                "with less spread.",
                f"{percent(share)} of the load is on the fat pockets. Over a fat pocket a good "
                "tree may still rock: judge it by being steady with the shoulder free "
                "(common practice, no source).",
            )
        )
    return found


def _spread(fitset: FitSet, fit: Fit, system: System) -> list[Advice]:
    """Advice on bars set wider than the flat beside the spine."""
    edge = min(inner_edges(fitset.back.chart, fit.equilibrium).values())
    if not edge > USED_TO:
        return []
    far, used = quantity(edge, "length", system), quantity(USED_TO, "length", system)
    return [
        Advice(
            "Set the bars closer to the spine: 25 mm (1 in) beside it works.",
            f"Their inner edges lie {far} out. More than {used} is past the flat beside most "
            "spines and brings them over the fat pockets (common practice, no source).",
        )
    ]


def _along(fit: Fit, system: System) -> list[Advice]:
    """Advice on how the load lies along and across the bars."""
    m, found = fit.measures, []
    if m is None:
        return []
    for side, gap in m.bridging.items():
        if gap.length_share >= BRIDGED:
            found.append(
                Advice(
                    f"Give the {side} bar more lengthwise curve, or fill the hollow with padding.",
                    f"It bridges: {percent(gap.length_share)} of its length hangs, "
                    f"{quantity(gap.depth, 'length', system)} at the deepest.",
                )
            )
    trims = {
        "front": "Ease the front cinch or snug the rear one, and check the angle in front.",
        "middle": "Try bars with less lengthwise curve: these rest on their middle.",
        "rear": "Ease the rear cinch or snug the front one, and check the angle behind.",
    }
    third = max(trims, key=lambda name: m.share[name])
    if m.share[third] >= MOSTLY:
        found.append(
            Advice(trims[third], f"{percent(m.share[third])} of the load is on the {third} third.")
        )
    found += [
        Advice(
            "Check that the tree sits square and both cinches pull alike.",
            f"{percent(m.share[side])} of the load is on the {side}. "
            "Few backs are the same on both sides, so it may be the animal.",
        )
        for side in ("left", "right")
        if m.share[side] >= 0.5 + UNEVEN
    ]
    return found


def _cinches(fitset: FitSet, system: System) -> list[Advice]:
    """Advice to keep the cinches that hold the ends down, where the cases show that they do."""
    both = fitset.fits.get("both")
    if both is None or both.measures is None:
        return []
    needed, why = [], []
    for alone, other in (("front", "rear"), ("rear", "front")):
        fit = fitset.fits.get(alone)
        if fit is None or fit.measures is None or lifted_end(fit.measures) != other:
            continue
        if lifted_end(both.measures) != other:
            lift = quantity(end_lift(fit.measures, other), "length", system)
            share = percent(fit.measures.share[alone])
            needed.append(other)
            why.append(
                f"Without the {other} one the {other} tips lift {lift} and {share} of the load "
                f"goes on the {alone} third."
            )
    if not needed:
        return []
    which = "both cinches" if len(needed) > 1 else f"the {needed[0]} cinch"
    return [Advice(f"Keep {which} snug.", " ".join(why))]


def _marks(fitset: FitSet, system: System) -> list[Advice]:
    """Advice to point at places that were only estimated and matter."""
    unsure = [
        mark
        for name, mark in fitset.back.marks.items()
        if name.startswith(("scapula_edge", "fat_pocket"))
        and mark.source == "estimated"
        and mark.sd_m >= UNSURE
    ]
    if not unsure:
        return []
    worst = quantity(max(mark.sd_m for mark in unsure), "length", system)
    return [
        Advice(
            "Feel for the rear edge of the shoulder blades and the fat pockets, mark them, refit.",
            f"They were estimated from the scan, give or take {worst} (one standard deviation).",
        )
    ]
