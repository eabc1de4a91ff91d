"""`fitsim template`: a tree's workshop drawings, solids and dimension sheet."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitsim.commands.options import Length, common_options, fit_options, scan_file, scan_options

if TYPE_CHECKING:
    from fitsim.progress import Stages
    from fitsim.workshop.built import Built
    from fitsim.workshop.drawing import Drawing


@dataclass
class _Extras:
    """What was asked for beside the usual drawings.

    Attributes
    ----------
    drawings : put last in the templates.
    files : content by name.
    what : what each file is.
    said : lines for people.
    facts : for programs.
    """

    drawings: list[Drawing] = field(default_factory=list)
    files: dict[str, str | bytes] = field(default_factory=dict)
    what: dict[str, str] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)
    facts: dict[str, object] = field(default_factory=dict)


@click.command()
@click.argument("tree", metavar="TREE")
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
    "--against",
    metavar="TREE",
    help="Lay another tree's undersides against these: a map of what is between them.",
)
@click.option(
    "--on",
    "scan",
    metavar="SCAN",
    help="Work out on this scan what to take off the undersides to relieve the hottest spot. The "
    "options below are for it.",
)
@scan_options
@fit_options
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
    from fitsim.commands.tree import settled
    from fitsim.progress import watched
    from fitsim.workshop.built import built
    from fitsim.workshop.write import write_template

    folder, stages = Path(output), watched({}, quiet=options["quiet"])
    refuse_file(folder)
    with stages("tree", "reading the tree"):
        read, notes, _ = settled(tree, options)
        made = built(read)
    extras = _Extras(said=[f"Note: {note}." for note in notes], facts={"notes": list(notes)})
    if options["against"]:
        _against(made, options, stages, extras)
    if options["scan"]:
        _on_scan(made, options, stages, extras)
    with stages("files", "drawing"):
        stations = write_template(
            made,
            folder,
            options["paper"],
            options["stations"],
            more=extras.drawings,
            beside=extras.files,
        )
    if options["as_json"]:
        _say_json(made, folder, stations, extras)
    else:
        _say_words(made, folder, stations, extras, options["system"])


def _against(made: Built, options: dict[str, Any], stages: Stages, extras: _Extras) -> None:
    """Compare with another tree."""
    from fitsim.draw.undersides import undersides
    from fitsim.tree.against import against
    from fitsim.tree.read import read_tree

    with stages("against", "laying the trees on each other"):
        other = read_tree(options["against"], options["tree_unit"], options["tree_front"])
        found = against(made.tree, other)
        extras.files["against.png"] = undersides(found, options["system"])
    extras.what["against.png"] = f"what is between this tree's undersides and {other.name}'s"
    extras.facts["against"] = {"tree": other.name, "rms_mm": 1e3 * found.rms}
    extras.said.append(
        f"{other.name} laid on it: {1e3 * found.rms:.2f} mm apart (root mean square, no edges)."
    )


def _on_scan(made: Built, options: dict[str, Any], stages: Stages, extras: _Extras) -> None:
    """What to take off for the hottest spot on a scan."""
    from fitsim.rig.read import read_load, read_pad, read_rig
    from fitsim.study.job import read_back
    from fitsim.study.rasp import rasped
    from fitsim.workshop.rasp_map import rasp_drawings, rasp_table

    pad, rig = read_pad(options["pad"]), read_rig(options["rig"])
    load = read_load(options["load"], options["slope"], options["side_slope"])
    _, back = read_back(scan_file(options["scan"], options), stages)
    with stages("rasp", "trying what to take off"):
        found = rasped(back, made.tree, pad=pad, rig=rig, load=load, at=options["at"])
    before, after = found.before / 1e3, found.after / 1e3
    shimmed = found.shimmed / 1e3 if isfinite(found.shimmed) else None
    deepest = [1e3 * float(depth.max()) for depth in found.depth]
    extras.facts["take_off"] = {
        "case": found.case,
        "peak_before_kpa": before,
        "peak_after_kpa": after,
        "peak_with_shims_kpa": shimmed,
        "deepest_mm": {"left": deepest[0], "right": deepest[1]},
    }
    if not max(deepest):
        extras.said.append(f"Nothing taken off would cool the hottest spot ({before:.1f} kPa).")
        return
    extras.drawings += rasp_drawings(made, found)
    extras.files["take-off.csv"] = rasp_table(found)
    extras.what["take-off.csv"] = "how much to take off, or to lay under, place by place, mm"
    extras.said.append(
        f"Taking off up to {max(deepest):.1f} mm as drawn lowers the highest pressure from "
        f"{before:.1f} to {after:.1f} kPa in the model (case {found.case})."
    )
    if shimmed is not None and shimmed < before:
        extras.said.append(
            f"Shims laid under as listed, which can be taken out again, give {shimmed:.1f} kPa."
        )


def _say_json(made: Built, folder: Path, stations: tuple[float, ...], extras: _Extras) -> None:
    from fitsim.report.contract import as_json
    from fitsim.workshop.dimensions import facts
    from fitsim.workshop.write import FILES

    said = {
        "tree": made.tree.name,
        "stations_mm": [round(at * 1e3, 3) for at in stations],
        "dimensions_si": facts(made, stations),
        **extras.facts,
        "files": [str(folder / name) for name in (*FILES, *extras.what)],
    }
    click.echo(as_json(said), nl=False)


def _say_words(
    made: Built, folder: Path, stations: tuple[float, ...], extras: _Extras, system: str
) -> None:
    from fitsim.workshop.dimensions import dimensions, in_words
    from fitsim.workshop.printing import CAUTION
    from fitsim.workshop.write import FILES

    click.echo(made.tree.name)
    column = 2 if system == "inch" else 1
    for one in dimensions(made, stations):
        words = in_words(one)
        click.echo(f"  {words[0]:<52} {words[column]}")
    for line in extras.said:
        click.echo(line)
    click.echo("")
    for name, what in {**FILES, **extras.what}.items():
        click.echo(f"  {folder / name}: {what}")
    click.echo("Print at 100 % and hold a rule against the printed one before you cut.")
    click.echo(CAUTION)
