"""Rules that make a tree buildable, each with the sentence for when it is broken."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.errors import BadSettings
from fitsim.tree.rules_openings import Broken, openings_fit

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fitsim.tree.settings import ArchSettings, BarSettings, TreeSettings


#: What a saddle's bar can measure, m: length, and width anywhere along it. Wide on purpose: they
#: catch a wrong unit, not a bold design.
LENGTHS, WIDTHS = (0.2, 1.2), (0.03, 0.3)

#: Least distance between the arches along the bar, m, and least way from a bar's inner edge to the
#: middle, m.
APART, BESIDE = 0.1, 0.005


def check(settings: TreeSettings, where: str) -> None:
    """Refuse settings that cannot be built, naming the key, the fault and the mend.

    Parameters
    ----------
    settings : kinds and units already checked.
    where : file or library name.

    Raises
    ------
    BadSettings
        On the first rule that does not hold.
    """
    for rules in (_bar, _face, openings_fit, _arches, _fittings):
        for broken in rules(settings):
            raise BadSettings(f"{where}, {broken.key}", broken.fault, broken.mend)


def _mm(value: float) -> str:
    return f"{value * 1e3:.0f} mm"


def _deg(value: float) -> str:
    return f"{np.degrees(value):.0f} deg"


def _widths(bar: BarSettings) -> tuple[float, float, float]:
    return bar.width.front, bar.width.middle, bar.width.rear


def _bar(settings: TreeSettings) -> Iterator[Broken]:
    bar = settings.bar
    narrow, wide = min(_widths(bar)), max(_widths(bar))
    flares = bar.flare.front.length + bar.flare.rear.length
    if not LENGTHS[0] <= bar.length <= LENGTHS[1]:
        yield Broken(
            "bar.length",
            f"a bar of {_mm(bar.length)} is no saddle bar",
            "give 200 to 1200 mm and check the unit",
        )
    if narrow < WIDTHS[0] or wide > WIDTHS[1]:
        yield Broken(
            "bar.width",
            f"widths of {_mm(narrow)} to {_mm(wide)} are no saddle bar's",
            "give 30 to 300 mm and check the unit",
        )
    if flares > 0.7 * bar.length:
        yield Broken(
            "bar.flare",
            f"the flared tips take {_mm(flares)} of a bar {_mm(bar.length)} long",
            "shorten the flares so that at least 30 % of the length bears",
        )
    if not bar.edge_roll <= bar.corner < narrow / 2.0:
        yield Broken(
            "bar.corner",
            f"a corner radius of {_mm(bar.corner)} does not go with an edge roll of "
            f"{_mm(bar.edge_roll)} and a narrowest width of {_mm(narrow)}",
            "give at least the edge roll and less than half the narrowest width",
        )
    if bar.thickness < 2.0 * bar.edge_roll:
        yield Broken(
            "bar.thickness",
            f"{_mm(bar.thickness)} is too thin for an edge rolled to {_mm(bar.edge_roll)}",
            "give at least twice the edge roll",
        )


def sagitta_of(bar: BarSettings) -> float | None:
    """Depth of a bar's lengthwise curve over its bearing length, m, however it is told.

    Parameters
    ----------
    bar : BarSettings

    Returns
    -------
    float or None
        None where no curve is told.
    """
    if bar.curve.sagitta is not None or bar.curve.radius is None:
        return bar.curve.sagitta
    return bearing_length(bar) ** 2 / (8.0 * bar.curve.radius)


def bearing_length(bar: BarSettings) -> float:
    """Length of a bar between its flares, m."""
    return bar.length - bar.flare.front.length - bar.flare.rear.length


def _face(settings: TreeSettings) -> Iterator[Broken]:
    bar = settings.bar
    bearing, sagitta = bearing_length(bar), sagitta_of(bar)
    if sagitta is not None and abs(sagitta) > bearing / 8.0:
        yield Broken(
            "bar.curve",
            f"a lengthwise curve {_mm(sagitta)} deep over {_mm(bearing)} is too strong",
            f"give at most {_mm(bearing / 8.0)}",
        )
    if bar.curve.low is not None and not 0.0 < bar.curve.low < bar.length:
        yield Broken(
            "bar.curve.low",
            f"the low point {_mm(bar.curve.low)} behind the front tip is not on the bar",
            f"give less than the length, {_mm(bar.length)}",
        )
    if abs(bar.crown) > bar.width.middle / 8.0:
        yield Broken(
            "bar.crown",
            f"{bar.crown * 1e3:.1f} mm across a width of {_mm(bar.width.middle)} is too strong",
            f"give at most {_mm(bar.width.middle / 8.0)}",
        )
    for name, flare in (("front", bar.flare.front), ("rear", bar.flare.rear)):
        if flare.rise > flare.length:
            yield Broken(
                f"bar.flare.{name}",
                f"a rise of {_mm(flare.rise)} over {_mm(flare.length)} is steeper than a tip "
                "can be turned up",
                "give a rise no larger than the length",
            )


def _arches(settings: TreeSettings) -> Iterator[Broken]:
    bar, front, rear = settings.bar, settings.arches.front, settings.arches.rear
    for name, arch in (("front", front), ("rear", rear)):
        if arch.at >= bar.length:
            yield Broken(
                f"arches.{name}.at",
                f"{_mm(arch.at)} behind the front tip is not on a bar {_mm(bar.length)} long",
                f"give less than {_mm(bar.length)}",
            )
        if not 0.0 <= arch.angle <= np.radians(75.0):
            yield Broken(
                f"arches.{name}.angle",
                f"{_deg(arch.angle)} from horizontal is no bar's face",
                "give 0 to 75 deg",
            )
        yield from _steps(name, arch)
    if rear.at - front.at < APART:
        yield Broken(
            "arches.rear.at",
            f"the rear arch sits {_mm(rear.at)} and the front arch {_mm(front.at)} behind the "
            "front tip",
            "set the rear arch at least 100 mm behind the front arch",
        )
    yield from _crossing(settings)


def _steps(name: str, arch: ArchSettings) -> Iterator[Broken]:
    spread = 2.0 * arch.half_spread
    if arch.spread_steps and not np.isclose(arch.spread_steps, spread, atol=5e-4).any():
        yield Broken(
            f"arches.{name}.spread",
            f"{_mm(spread)} is none of the steps this arch has",
            "give one of " + ", ".join(_mm(step) for step in arch.spread_steps),
        )
    if arch.angle_steps and not np.isclose(arch.angle_steps, arch.angle, atol=1e-3).any():
        yield Broken(
            f"arches.{name}.angle",
            f"{_deg(arch.angle)} is none of the steps this arch has",
            "give one of " + ", ".join(_deg(step) for step in arch.angle_steps),
        )


def _crossing(settings: TreeSettings) -> Iterator[Broken]:
    """Whether the bars' inner edges meet in the middle, taken along the line between the arches."""
    front, rear = settings.arches.front, settings.arches.rear
    half = {"front": front.half_spread, "rear": rear.half_spread}
    slope = (rear.half_spread - front.half_spread) / max(rear.at - front.at, 1e-9)
    ends = {
        "front tip": front.half_spread - slope * front.at,
        "rear tip": front.half_spread + slope * (settings.bar.length - front.at),
    }
    narrower = min(half, key=half.__getitem__)
    for place, beside in ends.items():
        if beside < BESIDE:
            yield Broken(
                f"arches.{narrower}.spread",
                f"the bars cross before their {place}",
                f"widen the {narrower} arch or bring the two spreads closer together",
            )


def _fittings(settings: TreeSettings) -> Iterator[Broken]:
    length, rings = settings.bar.length, settings.rigging
    if not rings.front < rings.rear <= length:
        yield Broken(
            "rigging",
            f"rings {_mm(rings.front)} and {_mm(rings.rear)} behind the front tip are out of "
            "order or off the bar",
            f"give the front ring first and the rear ring at most {_mm(length)}",
        )
    pivot = settings.pivot
    if pivot is not None and pivot.at is not None and pivot.at >= length:
        yield Broken(
            "pivot.at",
            f"{_mm(pivot.at)} behind the front tip is not on a bar {_mm(length)} long",
            f"give less than {_mm(length)}",
        )
    if pivot is not None and not 0.0 < pivot.stop <= np.radians(45.0):
        yield Broken(
            "pivot.stop",
            f"{_deg(pivot.stop)} to either side is no bar's pivot",
            "give more than 0 and at most 45 deg",
        )
