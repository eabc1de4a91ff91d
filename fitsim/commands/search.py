"""`fitsim search`: the settings of a tree that fit one back best."""

from __future__ import annotations

import sys
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitsim import __version__
from fitsim.commands.options import common_options, scan_file, scan_options, tree_options
from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from fitsim.back.back import Back
    from fitsim.progress import Stages
    from fitsim.study.search.search import Plan
    from fitsim.study.search.trial import Setup

SPACING = 0.015
"""m: grid a search uses unless told; coarser than a fit's, for it solves hundreds of them."""


@click.command()
@click.argument("file", metavar="SCAN")
@tree_options
@click.option(
    "--vary",
    multiple=True,
    metavar="SETTING",
    help="What may change, with limits or without: 'front-spread=50..90 mm'. Repeat it. "
    "[default: spreads, angles, curve and place; on stepped arches what they can be set to]",
)
@click.option(
    "--care",
    multiple=True,
    metavar="GOAL=N",
    help="Let a goal count N times: pressure, even, shoulder, spared or steady. Repeat it.",
)
@click.option("--trials", type=click.IntRange(24, 20000), default=216, show_default=True)
@click.option("--backs", type=click.IntRange(0, 200), default=8, show_default=True,
              help="Plausible backs on which the best few are tried.")  # fmt: skip
@click.option("--seed", type=int, default=1, show_default=True)
@scan_options
@click.option(
    "-o",
    "--output",
    metavar="DIR",
    default="search-out",
    show_default=True,
    help="Folder for tree.toml and the rest; a stopped search goes on from it.",
)
@common_options
def search(file: str, output: str, **options: Any) -> None:  # noqa: ANN401 - click's
    """Search for the settings of a tree that fit one scan best: five goals, one answer.

    \b
    Example:
      fitsim search back.ply --unit mm --tree riding-middle --vary front-spread --vary at
    """  # noqa: D301
    from fitsim.cli import INTERRUPTED
    from fitsim.progress import counted, watched
    from fitsim.report.contract import as_json
    from fitsim.report.search import search_facts, search_lines, write_search
    from fitsim.study.search.journal import Journal
    from fitsim.study.search.search import Plan
    from fitsim.study.search.search import search as searched

    folder = Path(output)
    stages = watched({}, quiet=options["quiet"])
    plan = Plan(options["trials"], options["seed"], options["backs"], _care(options["care"]))
    setup = _setup(file, options, stages)
    journal = Journal(folder, _all_it_hangs_on(setup, plan))
    try:
        found = searched(setup, plan, journal, counted(quiet=options["quiet"]))
    except KeyboardInterrupt:
        click.echo(
            f"\nStopped after {len(journal)} trials, which are kept in {folder}. "
            "The same command goes on from there.",
            err=True,
        )
        sys.exit(INTERRUPTED)
    with stages("files", "writing the files"):
        write_search(setup, plan, found, journal.trials(), folder)
    if options["as_json"]:
        click.echo(as_json(search_facts(setup, plan, found)), nl=False)
        return
    click.echo("\n".join(search_lines(setup, plan, found, folder, file, system=options["system"])))


def _setup(file: str, options: dict[str, Any], stages: Stages) -> Setup:
    """What is searched; faults in settings are found before the scan is read."""
    from fitsim.study.job import read_back

    settings = _settings(options)
    scan = scan_file(file, options)
    _, back = read_back(replace(scan, spacing=scan.spacing or SPACING), stages)
    return setup_on(back, options, settings)


def setup_on(back: Back, options: dict[str, Any], settings: dict[str, Any] | None = None) -> Setup:
    """The tree, rig, pad and load of the options on one back."""
    from fitsim.contact.foundation import build_foundation
    from fitsim.study.search.trial import Setup

    foundation = build_foundation(back.chart, back.tissue)
    return Setup(back=back, foundation=foundation, **(settings or _settings(options)))


def _settings(options: dict[str, Any]) -> dict[str, Any]:
    from fitsim.rig.read import read_load, read_pad, read_rig
    from fitsim.study.job import DEFAULT_TREE
    from fitsim.study.search.space import space_of
    from fitsim.tree.read import read_tree

    tree = read_tree(options["tree"] or DEFAULT_TREE, options["tree_unit"], options["tree_front"])
    rig, at = read_rig(options["rig"]), options["at"]
    return {
        "tree": tree,
        "pad": read_pad(options["pad"]),
        "rig": rig,
        "load": read_load(options["load"], options["slope"], options["side_slope"]),
        "at": at or 0.0,
        "space": space_of(tree, rig, at, options["vary"]),
    }


def _care(told: tuple[str, ...]) -> dict[str, float]:
    from fitsim.study.search.goals import GOALS

    care = {}
    for text in told:
        goal, _, weight = (part.strip() for part in text.partition("="))
        if goal not in GOALS:
            raise BadSettings(text, "there is no such goal", f"use one of {', '.join(GOALS)}")
        try:
            care[goal] = float(weight)
        except ValueError:
            care[goal] = -1.0
        if not 0.0 < care[goal] < 1e6:  # noqa: PLR2004 - anything more is a slip
            raise BadSettings(text, "has no weight above 0", f'write it like "{goal}=2"')
    return care


def _all_it_hangs_on(setup: Setup, plan: Plan) -> dict[str, Any]:
    """What must be the same for a stopped search to go on."""
    back = setup.back
    return {
        "version": __version__,
        "scan": back.provenance.sha256,
        "frame": back.T_body_scan.round(9).tolist(),
        "spacing": back.chart.spacing,
        "marks": {name: mark.points.round(6).tolist() for name, mark in back.marks.items()},
        "tree": setup.tree.settings,
        "pad": asdict(setup.pad),
        "rig": asdict(setup.rig),
        "load": asdict(setup.load),
        "at": setup.at,
        "knobs": [asdict(knob) for knob in setup.space.knobs],
        "plan": {
            key: value for key, value in vars(plan).items() if key in ("seed", "care", "backs")
        },
    }
