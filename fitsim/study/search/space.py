"""What a search may change, between which limits."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from fitsim.errors import BadSettings
from fitsim.tree.read import require_settings
from fitsim.units import quantity

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitsim.rig.rig import Rig
    from fitsim.tree.tree import Tree

Array = NDArray[np.float64]

_MICRON = 6  # decimals in m, rad or N to which a value is tried, so that a file keeps it exactly
_ANGLE_STEPS, _SPREAD_STEPS = "angle_steps", "spread_steps"


@dataclass(frozen=True)
class Knob:
    """One setting that a search may change.

    Attributes
    ----------
    word : what people call it on the command line.
    where : "tree" (`key` is a dotted setting), "rig" ("front.behind_front") or "place".
    key : see `where`.
    kind : of quantity.
    low, high : SI, between which it is searched.
    """

    word: str
    where: Literal["tree", "rig", "place"]
    key: str
    kind: Literal["length", "angle", "force"]
    low: float
    high: float


def _mm(word: str, key: str, low: float, high: float) -> Knob:
    return Knob(word, "tree", key, "length", 1e-3 * low, 1e-3 * high)


def _deg(word: str, key: str, low: float, high: float) -> Knob:
    return Knob(word, "tree", key, "angle", float(np.radians(low)), float(np.radians(high)))


#: Limits wide enough for what builders make (from memory); others can be told. Spreads begin where
#: the inner edges are 25 mm beside the spine, which works (common practice, no source); a tree is
#: tried 30 mm forward and back of just behind the shoulder blade.
KNOBS = (
    _mm("front-spread", "arches.front.spread", 50.0, 110.0),
    _mm("rear-spread", "arches.rear.spread", 50.0, 130.0),
    _deg("front-angle", "arches.front.angle", 15.0, 45.0),
    _deg("rear-angle", "arches.rear.angle", 8.0, 35.0),
    _mm("curve", "bar.curve.sagitta", 0.0, 30.0),
    Knob("at", "place", "at", "length", -0.030, 0.030),
    _mm("length", "bar.length", 420.0, 640.0),
    _mm("crown", "bar.crown", 0.0, 8.0),
    _mm("front-width", "bar.width.front", 80.0, 140.0),
    _mm("middle-width", "bar.width.middle", 80.0, 140.0),
    _mm("rear-width", "bar.width.rear", 80.0, 140.0),
    _mm("front-flare", "bar.flare.front.rise", 0.0, 35.0),
    _mm("rear-flare", "bar.flare.rear.rise", 0.0, 35.0),
    Knob("front-ring", "rig", "front.behind_front", "length", 0.040, 0.300),
    Knob("rear-ring", "rig", "rear.behind_front", "length", 0.300, 0.540),
    Knob("front-cinch", "rig", "front.tension", "force", 60.0, 400.0),
    Knob("rear-cinch", "rig", "rear.tension", "force", 60.0, 400.0),
)
USUAL = ("front-spread", "rear-spread", "front-angle", "rear-angle", "curve", "at")


@dataclass(frozen=True)
class Space:
    """The settings of one search.

    Attributes
    ----------
    knobs : what may change.
    start : SI value by word, where the search begins.
    steps : SI values by word that the arches can be set to, for those that go in steps.
    """

    knobs: tuple[Knob, ...]
    start: Mapping[str, float]
    steps: Mapping[str, tuple[float, ...]]

    def values(self, unit: Array) -> dict[str, float]:
        """SI value by word from (k,) numbers between 0 (low) and 1 (high)."""
        return {
            knob.word: round(knob.low + float(u) * (knob.high - knob.low), _MICRON)
            for knob, u in zip(self.knobs, unit, strict=True)
        }

    def unit(self, values: Mapping[str, float]) -> Array:
        """(k,) numbers between 0 (low) and 1 (high) from SI values by word."""
        return np.array(
            [(values[knob.word] - knob.low) / (knob.high - knob.low) for knob in self.knobs]
        )


def space_of(tree: Tree, rig: Rig, at: float | None, told: Sequence[str] = ()) -> Space:
    """What to search, from the command line and the tree.

    Parameters
    ----------
    tree : Tree
        Built from settings; where its arches go in steps and nothing is told, only what can be set
        on it and where it lies are searched.
    rig : Rig
    at : float, m, optional
        Where the tree lies at the start.
    told : sequence of str
        "front-spread" or "front-spread=44..92 mm".

    Returns
    -------
    Space

    Raises
    ------
    BadSettings
        There is no such setting, its limits make no sense, or the tree came from a mesh.
    """
    require_settings(tree)
    steps = steps_of(tree)
    known = {knob.word: knob for knob in KNOBS}
    asked = tuple(told) or ((*steps, "at") if steps else USUAL)
    knobs = tuple(_asked(text, known, steps) for text in asked)
    words = [knob.word for knob in knobs]
    if len(set(words)) < len(words):
        twice = next(word for word in words if words.count(word) > 1)
        raise BadSettings(twice, "is named twice", "name each setting once")
    begin = {knob.word: _begin(knob, tree, rig, at) for knob in knobs}
    return Space(knobs, begin, {word: steps[word] for word in words if word in steps})


def _asked(text: str, known: Mapping[str, Knob], steps: Mapping[str, tuple[float, ...]]) -> Knob:
    """One setting with the limits told, those of its steps, or the usual ones."""
    word, _, limits = (part.strip() for part in text.partition("="))
    if word not in known:
        near = get_close_matches(word, known, n=1, cutoff=0.5)
        mend = f"did you mean {near[0]!r}" if near else f"use one of {', '.join(known)}"
        raise BadSettings(word, "there is no such setting to search", mend)
    knob = known[word]
    low, high = knob.low, knob.high
    if word in steps:
        low, high = min(steps[word]), max(steps[word])
    if limits:
        low, high = _limits(text, limits, knob)
    return Knob(word, knob.where, knob.key, knob.kind, low, high)


def _limits(text: str, limits: str, knob: Knob) -> tuple[float, float]:
    unit = {"length": "mm", "angle": "deg", "force": "N"}[knob.kind]
    example = f'write it like "{knob.word}=44..92 {unit}"'
    first, dots, last = (part.strip() for part in limits.partition(".."))
    if not dots:
        raise BadSettings(text, "does not give two limits", example)
    unit_told = last.lstrip("+-.0123456789").strip()
    if not first.lstrip("+-.0123456789").strip():
        first = f"{first} {unit_told}"
    low, high = quantity(first, knob.kind, text), quantity(last, knob.kind, text)
    if not low < high:
        raise BadSettings(text, "its first limit is not below its second", example)
    return low, high


def steps_of(tree: Tree) -> dict[str, tuple[float, ...]]:
    """SI values that the arches can be set to, by word; empty for arches that are fixed."""
    arches = tree.settings["arches"]
    assert isinstance(arches, dict)  # noqa: S101 - TreeSettings says so
    return {
        f"{arch}-{word}": tuple(arches[arch][key])
        for arch in ("front", "rear")
        for word, key in (("spread", _SPREAD_STEPS), ("angle", _ANGLE_STEPS))
        if arches[arch].get(key)
    }


def _begin(knob: Knob, tree: Tree, rig: Rig, at: float | None) -> float:
    """Where the search begins with one setting: as it is, moved within the limits."""
    if knob.where == "place":
        value = at or 0.0
    elif knob.where == "rig":
        value = _rig_value(knob, tree, rig)
    else:
        value = _tree_value(tree.settings, knob)
    return round(float(np.clip(value, knob.low, knob.high)), _MICRON)


def _rig_value(knob: Knob, tree: Tree, rig: Rig) -> float:
    from fitsim.rig.rig import ring_behind_front

    which, key = knob.key.split(".")
    cinch = rig.front if which == "front" else rig.rear
    if key == "tension":
        return 0.5 * (cinch.tension_left + cinch.tension_right)
    return ring_behind_front(cinch, tree, which)


def _tree_value(settings: Mapping[str, object], knob: Knob) -> float:
    *path, last = knob.key.split(".")
    table: object = settings
    for part in path:
        assert isinstance(table, dict)  # noqa: S101 - TreeSettings says so
        table = table[part]
    assert isinstance(table, dict)  # noqa: S101 - TreeSettings says so
    if last == "spread" and "inner_edge" in table:
        return 2.0 * float(table["inner_edge"])
    if last == "sagitta" and last not in table:
        return 0.5 * (knob.low + knob.high)
    return float(table[last])
