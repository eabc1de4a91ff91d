"""What is set on the screen: which tree, how it lies, how it is cinched, what it carries."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, fields, replace
from typing import TYPE_CHECKING, Any, Literal

from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from collections.abc import Mapping

Load = Literal["none", "rider", "pack"]
Gait = Literal["walk", "trot", "canter"]
Group = Literal["cinch", "tree", "place", "load"]

PADS = ("none", "felt-thin", "felt", "felt-thick")
LOADS: tuple[Load, ...] = ("none", "rider", "pack")
GAITS: tuple[Gait, ...] = ("walk", "trot", "canter")


@dataclass(frozen=True)
class Control:
    """One slider.

    Attributes
    ----------
    name : field of `Scenario`.
    words : on the screen.
    kind : of quantity, for its unit: "force", "length", "angle" or "mass".
    low, high, step : SI.
    group : where on the screen it stands.
    """

    name: str
    words: str
    kind: Literal["force", "length", "angle", "mass"]
    low: float
    high: float
    step: float
    group: Group


_DEG = math.pi / 180.0

CONTROLS = (
    Control("front_left", "Front cinch, left", "force", 0.0, 400.0, 5.0, "cinch"),
    Control("front_right", "Front cinch, right", "force", 0.0, 400.0, 5.0, "cinch"),
    Control("rear_left", "Rear cinch, left", "force", 0.0, 400.0, 5.0, "cinch"),
    Control("rear_right", "Rear cinch, right", "force", 0.0, 400.0, 5.0, "cinch"),
    Control("front_wider", "Spread in front", "length", -0.030, 0.120, 0.002, "tree"),
    Control("rear_wider", "Spread behind", "length", -0.030, 0.120, 0.002, "tree"),
    Control("front_steeper", "Angle in front", "angle", -15 * _DEG, 15 * _DEG, 0.5 * _DEG, "tree"),
    Control("rear_steeper", "Angle behind", "angle", -15 * _DEG, 15 * _DEG, 0.5 * _DEG, "tree"),
    Control("more_curve", "Curve along the bar", "length", -0.015, 0.020, 0.001, "tree"),
    Control("at", "Forward or back", "length", -0.080, 0.080, 0.005, "place"),
    Control("mass", "Rider, or both packs", "mass", 0.0, 150.0, 5.0, "load"),
    Control("uneven", "Left pack heavier by", "mass", -30.0, 30.0, 1.0, "load"),
    Control("slope", "Uphill or downhill", "angle", -30 * _DEG, 30 * _DEG, 1.0 * _DEG, "load"),
    Control("side_slope", "Ground falls to the left", "angle", -25 * _DEG, 25 * _DEG, _DEG, "load"),
)
"""Everything that slides; what a tree is changed by counts from its own settings."""


@dataclass(frozen=True)
class Scenario:
    """One setting of everything on the screen, SI.

    Attributes
    ----------
    tree : name in the library.
    pad : name in the library, or "none".
    load : kind.
    front_left, front_right, rear_left, rear_right : N, of each strap end.
    front_wider, rear_wider, more_curve : m, added to the tree's own spread and curve.
    front_steeper, rear_steeper : rad, added to its angles.
    at : m, forward of just behind the shoulder blade.
    mass, uneven : kg, of rider or packs, and left pack less right.
    slope, side_slope : rad.
    gait : of which `phase` is one moment.
    phase : of a stride, 0 to 1; None while the animal stands.
    """

    tree: str = "riding-middle"
    pad: str = "felt"
    load: Load = "none"
    front_left: float = 180.0
    front_right: float = 180.0
    rear_left: float = 120.0
    rear_right: float = 120.0
    front_wider: float = 0.0
    rear_wider: float = 0.0
    front_steeper: float = 0.0
    rear_steeper: float = 0.0
    more_curve: float = 0.0
    at: float = 0.0
    mass: float = 80.0
    uneven: float = 0.0
    slope: float = 0.0
    side_slope: float = 0.0
    gait: Gait = "walk"
    phase: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Plain values, as they go over the wire and into a file."""
        return asdict(self)


def scenario_of(told: Mapping[str, Any]) -> Scenario:
    """Read a scenario that came from a browser or a file.

    Parameters
    ----------
    told : mapping
        Any of the fields; the rest are as usual. Sliders are held to their ends.

    Returns
    -------
    Scenario

    Raises
    ------
    BadSettings
        A field is unknown, a name is not one of ours or a number is none.

    Examples
    --------
    >>> scenario_of({"front_left": 9000, "load": "pack"}).front_left
    400.0
    """
    if not isinstance(told, dict):
        raise BadSettings("the settings", "cannot be read", "reload the page")
    known = {field.name for field in fields(Scenario)}
    for name in told:
        if name not in known:
            raise BadSettings("the settings", f'"{str(name)[:40]}" is not one of them', "reload")
    checked: dict[str, Any] = {}
    for control in CONTROLS:
        if control.name in told:
            number = plain_number(told[control.name], control.name)
            checked[control.name] = min(max(number, control.low), control.high)
    if told.get("phase") is not None:
        checked["phase"] = plain_number(told["phase"], "phase") % 1.0
    for name, choices in (("pad", PADS), ("load", LOADS), ("gait", GAITS), ("tree", _trees())):
        if name in told:
            checked[name] = one_of(told[name], name, choices)
    return replace(Scenario(), **checked)


def _trees() -> tuple[str, ...]:
    from fitsim.tree.library import library_names

    return library_names()


def plain_number(value: object, name: str) -> float:
    """A number as it came over the wire.

    Raises
    ------
    BadSettings
        It is none, or has no end.
    """
    try:
        number = math.nan if isinstance(value, bool | str) else float(value)  # type: ignore[arg-type]
    except (TypeError, OverflowError):
        number = math.nan
    if not math.isfinite(number):
        raise BadSettings(f"the settings, {name}", "is not a number", "move its slider again")
    return number


def one_of(value: object, name: str, choices: tuple[str, ...]) -> str:
    """A name as it came over the wire.

    Raises
    ------
    BadSettings
        It is none of the choices.
    """
    if value not in choices:
        raise BadSettings(
            f"the settings, {name}", f'"{str(value)[:40]}" is unknown', f"use {', '.join(choices)}"
        )
    return str(value)
