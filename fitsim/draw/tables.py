"""What stands beside the views: the numbered places, and what should stay free."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.draw.layout import MARGIN, SIZE, STRIPS, TABLE
from fitsim.draw.overlay import SPOTS
from fitsim.draw.palette import LINE, PANEL, QUIET, TAN
from fitsim.draw.quantity import System, number, percent, shown
from fitsim.draw.words import UNSURE_PEAK, zone_peak, zone_share, zone_words

if TYPE_CHECKING:
    from fitsim.draw.lettering import Pen
    from fitsim.study.fit import Fit


def hotspot_table(pen: Pen, fit: Fit, system: System) -> None:
    """Write the numbered places that press hardest."""
    left, y = TABLE
    right = SIZE[0] - MARGIN
    pen.text(left, y - 16, "Where it presses hardest", 25, face="bold")
    pen.quiet(right, y - 16, shown("pressure", system).unit, anchor="rs")
    spots = fit.measures.hotspots[:SPOTS] if fit.measures else ()
    for row, spot in enumerate(spots):
        base = y + 38 + 48 * row
        pen.disc(left + 18, base - 9, str(spot.number), 16)
        pen.text(
            left + 50,
            base,
            zone_words(spot.zone, spot.side).capitalize() + UNSURE_PEAK * spot.unsure,
            26,
        )
        wide = 190 * min(spot.peak / max(spots[0].peak, 1.0), 1.0)
        pen.box((right - 262, base - 16, right - 262 + wide, base - 4), fill=(*TAN, 255), radius=4)
        pen.text(right, base, number(spot.peak, "pressure", system), 26, face="bold", anchor="rs")
        pen.line([(left, base + 16), (right, base + 16)], (*LINE, 255), 1.0)
    if not spots:
        words = (
            "Nothing presses as a spot." if fit.measures else "No result: the tree does not stay."
        )
        pen.text(left, y + 38, words, 26, colour=QUIET)


def free_zones(pen: Pen, fit: Fit, system: System) -> None:
    """Write what the zones that should stay free carry."""
    if fit.measures is None:
        return
    left, y, right = TABLE[0], TABLE[1] + 322, SIZE[0] - MARGIN
    pen.text(left, y - 16, "What should stay free carries", 25, face="bold")
    pen.quiet(right, y - 16, f"share of load, hardest {shown('pressure', system).unit}", 20, "rs")
    for row, (zone, words) in enumerate(_FREE):
        base = y + 30 + 42 * row
        share = zone_share(fit.measures, zone)
        pen.text(left, base, words, 25)
        wide = 190 * min(share, 1.0)
        pen.box((right - 330, base - 15, right - 140, base - 4), fill=(*PANEL, 255), radius=4)
        if wide >= 1:
            pen.box(
                (right - 330, base - 15, right - 330 + wide, base - 4), fill=(*TAN, 255), radius=3
            )
        pen.text(right - 62, base, percent(share), 25, face="bold", anchor="rs")
        peak = zone_peak(fit.measures, zone)
        pen.text(right, base, number(peak, "pressure", system), 25, anchor="rs")
        if row < len(_FREE) - 1:
            pen.line([(left, base + 14), (right, base + 14)], (*LINE, 255), 1.0)


_FREE = (("scapula", "Shoulder blades"), ("fat_pocket", "Fat pockets"), ("spine", "Spine"))


def no_result(pen: Pen) -> None:
    """Say in the place of the strips why there are no numbers."""
    left, top = float(MARGIN), STRIPS[0][1] - 40.0
    pen.box((left, top, SIZE[0] - left, top + 150), fill=(*PANEL, 255), radius=14)
    pen.text(left + 32, top + 62, "There are no pressures to show for this case.", 31, face="serif")
    pen.text(
        left + 32, top + 108,
        "The forces find no balance: the tree leaves the back before it comes to rest. "
        "The grey shape is the last place it was met.",
        27, colour=QUIET,
    )  # fmt: skip
