"""`fitsim sizes`: one tree for many animals."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitsim.commands.options import common_options, scan_file, scan_options, tree_options
from fitsim.errors import BadScan, BadSettings, FitsimError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitsim.back.back import Back
    from fitsim.progress import Stages

USUAL = ("front-spread", "rear-spread", "front-angle", "rear-angle")
"""What sizes of one stock tree differ in, unless told; its bar stays the same."""

SCANS = frozenset({".ply", ".obj", ".stl", ".glb", ".gltf", ".off", ".pcd", ".xyz", ".csv"})
"""Endings of files in a folder that are taken for scans."""


@click.command()
@click.argument("scans", metavar="SCAN...", nargs=-1, required=True)
@tree_options
@click.option(
    "--vary",
    multiple=True,
    metavar="SETTING",
    help="What sizes differ in, with limits or without: 'front-spread=50..90 mm'. Repeat it. "
    "[default: spreads and angles; on stepped arches what they can be set to]",
)
@click.option("--tried", type=click.IntRange(2, 4096), default=64, show_default=True,
              help="Sizes tried on every animal.")  # fmt: skip
@click.option("--share", type=click.FloatRange(0.0, 1.0, min_open=True), default=0.95,
              show_default=True, help="Share of the animals to be served.")  # fmt: skip
@click.option("--seed", type=int, default=1, show_default=True)
@scan_options
@click.option("-o", "--output", metavar="JSON", help="Write every score here.")
@common_options
def sizes(scans: tuple[str, ...], output: str | None, **options: Any) -> None:  # noqa: ANN401
    """Say which size of a tree serves most animals, who is left out, how many sizes are needed.

    A folder stands for the scans in it. Options about a scan hold for all of them.

    \b
    Example:
      fitsim sizes herd/ --unit mm --tree riding-middle --share 0.9
    """  # noqa: D301
    from fitsim.commands.search import setup_on
    from fitsim.progress import counted, watched
    from fitsim.report.contract import as_json
    from fitsim.report.sizes import sizes_facts, sizes_lines
    from fitsim.study.sizes import setups_of, sizes_for

    stages = watched({}, quiet=options["quiet"])
    if not options["vary"]:
        options["vary"] = _usual(options)
    backs, skipped = _backs(scans_named(scans), options, stages)
    setups = setups_of(setup_on(next(iter(backs.values())), options), backs)
    found = sizes_for(
        setups,
        count=options["tried"],
        share=options["share"],
        seed=options["seed"],
        say=counted(quiet=options["quiet"]),
    )
    space = next(iter(setups.values())).space
    facts = sizes_facts(found, space, skipped, options["share"])
    if output:
        from fitsim.files import write_text

        write_text(output, as_json(facts))
    if options["as_json"]:
        click.echo(as_json(facts), nl=False)
        return
    lines = sizes_lines(found, space, skipped, options["share"], options["system"])
    click.echo("\n".join(lines))


def _usual(options: dict[str, Any]) -> tuple[str, ...]:
    """The settings of a stock tree's sizes; nothing told where its arches go in steps."""
    from fitsim.study.job import DEFAULT_TREE
    from fitsim.study.search.space import steps_of
    from fitsim.tree.read import read_tree

    tree = read_tree(options["tree"] or DEFAULT_TREE, options["tree_unit"], options["tree_front"])
    steps = steps_of(tree) if tree.settings else {}
    return tuple(steps) or USUAL


def scans_named(scans: Sequence[str]) -> list[Path]:
    """Every scan named, and those in folders named."""
    files: list[Path] = []
    for name in scans:
        path = Path(name)
        if path.is_dir():
            inside = sorted(p for p in path.iterdir() if p.suffix.lower() in SCANS)
            if not inside:
                raise BadScan(name, "there is no scan in this folder", "name another folder")
            files += inside
        else:
            files.append(path)
    return files


def _backs(
    files: Sequence[Path], options: dict[str, Any], stages: Stages
) -> tuple[dict[str, Back], dict[str, str]]:
    """A back from every scan that has one, and why not from the others."""
    from dataclasses import replace

    from fitsim.commands.search import SPACING
    from fitsim.study.job import read_back

    backs: dict[str, Back] = {}
    skipped: dict[str, str] = {}
    for path in files:
        scan = scan_file(str(path), options)
        try:
            _, back = read_back(replace(scan, spacing=scan.spacing or SPACING), stages)
        except FitsimError as fault:
            skipped[str(path)] = str(fault)
            continue
        backs[path.stem if path.stem not in backs else str(path)] = back
    if not backs:
        raise BadSettings(str(files[0]), f"and {len(files) - 1} more hold no back",
                          "; ".join(skipped.values()))  # fmt: skip
    return backs, skipped
