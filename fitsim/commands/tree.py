"""`fitsim tree`: what a tree is, and a mesh of one as settings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitsim.commands.options import common_options, mesh_options

if TYPE_CHECKING:
    from fitsim.tree.tree import Tree


@click.command()
@click.argument("name", metavar="TREE")
@mesh_options
@click.option("-o", "--output", metavar="FILE", help="Write its settings to this file.")
@common_options
def tree(name: str, output: str | None, **options: Any) -> None:  # noqa: ANN401 - click's
    """Say what a tree measures; a mesh of one is fitted by a bar of settings first.

    Settings can then be changed in a text editor, tried with `fitsim fit`, searched with
    `fitsim search` and drawn with `fitsim template`.

    \b
    Example:
      fitsim tree riding-middle -o mine.toml
    """  # noqa: D301
    from fitsim.progress import watched
    from fitsim.tree.write import write_tree
    from fitsim.workshop.built import built

    with watched({}, quiet=options["quiet"])("tree", "reading the tree"):
        made, notes, left = settled(name, options)
    if output:
        write_tree(made, Path(output))
    if options["as_json"]:
        from fitsim.report.contract import as_json
        from fitsim.workshop.dimensions import facts

        said = {
            "tree": made.name,
            "settings": made.settings,
            "dimensions_si": facts(built(made)),
            "fitted": left,
            "notes": list(notes),
            "file": output,
        }
        click.echo(as_json(said), nl=False)
        return
    _say(made, notes, output, options["system"])


def settled(
    name: str, options: dict[str, Any]
) -> tuple[Tree, tuple[str, ...], dict[str, float] | None]:
    """A tree with settings, fitted where it is a mesh; what to say of it; what is left, mm."""
    from fitsim.tree.build import tree_from_settings
    from fitsim.tree.fitted import fitted
    from fitsim.tree.read import read_tree

    read = read_tree(name, options["tree_unit"], options["tree_front"])
    if read.settings:
        return read, read.notes, None
    found = fitted(read)
    left = {"rms_mm": 1e3 * found.rms, "worst_mm": 1e3 * found.worst}
    return tree_from_settings(found.settings, name), (*read.notes, *found.notes), left


def _say(made: Tree, notes: tuple[str, ...], output: str | None, system: str) -> None:
    from fitsim.workshop.built import built
    from fitsim.workshop.dimensions import dimensions, in_words

    click.echo(made.name)
    for one in dimensions(built(made), ()):
        words = in_words(one)
        click.echo(f"  {words[0]:<52} {words[2 if system == 'inch' else 1]}")
    for note in notes:
        click.echo(f"Note: {note}.")
    if output:
        click.echo(f"\n  {output}: its settings, to change and to read again")
