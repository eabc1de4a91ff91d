"""`fitsim compare`: trees on one scan, or one tree on several, with how sure the difference is."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitsim.commands.options import Length, common_options, fit_options, scan_file, scan_options
from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fitsim.back.back import Back
    from fitsim.progress import Stages
    from fitsim.study.compare import Comparison

TWO = 2


@click.command()
@click.argument("names", metavar="SCAN TREE TREE... | SCAN SCAN...", nargs=-1, required=True)
@click.option("--tree", metavar="TREE", help="One tree for several scans: all names are scans.")
@click.option(
    "--same-animal",
    is_flag=True,
    help="The scans are of one animal, before and after a season say: what is not known of it is "
    "the same on each.",
)
@click.option(
    "--marks-on",
    nargs=2,
    multiple=True,
    metavar="SCAN FILE",
    help="Marks on one of several scans. Repeat it.",
)
@click.option(
    "--coat-on",
    nargs=2,
    multiple=True,
    type=(str, Length("mm")),
    metavar="SCAN MM",
    help="How deep the hair stands on one of several scans, in place of --coat. Repeat it.",
)
@fit_options
@click.option(
    "--backs",
    type=click.IntRange(10, 5000),
    default=100,
    show_default=True,
    help="Plausible backs on which all are tried.",
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
def compare(names: tuple[str, ...], output: str, **options: Any) -> None:  # noqa: ANN401
    """Compare trees on one scan, or one tree on several scans, with how sure the difference is.

    A folder stands for the scans in it. Options about a scan hold for all of them.

    \b
    Examples:
      fitsim compare back.ply riding-narrow riding-wide --unit mm -o compare-out
      fitsim compare grey.ply bay.ply --tree riding-middle -o compare-out
    """  # noqa: D301
    from fitsim.commands.job import refuse_file
    from fitsim.draw.renderer import require_renderer
    from fitsim.files import whole_folder
    from fitsim.progress import watched
    from fitsim.report.compare import compare_facts, compare_lines
    from fitsim.report.compare_page import write_compare
    from fitsim.report.contract import as_json

    folder = Path(output)
    run = _trees_on_one(names, options) if options["tree"] is None else _scans(names, options)
    refuse_file(folder)
    require_renderer()
    stages = watched({}, quiet=options["quiet"])
    found = run(stages)
    with stages("pictures", "drawing and writing"), whole_folder(folder) as draft:
        write_compare(found, draft, options["system"])
    if options["as_json"]:
        click.echo(as_json(compare_facts(found)), nl=False)
        return
    lines = [*compare_lines(found, options["system"]), "", f"Open {folder / 'compare.html'}."]
    click.echo("\n".join(lines))


def _trees_on_one(names: Sequence[str], options: dict[str, Any]) -> Callable[[Stages], Comparison]:
    """Two or more trees on the first name, which is a scan; settings are read before it."""
    from fitsim.study.compare import compared
    from fitsim.study.job import read_back
    from fitsim.tree.read import read_tree

    file, *trees = names
    if len(trees) < TWO:
        mend = "name two or more trees after one scan, or two or more scans and one --tree"
        raise BadSettings(names[-1], "is nothing to compare with", mend)
    several = (
        ("--same-animal", "same_animal"), ("--marks-on", "marks_on"), ("--coat-on", "coat_on"),
    )  # fmt: skip
    for option, given in several:
        if options[given]:
            raise BadSettings(option, "is for several scans of one --tree", "leave it out")
    read = [read_tree(name, options["tree_unit"], options["tree_front"]) for name in trees]
    common = _common(options)

    def run(stages: Stages) -> Comparison:
        _, back = read_back(scan_file(file, options), stages)
        return compared(back, read, **common)

    return run


def _scans(names: Sequence[str], options: dict[str, Any]) -> Callable[[Stages], Comparison]:
    """One tree on two or more scans."""
    from fitsim.commands.sizes import scans_named
    from fitsim.study.compare import compared_on
    from fitsim.tree.read import read_tree

    files = scans_named(names)
    if len(files) < TWO:
        mend = "name two or more scans, or two or more trees without --tree"
        raise BadSettings(names[0], "is one scan alone", mend)
    for path in files:
        if files.count(path) > 1:
            raise BadSettings(str(path), "is named twice", "name each scan once")
    if options["marks"] is not None:
        fault = "one file of marks cannot hold for several scans"
        raise BadSettings(options["marks"], fault, "give --marks-on SCAN FILE for each instead")
    marks = {scan: Path(file) for scan, file in _told_on("marks_on", files, options).items()}
    coats = _told_on("coat_on", files, options)
    tree = read_tree(options["tree"], options["tree_unit"], options["tree_front"])
    common = _common(options)

    def run(stages: Stages) -> Comparison:
        backs = _backs(files, marks, coats, options, stages)
        return compared_on(backs, tree, same_animal=options["same_animal"], **common)

    return run


def _told_on(what: str, files: Sequence[Path], options: dict[str, Any]) -> dict[Path, Any]:
    """What an option tells of single scans, by scan."""
    told = {Path(scan): value for scan, value in options[what]}
    for scan in told:
        if scan not in files:
            option, fault = what.replace("_", "-"), "is none of the scans compared"
            raise BadSettings(f"--{option} {scan}", fault, "name it as it is named among the scans")
    return told


def _backs(
    files: Sequence[Path],
    marks: dict[Path, Path],
    coats: dict[Path, float],
    options: dict[str, Any],
    stages: Stages,
) -> dict[str, Back]:
    """The back of every scan, by the shortest name that tells it from the others."""
    from fitsim.study.job import read_back

    backs: dict[str, Back] = {}
    stems = [path.stem for path in files]
    for path in files:
        name = path.stem if stems.count(path.stem) == 1 else str(path)
        own = {**options, "coat": coats.get(path, options["coat"])}
        scan = replace(scan_file(str(path), own), marks=marks.get(path))
        _, backs[name] = read_back(scan, stages)
    return backs


def _common(options: dict[str, Any]) -> dict[str, Any]:
    """What is the same for all that is compared."""
    from fitsim.progress import counted
    from fitsim.rig.read import read_load, read_pad, read_rig

    return {
        "pad": read_pad(options["pad"]),
        "rig": read_rig(options["rig"]),
        "load": read_load(options["load"], options["slope"], options["side_slope"]),
        "at": options["at"],
        "count": options["backs"],
        "seed": options["seed"],
        "say": counted(quiet=options["quiet"]),
    }
