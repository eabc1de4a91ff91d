"""`fitsim cinches`: how tight to draw the front and the rear cinch."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitsim.commands.options import common_options, job_of, scan_options, tree_options
from fitsim.errors import NoEquilibrium

if TYPE_CHECKING:
    from fitsim.study.cinch_map import CinchMap
    from fitsim.study.set_up import SetUp
    from fitsim.units import System


@click.command()
@click.argument("file", metavar="SCAN")
@click.option(
    "--steps",
    type=click.IntRange(4, 40),
    default=15,
    show_default=True,
    help="Tensions tried for each cinch.",
)
@click.option(
    "--most",
    type=click.FloatRange(20.0, 2000.0),
    default=400.0,
    show_default=True,
    metavar="NEWTON",
    help="Highest tension of a strap end.",
)
@tree_options
@scan_options
@click.option(
    "-o",
    "--output",
    metavar="DIR",
    help="Write cinches.png, cinches.json and cinches.csv into this folder.",
)
@common_options
def cinches(
    file: str,
    steps: int,
    most: float,
    output: str | None,
    **options: Any,  # noqa: ANN401
) -> int:
    """Map front tension by rear tension, and say where every rule is kept.

    Without --load the tree carries nothing, as when the cinches are drawn. Both sides pull alike.

    \b
    Example:
      fitsim cinches back.ply --unit mm --tree riding-middle -o cinches-out
    """  # noqa: D301
    from fitsim.commands.job import refuse_file
    from fitsim.progress import watched
    from fitsim.report.cinch_lines import cinch_facts, cinch_lines
    from fitsim.report.contract import as_json
    from fitsim.study.cinch_map import cinch_map
    from fitsim.study.set_up import set_up

    if output:
        refuse_file(Path(output))
    stages = watched({}, quiet=options["quiet"])
    job = job_of(file, options)
    on = set_up(replace(job, load=job.load or "none"), stages)
    with stages("map", f"solving {steps} x {steps} pairs of tensions"):
        found = cinch_map(on.back, on.laid, on.rig, on.load, steps=steps, most=most)
    tree, scan = on.laid.problem.tree.name, on.back.provenance.name
    facts = {"scan": scan, "tree": tree, "pad": on.laid.problem.pad.name, **cinch_facts(found)}
    if output:
        with stages("picture", "drawing the chart"):
            _write(output, on, found, facts, options["system"])
    if options["as_json"]:
        click.echo(as_json(facts), nl=False)
    else:
        lines = cinch_lines(found, *_now(on), options["system"])
        click.echo("\n".join([f"{tree} on {scan}: how tight to draw the cinches", "", *lines]))
        if output:
            click.echo(f"\nLook at {Path(output) / 'cinches.png'}.")
    return 0 if found.stays.any() else NoEquilibrium.exit_code


def _now(on: SetUp) -> tuple[float, float]:
    """Mean tension of each cinch as the rig has it, N."""
    front, rear = on.rig.front, on.rig.rear
    return (
        0.5 * (front.tension_left + front.tension_right),
        0.5 * (rear.tension_left + rear.tension_right),
    )


def _write(
    output: str, on: SetUp, found: CinchMap, facts: dict[str, object], system: System
) -> None:
    """Write chart and data, all or nothing."""
    from fitsim.draw.cinches import Heading, draw_cinches
    from fitsim.files import whole_folder, write_text
    from fitsim.report.cinch_lines import cinch_csv
    from fitsim.report.contract import as_json

    problem = on.laid.problem
    heading = Heading(problem.tree.name, on.back.provenance.name, problem.pad.name, *_now(on))
    with whole_folder(output) as draft:
        draw_cinches(found, heading, draft / "cinches.png", system=system)
        write_text(draft / "cinches.json", as_json(facts))
        write_text(draft / "cinches.csv", cinch_csv(found))
