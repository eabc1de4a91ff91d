"""What the colours of stickers mean: the usual meanings, and others in words."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from fitsim.back.noted import NOTED
from fitsim.errors import BadSettings
from fitsim.scan.colour import COLOURS, Colour

if TYPE_CHECKING:
    from collections.abc import Sequence

Meanings = tuple[tuple[Colour, str], ...]
"""What each colour marks: kinds of marks, with a side where the colour is for one side alone."""

USUAL: Final[Meanings] = (
    ("blue", "spine"), ("green", "scapula_edge"), ("yellow", "last_rib"),
    ("pink", "withers"), ("red", "sore"),
)  # fmt: skip
"""Without other words. Raw flesh is red too: a wound that is taken for a sticker is then told as a
sore, which errs to the safe side."""

SINGLE: Final = ("spine", "withers")
SIDED: Final = ("scapula_edge", "last_rib", "fat_pocket", *NOTED)
WORDS: Final = {"blade": "scapula_edge", "shoulder_blade": "scapula_edge"}


def read_stickers(text: str) -> Meanings:
    """Read what the colours of stickers mean: ``"blue = spine, green = blade left"``.

    Parameters
    ----------
    text : str
        As given to ``--stickers``; ``"usual"`` is `USUAL`, ``"none"`` looks for no sticker.

    Returns
    -------
    Meanings

    Raises
    ------
    BadSettings
        A colour or a place is unknown, or a colour is told twice.

    Examples
    --------
    >>> read_stickers("blue = spine, green = blade left")
    (('blue', 'spine'), ('green', 'scapula_edge_left'))
    """
    if text.strip().lower() in {"usual", "none"}:
        return USUAL if text.strip().lower() == "usual" else ()
    told: dict[Colour, str] = {}
    for pair in filter(None, (part.strip() for part in re.split(r"[,;]", text))):
        left, equals, right = pair.partition("=")
        colour = next((name for name in COLOURS if name == left.strip().lower()), None)
        if not equals or colour is None:
            raise BadSettings("--stickers", f'"{pair}" does not begin with a sticker\'s colour',
                              f'write "blue=spine" with {_listed(COLOURS)}')  # fmt: skip
        if colour in told:
            raise BadSettings("--stickers", f"{colour} is told twice", "give each colour one place")
        told[colour] = _place_called(right)
    if not told:
        raise BadSettings("--stickers", "no colour is told", 'write "blue=spine", usual or none')
    return tuple(told.items())


def sticker_words(meanings: Meanings) -> str:
    """The same in words that `read_stickers` reads.

    Parameters
    ----------
    meanings : Meanings

    Returns
    -------
    str

    Examples
    --------
    >>> sticker_words((("green", "scapula_edge_left"), ("red", "fat_pocket")))
    'green=scapula edge left, red=fat pocket'
    """
    if not meanings:
        return "none"
    return ", ".join(f"{colour}={mark.replace('_', ' ')}" for colour, mark in meanings)


def _place_called(words: str) -> str:
    """Name of a mark, or its kind without a side, from words."""
    name = re.sub(r"[\s_-]+", "_", words.strip().lower())
    place, _, side = name.rpartition("_")
    if side not in {"left", "right"}:
        place, side = name, ""
    place = WORDS.get(place, place)
    if place in SIDED:
        return f"{place}_{side}" if side else place
    if place in SINGLE and not side:
        return place
    places = _listed(["spine", "withers", "blade", *(p for p in SIDED if p != "scapula_edge")])
    raise BadSettings("--stickers", f'"{words.strip()}" is no place that is marked',
                      f"use {places}; left or right may follow all but the first two")  # fmt: skip


def _listed(names: Sequence[str]) -> str:
    return ", ".join(name.replace("_", " ") for name in names[:-1]) + f" or {names[-1]}".replace(
        "_", " "
    )
