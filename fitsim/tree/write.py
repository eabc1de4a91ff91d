"""Write a tree file that `fitsim.tree.read.read_tree` reads again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.files import write_text
from fitsim.settings import in_words
from fitsim.tree.read import settings_of

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.tree.tree import Tree


def write_tree(tree: Tree, path: Path, about: str = "") -> None:
    """Write the settings of a tree, every quantity with its unit.

    Parameters
    ----------
    tree : built from settings.
    path : of the file, replaced whole.
    about : a sentence for the file's ``about``; the tree's own if empty.

    Raises
    ------
    BadSettings
        The tree came from a mesh, so that there are no settings to write.
    """
    import tomli_w

    data = in_words(settings_of(tree))
    write_text(path, tomli_w.dumps({**data, **({"about": about} if about else {})}))
