"""The same tree with some of its settings changed."""

from __future__ import annotations

from copy import deepcopy
from typing import TYPE_CHECKING

from fitsim.errors import BadSettings
from fitsim.tree.build import tree_from_settings
from fitsim.tree.read import require_settings, settings_from

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitsim.tree.tree import Tree

#: Keys of which one may stand in a table, so that giving one takes the other out.
EITHER = {
    "spread": "inner_edge",
    "inner_edge": "spread",
    "sagitta": "radius",
    "radius": "sagitta",
}


def adjusted(tree: Tree, changes: Mapping[str, object], spacing: float = 0.002) -> Tree:
    """Build a tree anew with some settings changed.

    An arch that goes in steps may be set between them here; whether it can be is for whoever
    asks to look up in ``spread_steps`` and ``angle_steps``.

    Parameters
    ----------
    tree : built from settings.
    changes : values in SI by dotted key, for example ``{"arches.front.spread": 0.06}``; of several
        pockets, slots or notches one is named by its number, ``"bar.pocket.0.depth"``.
    spacing : m, grid of the undersides.

    Returns
    -------
    Tree

    Raises
    ------
    BadSettings
        The tree came from a mesh, a key is unknown or a value cannot be.

    Examples
    --------
    >>> from fitsim.tree.read import read_tree
    >>> wider = adjusted(read_tree("pack-fixed"), {"arches.front.inner_edge": 0.035})
    >>> wider.settings["arches"]["front"]["inner_edge"]
    0.035
    """
    require_settings(tree)
    data = deepcopy(tree.settings)
    for key, value in changes.items():
        _set(data, key, value, tree.name)
    arches = data["arches"]
    if isinstance(arches, dict):
        for arch in (arches["front"], arches["rear"]):
            arch.pop("spread_steps", None)
            arch.pop("angle_steps", None)
    return tree_from_settings(settings_from(data, tree.name), tree.name, spacing)


def _set(data: dict[str, object], key: str, value: object, where: str) -> None:
    *path, last = key.split(".")
    table: object = data
    for part in path:
        table = _within(table, part)
    if not isinstance(table, dict):
        raise BadSettings(f"{where}, {key}", "is not a setting", "see docs/tree-file.md")
    table.pop(EITHER.get(last, ""), None)
    table[last] = value


def _within(table: object, part: str) -> object:
    """What a table holds under a key, or a list at a number; None if nothing."""
    if isinstance(table, dict):
        return table.get(part)
    if isinstance(table, list | tuple) and part.isdigit() and int(part) < len(table):
        return table[int(part)]
    return None
