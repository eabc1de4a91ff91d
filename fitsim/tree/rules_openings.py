"""Rules for what is taken out of a bar: pockets, slots and notches."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from fitsim.tree.outline import half_width

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fitsim.tree.settings import (
        BarSettings,
        NotchSettings,
        PocketSettings,
        SlotSettings,
        TreeSettings,
    )

#: Least wood left over a pocket at the bar's rounded edge, m, and least way across what is left of
#: a notched bar, m.
OVER, LEFT = 0.002, 0.030

#: A pocket is at most this deep for its shorter side, -: its wall stays below 32 degrees.
STEEP = 0.2


class Broken(NamedTuple):
    """A rule that does not hold."""

    key: str
    fault: str
    mend: str


def openings_fit(settings: TreeSettings) -> Iterator[Broken]:
    """Faults of the bar's pockets, slots and notches.

    Parameters
    ----------
    settings : kinds and units already checked.

    Yields
    ------
    Broken
    """
    bar = settings.bar
    for number, pocket in enumerate(bar.pocket):
        yield from _pocket(bar, pocket, f"bar.pocket.{number}")
    for number, slot in enumerate(bar.slot):
        yield from _slot(bar, slot, f"bar.slot.{number}")
    yield from _slots_apart(bar)
    for number, notch in enumerate(bar.notch):
        yield from _notch(bar, notch, f"bar.notch.{number}")
    yield from _notches_apart(bar)


def _mm(value: float) -> str:
    return f"{value * 1e3:.0f} mm"


def _half(bar: BarSettings, behind_front: float) -> float:
    """Half the bar's width at a place behind the front tip, m."""
    widths = (bar.width.front, bar.width.middle, bar.width.rear)
    return float(half_width(np.array([-behind_front]), -bar.length, 0.0, widths)[0])


def _off_the_bar(bar: BarSettings, at: float, across: float) -> str | None:
    """How a middle misses the bar, if it does."""
    if at >= bar.length:
        return f"{_mm(at)} behind the front tip is not on a bar {_mm(bar.length)} long"
    if abs(across) >= _half(bar, at):
        return f"{_mm(across)} across is not on a bar {_mm(2.0 * _half(bar, at))} wide there"
    return None


def _pocket(bar: BarSettings, pocket: PocketSettings, key: str) -> Iterator[Broken]:
    off = _off_the_bar(bar, pocket.at, pocket.across)
    if off:
        yield Broken(key, off, "put the pocket's middle on the bar")
    deepest = STEEP * min(pocket.length, pocket.width)
    if pocket.depth > deepest:
        yield Broken(
            f"{key}.depth",
            f"{_mm(pocket.depth)} is steep-walled for a pocket {_mm(pocket.length)} by "
            f"{_mm(pocket.width)}",
            f"give at most {deepest * 1e3:.1f} mm, or make it wider",
        )
    # At the outline the upper edge is rounded down by 0.73 of 45 % of the thickness, and the lower
    # one rolled up by 0.73 of its radius.
    wood = 0.67 * bar.thickness - 0.74 * bar.edge_roll - OVER
    if pocket.depth > wood:
        yield Broken(
            f"{key}.depth",
            f"{_mm(pocket.depth)} leaves too little of a bar {_mm(bar.thickness)} thick",
            f"give at most {max(wood, 0.0) * 1e3:.1f} mm, or a thicker bar",
        )


def _slot(bar: BarSettings, slot: SlotSettings, key: str) -> Iterator[Broken]:
    off = _off_the_bar(bar, slot.at, slot.across)
    if off:
        yield Broken(key, off, "put the slot's middle on the bar")
        return
    rim = _rim(bar)
    ends = (slot.at - slot.length / 2.0, slot.at + slot.length / 2.0)
    beside = min(_half(bar, end) for end in ends) - abs(slot.across) - slot.width / 2.0
    if min(beside, ends[0], bar.length - ends[1]) < rim:
        yield Broken(
            key,
            f"a slot {_mm(slot.length)} by {_mm(slot.width)} there comes too near the bar's edge",
            f"leave at least {_mm(rim)} of wood around it, which the rolled edges need",
        )


def _rim(bar: BarSettings) -> float:
    """Least way from a slot to the outline, m: both are rolled below, the outline rounded above."""
    return bar.edge_roll + max(bar.edge_roll, 0.45 * bar.thickness) + 0.002


def _slots_apart(bar: BarSettings) -> Iterator[Broken]:
    for number, one in enumerate(bar.slot):
        for other in bar.slot[number + 1 :]:
            along = abs(one.at - other.at) - (one.length + other.length) / 2.0
            across = abs(one.across - other.across) - (one.width + other.width) / 2.0
            if max(along, across) < 2.0 * bar.edge_roll + 0.004:
                yield Broken(
                    f"bar.slot.{number}",
                    "runs into another slot",
                    f"leave at least {_mm(2.0 * bar.edge_roll + 0.004)} of wood between them",
                )


def _notch(bar: BarSettings, notch: NotchSettings, key: str) -> Iterator[Broken]:
    before, behind = notch.at - notch.length / 2.0, notch.at + notch.length / 2.0
    if min(before, bar.length - behind) < bar.corner:
        yield Broken(
            key,
            f"a notch {_mm(notch.length)} long at {_mm(notch.at)} runs into a rounded corner",
            f"keep it {_mm(bar.corner)} from either tip",
        )
        return
    if 2.0 * _half(bar, notch.at) - notch.depth < LEFT:
        yield Broken(
            f"{key}.depth",
            f"{_mm(notch.depth)} leaves too little of a bar "
            f"{_mm(2.0 * _half(bar, notch.at))} wide there",
            f"leave at least {_mm(LEFT)}",
        )
    shortest = 4.0 * np.sqrt(1.25 * notch.depth * bar.corner)
    if notch.length < shortest:
        yield Broken(
            f"{key}.length",
            f"{_mm(notch.length)} is too short for a swept notch {_mm(notch.depth)} deep on a bar "
            f"with corners of {_mm(bar.corner)}",
            f"give at least {_mm(shortest)}, or a shallower notch",
        )


def _notches_apart(bar: BarSettings) -> Iterator[Broken]:
    for number, one in enumerate(bar.notch):
        for other in bar.notch[number + 1 :]:
            apart = abs(one.at - other.at) - (one.length + other.length) / 2.0
            if one.edge == other.edge and apart < 0.0:
                yield Broken(
                    f"bar.notch.{number}", "runs into another notch", "set the two further apart"
                )
