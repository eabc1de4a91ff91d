"""Read a tree: a settings file, a name in the library, or a mesh."""

from __future__ import annotations

import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from pydantic import BaseModel, ValidationError

from fitsim.errors import BadSettings
from fitsim.tree.build import tree_from_settings
from fitsim.tree.library import library_names, library_text
from fitsim.tree.settings import SI, TreeSettings

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pydantic_core import ErrorDetails

    from fitsim.scan.scan import Unit
    from fitsim.tree.tree import Tree

#: File endings that are read as meshes.
MESHES = (".stl", ".ply", ".obj", ".off", ".glb", ".gltf")


def read_tree(path_or_name: str | Path, unit: Unit | None = None) -> Tree:
    """Read a tree from a TOML file, the library or a mesh.

    Parameters
    ----------
    path_or_name : str or Path
        A file, or a name from `fitsim.tree.library.library_names`.
    unit : {"m", "cm", "mm", "inch"}, optional
        Unit of a mesh's coordinates; settings files carry their own.

    Returns
    -------
    Tree

    Raises
    ------
    BadSettings
        There is no such file or name, or what it says makes no tree.

    Examples
    --------
    >>> read_tree("riding-middle").name
    'Riding tree, middle'
    """
    name = str(path_or_name)
    path = Path(path_or_name)
    if name in library_names():
        return tree_from_settings(parsed(library_text(name), name), name)
    if not path.is_file():
        raise _nothing_there(name)
    if path.suffix.lower() in MESHES:
        from fitsim.tree.mesh import tree_from_mesh

        return tree_from_mesh(path, unit)
    return tree_from_settings(parsed(_text(path), path.name), path.name)


def parsed(text: str, where: str) -> TreeSettings:
    """Settings from the text of a tree file.

    Parameters
    ----------
    text : TOML.
    where : file or library name, for faults.

    Returns
    -------
    TreeSettings, SI.

    Raises
    ------
    BadSettings
        The first fault found, with its key and the mend.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadSettings(
            where, f"is not a tree file ({error})", "mend the line or start from a library tree"
        ) from error
    return _validated(data, where, None)


def settings_from(data: Mapping[str, object], where: str = "settings") -> TreeSettings:
    """Settings from plain SI numbers, as `Tree.settings` keeps them.

    Parameters
    ----------
    data : nested mapping in SI, for example a changed copy of `Tree.settings`.
    where : for faults.

    Returns
    -------
    TreeSettings

    Raises
    ------
    BadSettings
        See `parsed`.

    Examples
    --------
    >>> tree = read_tree("pack-fixed")
    >>> settings_from(tree.settings).bar.length
    0.56
    """
    return _validated(data, where, SI)


def _validated(
    data: Mapping[str, object], where: str, context: dict[str, bool] | None
) -> TreeSettings:
    try:
        return TreeSettings.model_validate(data, context=context)
    except ValidationError as error:
        raise _fault(error.errors(), where) from error


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BadSettings(
            path.name,
            "cannot be read as a tree file",
            "give a text file of settings or a mesh ending in " + ", ".join(MESHES),
        ) from error


def _nothing_there(name: str) -> BadSettings:
    near = get_close_matches(name, library_names(), n=1)
    mend = f"did you mean '{near[0]}'? " if near else ""
    mend += "give a file, or one of " + ", ".join(library_names())
    return BadSettings(name, "there is no such tree file and no such tree in the library", mend)


def _fault(errors: Sequence[ErrorDetails], where: str) -> BadSettings:
    """One sentence for the first fault, unknown keys before missing ones (a slip gives both)."""
    order = {"extra_forbidden": 0, "missing": 2}
    error = min(errors, key=lambda e: order.get(e["type"], 1))
    key = ".".join(str(part) for part in error["loc"])
    place = f"{where}, {key}" if key else where
    fault, mend = _sentence(error)
    return BadSettings(place, fault, mend)


def _sentence(error: ErrorDetails) -> tuple[str, str]:
    """Fault and mend of one validation error."""
    context = error.get("ctx", {})
    match error["type"]:
        case "extra_forbidden":
            said = ("is not a setting", _nearest(error["loc"]))
        case "missing":
            said = ("is missing", "add it, see docs/tree-file.md")
        case "quantity":
            said = (context["fault"], context["mend"])
        case "greater_than":
            said = ("is zero or negative", "give a positive value")
        case "greater_than_equal":
            said = ("is negative", "give a value of 0 or more")
        case "literal_error":
            said = (f"'{error['input']}' is no choice", f"write {context['expected']}")
        case "value_error":
            said = ("does not add up", str(context["error"]))
        case _:
            said = (f"cannot be used ({error['msg']})", "see docs/tree-file.md")
    return said


def _nearest(loc: Sequence[int | str]) -> str:
    """Mend for an unknown key: the nearest key its table has."""
    table: type[BaseModel] = TreeSettings
    for part in loc[:-1]:
        table = _table_of(table, str(part))
    known = list(table.model_fields)
    near = get_close_matches(str(loc[-1]), known, n=1, cutoff=0.5)
    if near:
        return f"did you mean '{near[0]}'?"
    return "take it out, or write one of " + ", ".join(known)


def _table_of(table: type[BaseModel], key: str) -> type[BaseModel]:
    annotation = table.model_fields[key].annotation
    for kind in (annotation, *get_args(annotation)):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
    return table
