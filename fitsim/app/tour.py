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
        "Left: a straight bar. It bears at both ends and hardly at all in the middle. Right: the "
        "same bar with some curve.",
        "A bar too straight for the back carries at its ends. More curve fills the middle.",
        {"more_curve": -0.014},
        {},
    ),
    Stop(
        "Over the fat pocket",
        "Left: the bars lie beside the spine and leave the pockets free. Right: set far out, they "
        "ride on them and the rear rocks up.",
        "A good tree over a pocket may rock a little and gap. Weight on the pocket is the fault, "
        "not the gap.",
        {"load": "rider"},
        {
            "load": "rider",
            "front_wider": 0.120,
            "rear_wider": 0.120,
            "front_steeper": 0.20,
            "rear_steeper": 0.20,
        },
    ),
    Stop(
        "Too wide",
        "Left: the usual spread. Right: 30 mm wider on each side, at the same angle. The fronts "
        "go down over the shoulder, and the rear comes up.",
        "Wider than the flat beside the spine is not safer. It sits on the wrong place.",
        {},
        {"front_wider": 0.060, "rear_wider": 0.060},
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
