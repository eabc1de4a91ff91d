"""The guided tour: short demonstrations, each a setting of the screen and a few plain words."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

Play = Literal["tighten", "stride", ""]


@dataclass(frozen=True)
class Stop:
    """One demonstration.

    Attributes
    ----------
    title : in a few words.
    look : what to look at.
    why : what it means for whoever cinches a tree.
    scenario : fields of `Scenario` that differ from the usual ones.
    beside : a second scenario to compare with; None for one view.
    play : what runs by itself.
    """

    title: str
    look: str
    why: str
    scenario: Mapping[str, Any] = field(default_factory=dict)
    beside: Mapping[str, Any] | None = None
    play: Play = ""


_LOOSE = {"rear_left": 0.0, "rear_right": 0.0}

TOUR = (
    Stop(
        "Front cinch, rear cinch, both",
        "Watch the colour go to the front, and the rear tips come off. Then the rear cinch draws "
        "down and the front comes free.",
        "One cinch alone tips the tree. Two, drawn evenly, lay it along the back.",
        play="tighten",
    ),
    Stop(
        "Bridging",
        "Left: a straight bar. It bears at both ends; blue hatching is daylight under its middle. "
        "Right: the same bar with more curve.",
        "A bar too straight for the back carries at its ends. More curve fills the middle.",
        {"more_curve": -0.014, "load": "rider"},
        {"more_curve": 0.004, "load": "rider"},
    ),
    Stop(
        "Rocking over a fat pocket",
        "Left: spread so that the bars lie beside the pockets. Right: set wide, they ride on them.",
        "A good tree over a pocket may rock a little and gap. Pressure on the pocket is the fault, "
        "not the gap.",
        {"load": "rider"},
        {"load": "rider", "front_wider": 0.050, "rear_wider": 0.050},
    ),
    Stop(
        "Too wide",
        "The load goes out along the bars' outer edges and down over the shoulder.",
        "Wider than the flat beside the spine is not safer. It sits lower, and on the wrong place.",
        {"front_wider": 0.050, "rear_wider": 0.050, "front_steeper": -0.10},
        {},
    ),
    Stop(
        "The shoulder in motion",
        "The shoulder blade glides back under the bar at every step. Watch the front of each bar "
        "in turn.",
        "What looks free on a standing animal may hold the shoulder as it walks.",
        {"load": "rider"},
        play="stride",
    ),
    Stop(
        "Uneven packs",
        "Left: packs alike. Right: the left pack 20 kg heavier. The tree rolls, and one bar does "
        "most of the work.",
        "Weigh the packs. A few kilograms show; a tighter cinch only hides them.",
        {"tree": "pack-fixed", "load": "pack"},
        {"tree": "pack-fixed", "load": "pack", "uneven": 20.0},
    ),
)
"""Six, in the order of a lesson."""
