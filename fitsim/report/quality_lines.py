"""The quality card in words and as numbers for `fitsim scan`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.report.coat_words import coat_facts, coat_words
from fitsim.units import show_length

if TYPE_CHECKING:
    from fitsim.back.high_spots import Spot
    from fitsim.back.quality import QualityCard
    from fitsim.back.standing import Standing
    from fitsim.units import System

PAGE = "docs/how-to-scan-a-back.md"
"""Where the paragraphs are that the advice names."""

POCKET_SD = 0.002
"""m: how far off the height of a fat pocket may be, on generated backs (1.8 mm was the most)."""


def card_lines(card: QualityCard, system: System = "metric") -> list[str]:
    """Return the quality card in a few plain lines.

    Parameters
    ----------
    card : QualityCard
    system : {"metric", "inch"}

    Returns
    -------
    list of str
    """
    measured = (
        f"  Measured: left {100 * card.cover_left:.0f} %, right {100 * card.cover_right:.0f} %, "
        f"{len(card.holes)} holes"
    )
    lines = [
        "Quality where a tree lies:",
        measured,
        f"  Noise: {_size(card.noise_sd, system)} (standard deviation, sure to about a fifth)",
        f"  Left and right differ by {_size(card.asymmetry, system)} (root mean square)"
        + (f", the {card.fuller} is fuller" if card.fuller else ""),
        *(f"  {line}" for line in _standing_lines(card.standing, system)),
        f"  {coat_line(card, system)}",
        *(f"  {_pocket(side, spot, system)}" for side, spot in card.spots.pockets.items()),
        *(f"  {_spot(spot, system)}" for spot in card.spots.spots),
    ]
    again = [f'  {advice.what} See "{advice.paragraph}" in {PAGE}.' for advice in card.advice]
    return [*lines, *(["To do better:", *again] if again else ["Nothing needs scanning again."])]


def card_facts(card: QualityCard) -> dict[str, object]:
    """Return the quality card as numbers with their units in the names.

    Parameters
    ----------
    card : QualityCard

    Returns
    -------
    dict
        For `fitsim scan --json`; what is not known is None.
    """
    return {
        "bearing_area_measured": {"left": card.cover_left, "right": card.cover_right},
        "noise_sd_mm": _mm(card.noise_sd),
        "asymmetry_rms_mm": _mm(card.asymmetry),
        "fuller": card.fuller or None,
        "standing": _standing_facts(card.standing),
        "unit_evidence": card.unit_evidence,
        "coat": None if card.coat is None else coat_facts(card.coat),
        "holes": [
            {"x_mm": 1e3 * x, "t_mm": 1e3 * t, "width_mm": 1e3 * width, "area_cm2": 1e4 * area}
            for x, t, width, area in card.holes.tolist()
        ],
        "spots": [_facts(spot) for spot in card.spots.spots],
        "fat_pockets": {
            side: None if spot is None else _facts(spot)
            for side, spot in card.spots.pockets.items()
        },
        "advice": [
            {"what": advice.what, "see": PAGE, "paragraph": advice.paragraph}
            for advice in card.advice
        ],
    }


def coat_line(card: QualityCard, system: System = "metric") -> str:
    """Return whether a coat was told and what was done, or how to tell it.

    Parameters
    ----------
    card : QualityCard
    system : {"metric", "inch"}
    """
    if card.traced:
        return "Coat: the tracing curve lay on pressed hair, so nothing is taken off"
    if card.coat is None:
        return (
            "Coat: not told. Hair makes a back look bigger all round, by most of the depth it "
            f'stands: measure that and tell it with --coat. See "The coat" in {PAGE}.'
        )
    return coat_words(card.coat, system)


def _size(length: float | None, system: System) -> str:
    if length is None:
        return "not known"
    return f"{1e3 * length:.1f} mm" if system == "metric" else f"{length / 0.0254:.2f} in"


def _standing_lines(stood: Standing | None, system: System) -> list[str]:
    """How the animal stood; what may be nothing is said to be nothing, with its limit."""
    if stood is None:
        return ["Stance: not known, too little of withers or hips was scanned on both sides"]
    tilt, sd = (float(np.degrees(value)) for value in (stood.hip_tilt, stood.hip_tilt_sd))
    lower = "right" if tilt > 0 else "left"
    hips = f"the hips are level with the withers, within {2 * sd:.1f} degrees"
    if abs(tilt) > 2 * sd:
        hips = (
            f"the {lower} hip is the lower, the hips tilted {abs(tilt):.1f} degrees against the "
            f"withers (give or take {sd:.1f})"
        )
    spine = f"the spine is straight from withers to hips, within {_size(2 * stood.bend_sd, system)}"
    if abs(stood.bend) > 2 * stood.bend_sd:
        spine = (
            f"between withers and hips the spine bends {_size(abs(stood.bend), system)} to the "
            f"{'left' if stood.bend > 0 else 'right'} (give or take {_size(stood.bend_sd, system)})"
        )
    return [f"Stance: {hips}", f"Stance: {spine}", "Stance is told here, not corrected for"]


def _standing_facts(stood: Standing | None) -> dict[str, float] | None:
    """Tilt positive: the right hip is lower. Bend positive: to the left."""
    if stood is None:
        return None
    return {
        "hip_tilt_deg": float(np.degrees(stood.hip_tilt)),
        "hip_tilt_sd_deg": float(np.degrees(stood.hip_tilt_sd)),
        "bend_mm": 1e3 * stood.bend,
        "bend_sd_mm": 1e3 * stood.bend_sd,
    }


def _mm(length: float | None) -> float | None:
    return None if length is None else 1e3 * length


def _facts(spot: Spot) -> dict[str, object]:
    return {
        "side": spot.side, "x_mm": 1e3 * spot.x, "t_mm": 1e3 * spot.t,
        "height_mm": 1e3 * spot.height, "area_cm2": 1e4 * spot.area,
    }  # fmt: skip


def _place(spot: Spot, system: System) -> str:
    where = "behind" if spot.x < 0 else "in front of"
    return (
        f"{show_length(abs(spot.x), system)} {where} the blade's rear edge, "
        f"{show_length(abs(spot.t), system)} from the spine"
    )


def _pocket(side: str, spot: Spot | None, system: System) -> str:
    if spot is None:
        return f"Fat pocket, {side}: none shows in the shape"
    height = _size(spot.height, system)
    return (
        f"Fat pocket, {side}: stands out {height} (give or take {_size(POCKET_SD, system)}), "
        f"{_place(spot, system)}; "
        "the mark was not moved to it"
    )


def _spot(spot: Spot, system: System) -> str:
    kind = "High spot" if spot.height > 0 else "Hollow"
    return f"{kind}, {spot.side}: {_size(abs(spot.height), system)}, {_place(spot, system)}"
