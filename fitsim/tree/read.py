"""Read a tree: a settings file, a name in the library, or a mesh."""

from __future__ import annotations

from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

from fitsim.errors import BadSettings
from fitsim.settings import checked, parsed, read_settings
from fitsim.tree.build import tree_from_settings
from fitsim.tree.library import library_names, library_text
from fitsim.tree.settings import TreeSettings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitsim.scan.scan import Unit
    from fitsim.tree.tree import Tree
    from fitsim.tree.upright import Way

#: A line that would be right.
EXAMPLE = 'length = "560 mm"'

#: File endings that are read as meshes.
MESHES = (".stl", ".ply", ".obj", ".off", ".glb", ".gltf")


def read_tree(path_or_name: str | Path, unit: Unit | None = None, front: Way | None = None) -> Tree:
    """Read a tree from a TOML file, the library or a mesh.

    Parameters
    ----------
    path_or_name : str or Path
        A file, or a name from `fitsim.tree.library.library_names`.
    unit : {"m", "cm", "mm", "inch"}, optional
        Unit of a mesh's coordinates; settings files carry their own.
    front : {"+x", "-x", "+y", "-y", "+z", "-z"}, optional
        Which way in a mesh its front points; found if not given.

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
        return tree_from_settings(parsed(library_text(name), name, TreeSettings, EXAMPLE), name)
    if not path.is_file():
        raise _nothing_there(name)
    if path.suffix.lower() in MESHES:
        from fitsim.tree.mesh import tree_from_mesh

        return tree_from_mesh(path, unit, front=front)
    return tree_from_settings(read_settings(path, TreeSettings, EXAMPLE), name)


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
        The first fault found, with its key and the mend.

    Examples
    --------
    >>> tree = read_tree("pack-fixed")
    >>> settings_from(tree.settings).bar.length
    0.56
    """
    return checked(data, where, TreeSettings, si=True)


def settings_of(tree: Tree) -> TreeSettings:
    """Settings that a tree was built from.

    Parameters
    ----------
    tree : Tree

    Returns
    -------
    TreeSettings

    Raises
    ------
    BadSettings
        It came from a mesh.
    """
    require_settings(tree)
    return settings_from(tree.settings, tree.name)


def require_settings(tree: Tree) -> None:
    """Refuse a tree that came from a mesh where its settings are asked for.

    Parameters
    ----------
    tree : Tree

    Raises
    ------
    BadSettings
    """
    if not tree.settings:
        raise BadSettings(
            tree.name,
            "came from a mesh and has no settings",
            "fit a bar to it first: fitsim tree MESH -o fitted.toml",
        )


def _nothing_there(name: str) -> BadSettings:
    near = get_close_matches(name, library_names(), n=1)
    listed = "give a file, or one of " + ", ".join(library_names())
    mend = f"did you mean {near[0]!r}" if near else listed
    return BadSettings(name, "there is no such tree file and no such tree in the library", mend)
