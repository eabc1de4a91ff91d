"""The measures of a tree as the bench wants them, in millimetres and inches."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from fitsim.tree.solid import bar_solid, volume_and_centroid
from fitsim.units import INCH
from fitsim.workshop.sections import face_angle

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitsim.workshop.built import Built

#: Finest fraction of an inch on a bench rule.
FINEST = 32


class Dimension(NamedTuple):
    """One measure.

    Attributes
    ----------
    name : in words.
    kind : of quantity.
    value : m, rad or m3.
    """

    name: str
    kind: Literal["length", "angle", "volume"]
    value: float


def dimensions(made: Built, stations: Sequence[float]) -> list[Dimension]:
    """All measures of a tree, in the order in which they are needed.

    Parameters
    ----------
    made : the tree.
    stations : m, behind the front tip, where the face's angle is wanted.

    Returns
    -------
    List of Dimension
    """
    return [*_bar(made), *_openings(made), *_set_up(made, stations)]


def facts(made: Built, stations: Sequence[float] = ()) -> dict[str, float]:
    """The same for programs: m, rad or m3 by name.

    Parameters
    ----------
    made, stations : see `dimensions`.

    Returns
    -------
    dict
    """
    return {one.name: one.value for one in dimensions(made, stations)}


def _bar(made: Built) -> list[Dimension]:
    bar, settings = made.bar, made.settings.bar
    depth = (
        (1.0 - np.sqrt(1.0 - (bar.curve * bar.bearing / 2.0) ** 2)) / bar.curve
        if bar.curve
        else 0.0
    )
    rows: list[Dimension] = [
        Dimension("bar, tip to tip", "length", bar.length),
        Dimension("bearing length, without flared tips", "length", bar.bearing),
        *(
            Dimension(f"width, {place}", "length", width)
            for place, width in zip(("front", "middle", "rear"), bar.widths, strict=True)
        ),
        Dimension("thickness", "length", bar.thickness),
        Dimension("lengthwise curve, depth over the bearing length", "length", depth),
        Dimension("lowest point of the curve, behind the front tip", "length", bar.front - bar.low),
        Dimension("crown across, middle proud of the edges", "length", bar.crown),
        Dimension("twist over the bearing length, front steeper", "angle", bar.twist),
    ]
    for end, flare in (("front", bar.front_flare), ("rear", bar.rear_flare)):
        rows += [
            Dimension(f"{end} tip, flared over", "length", flare.length),
            Dimension(f"{end} tip, rises", "length", flare.rise),
        ]
    rows += [
        Dimension("lower edge, rolled to a radius of", "length", bar.edge_roll),
        Dimension("corners seen from above, radius", "length", settings.corner),
        Dimension("volume of one bar", "volume", volume_and_centroid(bar_solid(bar))[0]),
    ]
    return rows


def _openings(made: Built) -> list[Dimension]:
    rows = []
    for number, pocket in enumerate(made.settings.bar.pocket, 1):
        name = f"pocket {number}"
        rows += [
            Dimension(f"{name}, middle behind the front tip", "length", pocket.at),
            Dimension(f"{name}, middle outwards of the middle line", "length", pocket.across),
            Dimension(f"{name}, long", "length", pocket.length),
            Dimension(f"{name}, wide", "length", pocket.width),
            Dimension(f"{name}, deep at its middle", "length", pocket.depth),
        ]
    for number, slot in enumerate(made.settings.bar.slot, 1):
        name = f"slot {number}"
        rows += [
            Dimension(f"{name}, middle behind the front tip", "length", slot.at),
            Dimension(f"{name}, middle outwards of the middle line", "length", slot.across),
            Dimension(f"{name}, along the bar", "length", slot.length),
            Dimension(f"{name}, across the bar", "length", slot.width),
        ]
    for number, notch in enumerate(made.settings.bar.notch, 1):
        name = f"notch {number}, {notch.edge} edge"
        rows += [
            Dimension(f"{name}, middle behind the front tip", "length", notch.at),
            Dimension(f"{name}, long", "length", notch.length),
            Dimension(f"{name}, deep", "length", notch.depth),
        ]
    return rows


def _set_up(made: Built, stations: Sequence[float]) -> list[Dimension]:
    arches, T = made.settings.arches, made.T_tree_left
    rows = []
    for end, arch in (("front", arches.front), ("rear", arches.rear)):
        rows += [
            Dimension(f"{end} arch, behind the front tip", "length", arch.at),
            Dimension(f"{end} arch, between the inner edges", "length", 2.0 * arch.half_spread),
            Dimension(f"{end} arch, bar's face from level", "angle", arch.angle),
            Dimension(f"{end} arch, between the two faces", "angle", np.pi - 2.0 * arch.angle),
        ]
        rows += [
            Dimension(f"{end} arch, step {n}, between the inner edges", "length", step)
            for n, step in enumerate(arch.spread_steps, 1)
        ]
        rows += [
            Dimension(f"{end} arch, step {n}, bar's face from level", "angle", step)
            for n, step in enumerate(arch.angle_steps, 1)
        ]
    toe = float(np.arctan2(-T[1, 0], T[0, 0]))
    rows.append(Dimension("bars open to the rear, each", "angle", toe))
    rows += [
        Dimension(
            f"face from level, {at * 1e3:.0f} mm behind the front tip",
            "angle",
            face_angle(made, at),
        )
        for at in stations
    ]
    rigging = made.settings.rigging
    rows += [
        Dimension("front ring, behind the front tip", "length", rigging.front),
        Dimension("rear ring, behind the front tip", "length", rigging.rear),
    ]
    pivot = made.settings.pivot
    if pivot is not None:
        rows += [
            Dimension("hinge above the underside", "length", pivot.height),
            Dimension("hinge stops, to either side", "angle", pivot.stop),
        ]
        if pivot.at is not None:
            rows.append(Dimension("hinge, behind the front tip", "length", pivot.at))
    return rows


def in_words(one: Dimension) -> tuple[str, str, str]:
    """Name, metric value and inch value, each with its unit.

    Parameters
    ----------
    one : the measure.

    Returns
    -------
    Three str

    Examples
    --------
    >>> in_words(Dimension("thickness", "length", 0.024))
    ('thickness', '24.0 mm', '0.945 in (15/16)')
    >>> in_words(Dimension("twist", "angle", 0.2))
    ('twist', '11.5 deg', '11.5 deg')
    """
    if one.kind == "angle":
        words = f"{np.degrees(one.value):.1f} deg"
        return one.name, words, words
    if one.kind == "volume":
        return one.name, f"{one.value * 1e6:.0f} cm3", f"{one.value / INCH**3:.1f} in3"
    inches = one.value / INCH
    return one.name, f"{one.value * 1e3:.1f} mm", f"{inches:.3f} in ({_fraction(inches)})"


def _fraction(inches: float) -> str:
    """Nearest 32nd of an inch, as it is read off a rule."""
    whole = Fraction(round(abs(inches) * FINEST), FINEST)
    sign = "-" if inches < 0.0 and whole else ""
    full, rest = divmod(whole.numerator, whole.denominator)
    parts = ([str(full)] if full or not rest else []) + (
        [f"{rest}/{whole.denominator}"] if rest else []
    )
    return sign + " ".join(parts)
