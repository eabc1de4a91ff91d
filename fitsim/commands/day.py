"""`fitsim day`: where to look first after a day's work."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fitsim.commands.options import common_options, job_of, scan_options, tree_options

_PACES = ("stand", "walk", "single-foot", "trot", "canter")
_USUAL = {"walk": 70.0, "trot": 25.0, "canter": 5.0}


def _pace_options(command: Any) -> Any:  # noqa: ANN401 - click's
    """One option for each pace, last first, as click takes them."""
    for pace in reversed(_PACES):
        words = f"Parts of the time under load at a {pace}."
        command = click.option(
            f"--{pace}", type=click.FloatRange(0.0, 1000.0), metavar="PARTS", help=words
        )(command)
    return command


@click.command()
@click.argument("file", metavar="SCAN")
@click.option(
    "--hours", type=float, default=6.0, show_default=True, help="From saddling to unsaddling."
)
@click.option(
    "--rest", type=float, default=0.0, show_default=True, help="Hours of these without load."
)
@_pace_options
@tree_options
@scan_options
@click.option("-o", "--output", metavar="DIR", help="Write day.png and day.json into this folder.")
@common_options
def day(  # click reads the options from the parameters' names
    file: str,
    hours: float,
    rest: float,
    output: str | None,
    **options: Any,  # noqa: ANN401
) -> None:
    """Show where to look first after a day's work, and what would lower it.

    Without paces: 70 parts walk, 25 trot, 5 canter. Never a diagnosis.

    \b
    Example:
      fitsim day back.ply --unit mm --hours 6 --rest 1 --walk 80 --trot 20 -o day-out
    """  # noqa: D301
    from fitsim.commands.job import refuse_file
    from fitsim.files import whole_folder, write_text
    from fitsim.progress import watched
    from fitsim.report.contract import as_json
    from fitsim.report.day_lines import day_facts, day_lines
    from fitsim.study.day import day as worked
    from fitsim.study.day import refuse_senseless
    from fitsim.study.set_up import set_up

    mix = {pace: options[pace.replace("-", "_")] for pace in _PACES}
    mix = {pace: part for pace, part in mix.items() if part is not None} or dict(_USUAL)
    refuse_senseless(hours, mix, rest)  # type: ignore[arg-type]
    if output:
        refuse_file(Path(output))
    stages = watched({}, quiet=options["quiet"])
    on = set_up(job_of(file, options), stages)
    with stages("day", "working out the day"):
        found = worked(on, hours, mix, rest)  # type: ignore[arg-type]
    tree, scan = on.laid.problem.tree.name, on.back.provenance.name
    facts = {"scan": scan, "tree": tree, "pad": on.laid.problem.pad.name, **day_facts(found)}
    if output:
        from fitsim.draw.day import draw_day

        with stages("picture", "drawing the map"), whole_folder(output) as draft:
            draw_day(on, found, draft / "day.png", system=options["system"])
            write_text(draft / "day.json", as_json(facts))
    if options["as_json"]:
        click.echo(as_json(facts), nl=False)
        return
    lines = day_lines(found, options["system"])
    click.echo("\n".join([f"{tree} on {scan}: a day's work", "", *lines]))
    if output:
        click.echo(f"\nLook at {Path(output) / 'day.png'}.")
