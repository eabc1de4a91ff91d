"""`fitsim compare`: two or more trees on one scan, with how sure the difference is."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fitsim.commands.options import common_options, fit_options, scan_file, scan_options
from fitsim.errors import BadSettings


@click.command()
@click.argument("file", metavar="SCAN")
@click.argument("trees", metavar="TREE TREE...", nargs=-1, required=True)
@fit_options
@click.option(
    "--backs",
    type=click.IntRange(10, 5000),
    default=100,
    show_default=True,
    help="Plausible backs on which all trees are tried.",
)
@click.option("--seed", type=int, default=1, show_default=True)
@scan_options
@click.option(
    "-o",
    "--output",
    metavar="DIR",
    default="compare-out",
    show_default=True,
    help="Folder for compare.html and the other files.",
)
@common_options
def compare(file: str, trees: tuple[str, ...], output: str, **options: Any) -> None:  # noqa: ANN401
    """Compare trees on one scan: side by side, with how sure the difference is.

    \b
    Example:
      fitsim compare back.ply riding-narrow riding-wide --unit mm -o compare-out
    """  # noqa: D301
    from fitsim.commands.job import refuse_file
    from fitsim.draw.renderer import require_renderer
    from fitsim.files import whole_folder
    from fitsim.progress import counted, watched
    from fitsim.report.compare import compare_facts, compare_lines, write_compare
    from fitsim.report.contract import as_json
    from fitsim.rig.read import read_load, read_pad, read_rig
    from fitsim.study.compare import compared
    from fitsim.study.job import read_back
    from fitsim.tree.read import read_tree

    if len(trees) < 2:  # noqa: PLR2004 - one is nothing to compare
        raise BadSettings(trees[0], "is one tree alone", "name two or more")
    folder = Path(output)
    refuse_file(folder)
    require_renderer()
    read = [read_tree(name, options["tree_unit"], options["tree_front"]) for name in trees]
    pad, rig = read_pad(options["pad"]), read_rig(options["rig"])
    load = read_load(options["load"], options["slope"], options["side_slope"])
    stages = watched({}, quiet=options["quiet"])
    _, back = read_back(scan_file(file, options), stages)
    found = compared(
        back,
        read,
        pad=pad,
        rig=rig,
        load=load,
        at=options["at"],
        count=options["backs"],
        seed=options["seed"],
        say=counted(quiet=options["quiet"]),
    )
    with stages("pictures", "drawing and writing"), whole_folder(folder) as draft:
        write_compare(found, draft, options["system"])
    if options["as_json"]:
        click.echo(as_json(compare_facts(found)), nl=False)
        return
    lines = [*compare_lines(found, options["system"]), "", f"Open {folder / 'compare.html'}."]
    click.echo("\n".join(lines))
