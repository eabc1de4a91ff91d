"""What a case shows, in a horseman's words, by rules that are stated and kept in one place."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fitsim.draw.quantity import percent, percents, quantity

if TYPE_CHECKING:
    from fitsim.draw.quantity import System
    from fitsim.measure.measures import Hotspot, Measures
    from fitsim.study.fit import Fit, FitSet

CASE_TITLES = {
    "front": "Front cinch only",
    "rear": "Rear cinch only",
    "both": "Both cinches",
    "rider": "Both cinches and rider",
    "pack": "Both cinches and pack",
}
ZONE_WORDS = {
    "spine": "spine",
    "withers": "withers",
    "scapula": "shoulder blade",
    "fat_pocket": "fat pocket",
    "long_muscle": "long muscle",
    "loin": "loin",
    "ribs": "ribs",
}

# The limits below decide which sentence is said. They are this project's choices, listed in the
# report; none is a threshold of harm.
MOSTLY = 0.5
"""A third of the bar that carries this share or more is named as carrying the load."""
LIFTED = 0.010
"""m: a tip is said to lift when it clears the back by this much more than the nearest tip."""
ON_THE_BLADE = 0.15
"""Share of the load on the shoulder blades from which it is spoken of."""
ON_THE_POCKET = 0.15
"""The same for the fat pockets."""
UNEVEN = 0.06
"""Share by which one side may pass one half before it is spoken of."""
BRIDGED = 0.15
"""Share of the bar's length without contact, between two that touch, from which it bridges."""
TOUCHES = 1.0
"""N: force on the spine from which it is said to be touched."""

RULES = (
    f"A third of the bar is named when it carries {percent(MOSTLY)} of the load or more.",
    f"A tip 'lifts' when it clears the back by {LIFTED * 1e3:.0f} mm more than the nearest tip.",
    (
        f"Shoulder blades are spoken of from {percent(ON_THE_BLADE)} of the load, fat pockets "
        f"from {percent(ON_THE_POCKET)}, the spine from {TOUCHES:.0f} N."
    ),
    f"A bar 'bridges' when a gap between two touching runs is {percent(BRIDGED)} of its length.",
    f"Sides are 'uneven' when one carries {percent(0.5 + UNEVEN)} or more.",
    "These limits are choices that decide what is said first; none marks where harm begins.",
)


def case_title(name: str) -> str:
    """Return a case's name in words.

    Examples
    --------
    >>> case_title("front"), case_title("my_rig")
    ('Front cinch only', 'My rig')
    """
    return CASE_TITLES.get(name, name.replace("_", " ").capitalize())


def zone_words(zone: str, side: str = "") -> str:
    """Return a zone's name in words, with its side in front.

    Examples
    --------
    >>> zone_words("scapula", "left"), zone_words("spine"), zone_words("fat_pocket_right")
    ('left shoulder blade', 'spine', 'right fat pocket')
    """
    for end in ("left", "right"):
        if zone.endswith("_" + end):
            zone, side = zone.removesuffix("_" + end), end
    words = ZONE_WORDS.get(zone, zone.replace("_", " ") or "no zone")
    return f"{side} {words}" if side in ("left", "right") and zone != "spine" else words


UNSURE_PEAK = " (unsure)"
"""Behind a hardest pressure that lies where a hole in the scan was filled."""


def peak_unsure(measures: Measures) -> bool:
    """Return whether the hardest pressure lies where a hole in the scan was filled."""
    return bool(measures.hotspots) and measures.hotspots[0].unsure


def spot_words(spot: Hotspot) -> str:
    """Return where a hotspot lies, and whether a hole in the scan was filled there.

    Examples
    --------
    >>> from fitsim.measure.measures import Hotspot
    >>> spot_words(Hotspot(1, "long_muscle", "left", 0.0, 0.1, 0.0, 2e4, 1e-3, unsure=True))
    'Left long muscle (unsure: filled hole)'
    """
    where = zone_words(spot.zone, spot.side).capitalize()
    return f"{where} (unsure: filled hole)" if spot.unsure else where


def zone_share(measures: Measures, zone: str) -> float:
    """Return the share of the load on a zone, both sides together, 0 to 1."""
    names = (zone, f"{zone}_left", f"{zone}_right")
    on = sum(measures.zones[name].force for name in names if name in measures.zones)
    return on / measures.normal_force if measures.normal_force > 0 else 0.0


def zone_peak(measures: Measures, zone: str) -> float:
    """Return the hardest pressure on a zone, either side, Pa."""
    names = (zone, f"{zone}_left", f"{zone}_right")
    return max((measures.zones[name].peak for name in names if name in measures.zones), default=0.0)


def end_lift(measures: Measures, end: str) -> float:
    """Return the mean clearance of the tips at one end ("front" or "rear"), m; nan if unknown."""
    tips = [measures.lift.get(f"{end}_{side}", math.nan) for side in ("left", "right")]
    known = [tip for tip in tips if math.isfinite(tip)]
    return sum(known) / len(known) if known else math.nan


def lifted_tips(measures: Measures) -> tuple[str, ...]:
    """Return the tips that clear the back by `LIFTED` more than the nearest tip does."""
    known = {tip: clear for tip, clear in measures.lift.items() if math.isfinite(clear)}
    nearest = min(known.values(), default=0.0)
    return tuple(tip for tip, clear in known.items() if clear >= nearest + LIFTED)


def lifted_end(measures: Measures) -> str | None:
    """Return the one end of the tree whose tips both lift, "front" or "rear", or None."""
    tips = lifted_tips(measures)
    both = [end for end in ("front", "rear") if {f"{end}_left", f"{end}_right"} <= set(tips)]
    return both[0] if len(both) == 1 else None


def load_sentence(measures: Measures) -> str:
    """Return one sentence on how the load lies along the bar."""
    thirds = {name: measures.share[name] for name in ("front", "middle", "rear")}
    most = max(thirds, key=lambda name: thirds[name])
    if thirds[most] >= MOSTLY:
        return f"{percent(thirds[most])} of the load on the {most} third."
    parts = zip(percents(list(thirds.values())), thirds, strict=True)
    along = ", ".join(f"{part} {name}" for part, name in parts)
    return f"Load along the bar: {along}."


def lift_sentence(measures: Measures, system: System) -> str:
    """Return one sentence on what lifts."""
    end, tips = lifted_end(measures), lifted_tips(measures)
    if end is not None:
        return (
            f"{end.capitalize()} tips lift {quantity(end_lift(measures, end), 'length', system)}."
        )
    if not tips:
        return "Neither end lifts."
    most = max(tips, key=lambda tip: measures.lift[tip])
    clear = quantity(measures.lift[most], "length", system)
    return f"The {most.replace('_', ' ')} tip lifts {clear}."


def touch_sentences(measures: Measures) -> list[str]:
    """Return a sentence for each zone that should stay free and does not."""
    said = []
    if (spine := measures.zones.get("spine")) and spine.force >= TOUCHES:
        said.append("It touches the spine.")
    if (share := zone_share(measures, "scapula")) >= ON_THE_BLADE:
        said.append(f"{percent(share)} of the load is on the shoulder blades.")
    if (share := zone_share(measures, "fat_pocket")) >= ON_THE_POCKET:
        said.append(f"{percent(share)} of the load is on the fat pockets.")
    return said


def shape_sentences(measures: Measures, system: System) -> list[str]:
    """Return sentences on bridging and on uneven sides."""
    said = []
    for side, gap in measures.bridging.items():
        if gap.length_share >= BRIDGED:
            depth = quantity(gap.depth, "length", system)
            said.append(f"The {side} bar bridges: a gap {depth} deep in its middle.")
    said += [
        f"{percent(measures.share[side])} of the load is on the {side}."
        for side in ("left", "right")
        if measures.share[side] >= 0.5 + UNEVEN
    ]
    return said


def verdict(fit: Fit, system: System = "metric") -> list[str]:
    """Return what one case shows, most telling sentence first.

    Parameters
    ----------
    fit : one case.
    system : "metric" or "inch".
    """
    if fit.measures is None or not fit.equilibrium.found:
        way = fit.equilibrium.leaves or "leaves the back"
        return [f"The tree does not stay: it {way}.", what_would_hold(way)]
    m = fit.measures
    return [
        load_sentence(m),
        lift_sentence(m, system),
        *touch_sentences(m),
        *shape_sentences(m, system),
    ]


def what_would_hold(way: str) -> str:
    """Return what would keep a tree that leaves in the given way.

    Examples
    --------
    >>> what_would_hold("tips forward")
    'A rear cinch, or more load behind the middle of the bars, would hold it.'
    """
    if "forward" in way and ("tip" in way or "pitch" in way):
        return "A rear cinch, or more load behind the middle of the bars, would hold it."
    if "back" in way and ("tip" in way or "pitch" in way):
        return "A front cinch, or more load before the middle of the bars, would hold it."
    if "roll" in way:
        return "Even loads left and right, and both cinches snug, would hold it."
    if "forward" in way:
        return "A breeching or crupper, or a pad that grips better, would hold it."
    if "back" in way:
        return "A breast strap, or a pad that grips better, would hold it."
    return "Snug cinches front and rear would hold it better."


def working_fit(fitset: FitSet) -> Fit | None:
    """Return the case the animal works under: rider or pack, else both cinches, else any held."""
    order = ("rider", "pack", "both", *fitset.fits)
    held = (fitset.fits[name] for name in order if name in fitset.fits)
    return next((fit for fit in held if fit.measures is not None), None)
