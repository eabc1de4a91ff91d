"""Marks that record what was seen or felt on the animal; none of them shapes the back."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

NOTED = ("hip", "white_hairs", "dry_patch", "wet_patch", "hot_patch", "sore")
"""Kinds, each on a side; two of a kind on one side are told apart by a number."""

NOTED_NAMES = tuple(f"{kind}_{side}" for kind in NOTED for side in ("left", "right"))

NOTED_FORM = re.compile(rf"({'|'.join(NOTED)})(?:_([1-9]\d?))?_(left|right)")

HURT = {
    "sore": "A sore is marked on the {}: nothing is laid on it before a veterinarian has seen it.",
    "hot_patch": "A hot place is marked on the {}: have a veterinarian look at it before the "
    "animal works.",
}


def noted_kind(name: str) -> str:
    """Kind of a mark that only records, or nothing for any other mark.

    Parameters
    ----------
    name : str

    Returns
    -------
    str

    Examples
    --------
    >>> noted_kind("sore_left"), noted_kind("white_hairs_2_right"), noted_kind("withers")
    ('sore', 'white_hairs', '')
    """
    found = NOTED_FORM.fullmatch(name)
    return found[1] if found else ""


def hurt_cautions(names: Iterable[str]) -> tuple[str, ...]:
    """Sentences that every result must carry where something hurt was marked.

    Parameters
    ----------
    names : of the marks.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> hurt_cautions(["withers", "sore_2_right", "sore_right"])
    ('A sore is marked on the right: nothing is laid on it before a veterinarian has seen it.',)
    """
    said = []
    for name in names:
        found = NOTED_FORM.fullmatch(name)
        if found and found[1] in HURT:
            said.append(HURT[found[1]].format(found[3]))
    return tuple(dict.fromkeys(said))
