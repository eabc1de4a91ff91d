"""What a page asks for with its settings: a difference, a cut, a hand on the tree."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, cast

from fitsim.app.scenario import one_of, plain_number, scenario_of
from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitsim.app.scenario import Scenario

Tool = Literal["under", "press", "lift"]
Place = Literal["front", "rear", "edge"]
CutWay = Literal["across", "left", "right"]
Point = tuple[float, float, float]

MOST_VIEWS = 2


@dataclass(frozen=True)
class CutAt:
    """Where a cut is made.

    Attributes
    ----------
    way : "across", or along the "left" or "right" bar.
    behind : m behind the withers, for a cut across.
    """

    way: CutWay
    behind: float


@dataclass(frozen=True)
class Grip:
    """A hand put on the tree: by its place's name, or by where a pointer went down and is now.

    Attributes
    ----------
    tool : "under" slides it in, "press" and "lift" move an end.
    place : end, or the long "edge" of a bar that it is slid under.
    side : of the bar.
    along : -, along that bar, 0 at the front end: for an edge.
    amount : m, how far in, or how high.
    went : (down, now), m, body frame, on the skin; overrides all but the tool.
    """

    tool: Tool
    place: Place = "front"
    side: Literal["left", "right"] = "left"
    along: float = 0.5
    amount: float = 0.0
    went: tuple[Point, Point] | None = None


@dataclass(frozen=True)
class Asked:
    """One message.

    Attributes
    ----------
    scenarios : one for each view.
    difference : whether the right view's pressure less the left's is wanted in words.
    cut : made through each view, or None.
    grip : a hand on the tree of the view `facing`, or None.
    """

    scenarios: tuple[Scenario, ...]
    difference: bool = False
    cut: CutAt | None = None
    grip: Grip | None = None
    facing: int = 0


def asked_of(told: Mapping[str, Any]) -> Asked:
    """Read a message.

    Parameters
    ----------
    told : mapping
        "views", and any of "difference", "cut", "hand" and "facing".

    Returns
    -------
    Asked

    Raises
    ------
    BadSettings
        Something in it is not known.

    Examples
    --------
    >>> asked_of({"views": [{}], "cut": {"way": "left"}}).cut
    CutAt(way='left', behind=0.0)
    """
    views = told.get("views")
    if not isinstance(views, list) or not 0 < len(views) <= MOST_VIEWS:
        raise BadSettings("the settings", "hold no view", "reload the page")
    facing = told.get("facing", 0)
    if facing not in range(len(views)):
        raise BadSettings("the settings, facing", "is no view", "reload the page")
    return Asked(
        scenarios=tuple(scenario_of(view) for view in views),
        difference=told.get("difference") is True and len(views) == MOST_VIEWS,
        cut=_cut(told["cut"]) if told.get("cut") is not None else None,
        grip=_grip(told["hand"]) if told.get("hand") is not None else None,
        facing=int(facing),
    )


def _cut(told: object) -> CutAt:
    fields = _fields(told, "the cut")
    way = one_of(fields.get("way"), "the cut", ("across", "left", "right"))
    return CutAt(cast("CutWay", way), plain_number(fields.get("behind", 0.0), "the cut"))


def _grip(told: object) -> Grip:
    fields = _fields(told, "the hand")
    tool = cast("Tool", one_of(fields.get("tool"), "the hand", ("under", "press", "lift")))
    if "from" in fields:
        return Grip(tool, went=(_point(fields["from"]), _point(fields.get("to"))))
    place = one_of(fields.get("place"), "the hand", ("front", "rear", "edge"))
    side = one_of(fields.get("side", "left"), "the hand", ("left", "right"))
    return Grip(
        tool,
        cast("Place", place),
        cast("Literal['left', 'right']", side),
        plain_number(fields.get("along", 0.5), "the hand"),
        plain_number(fields.get("amount", 0.0), "the hand"),
    )


def _fields(told: object, what: str) -> dict[str, Any]:
    if not isinstance(told, dict):
        raise BadSettings(what, "cannot be read", "choose it again")
    return told


def _point(told: object) -> Point:
    if not isinstance(told, list) or len(told) != len("xyz"):
        raise BadSettings("the hand", "is at no place", "point at the tree again")
    x, y, z = (plain_number(one, "the hand") for one in told)
    return x, y, z
