"""`fitsim template`: a tree's workshop drawings, solids and dimension sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitsim.commands.options import Length, common_options, mesh_options

if TYPE_CHECKING:
    from fitsim.workshop.built import Built


@click.command()
@click.argument("tree", metavar="TREE")
@mesh_options
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True,
    help="Sheets of the templates.",
)  # fmt: skip
@click.option(
    "--station",
    "stations",
    type=Length("mm"),
    multiple=True,
    help="Take a section this far behind the front tip. Repeat it. [default: at both arches, amid "
    "them and where the tips start]",
)
@click.option(
    "-o",
    "--output",
    metavar="DIR",
    default="template-out",
    show_default=True,
    help="Folder for templates.pdf and the other files.",
)
@common_options
def template(tree: str, output: str, **options: Any) -> None:  # noqa: ANN401 - click's
    """Draw a tree for the workshop: sections and a profile in true size, solids, dimensions.

    A mesh is fitted by a bar of measures first, and how far that is off is said.

    \b
    Example:
      fitsim template riding-middle -o riding-middle-template
    """  # noqa: D301
    from fitsim.commands.job import refuse_file
    from fitsim.progress import watched
    from fitsim.workshop.write import write_template

    folder, stages = Path(output), watched({}, quiet=options["quiet"])
    refuse_file(folder)
    with stages("tree", "reading the tree"):
        made, notes = _built(tree, options)
    with stages("files", "drawing"):
        stations = write_template(made, folder, options["paper"], options["stations"])
    if options["as_json"]:
        _say_json(made, folder, stations, notes)
    else:
        _say_words(made, folder, stations, notes, options["system"])


def _built(name: str, options: dict[str, Any]) -> tuple[Built, tuple[str, ...]]:
    """The tree with its measures, fitted first where it is a mesh; and what to say of it."""
    from fitsim.commands.tree import settled
    from fitsim.workshop.built import built

    tree, notes, _ = settled(name, options)
    return built(tree), notes


def _say_json(
    made: Built, folder: Path, stations: tuple[float, ...], notes: tuple[str, ...]
) -> None:
    from fitsim.report.contract import as_json
    from fitsim.workshop.dimensions import facts
    from fitsim.workshop.write import FILES

    said = {
        "tree": made.tree.name,
        "stations_mm": [round(at * 1e3, 3) for at in stations],
        "dimensions_si": facts(made, stations),
        "notes": list(notes),
        "files": [str(folder / name) for name in FILES],
    }
    click.echo(as_json(said), nl=False)


def _say_words(
    made: Built,
    folder: Path,
    stations: tuple[float, ...],
    notes: tuple[str, ...],
    system: str,
) -> None:
    from fitsim.workshop.dimensions import dimensions, in_words
    from fitsim.workshop.write import FILES

    click.echo(made.tree.name)
    column = 2 if system == "inch" else 1
    for one in dimensions(made, stations):
        words = in_words(one)
        click.echo(f"  {words[0]:<52} {words[column]}")
    for note in notes:
        click.echo(f"Note: {note}.")
    click.echo("")
    for name, what in FILES.items():
        click.echo(f"  {folder / name}: {what}")
    click.echo("Print at 100 % and hold a rule against the printed one before you cut.")
