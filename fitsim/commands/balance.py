"""`fitsim balance`: how much heavier one side of a pack may be."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitsim.commands.options import common_options, job_of, scan_options, tree_options
from fitsim.errors import NoEquilibrium

if TYPE_CHECKING:
    from fitsim.study.balance import Balance
    from fitsim.study.set_up import SetUp


@click.command()
@click.argument("file", metavar="SCAN")
@tree_options
@scan_options
@click.option(
    "-o",
    "--output",
    metavar="DIR",
    help="Write balance.png and balance.json into this folder.",
)
@common_options
def balance(file: str, output: str | None, **options: Any) -> int:  # noqa: ANN401 - click's
    """Say how much heavier one side may be, by cinch tension, on the flat and on side slopes.

    Without --tree it is the fixed pack tree, without --load a pack of 2 x 35 + 10 kg. With
    --side-slope the table holds the flat and that slope.

    \b
    Example:
      fitsim balance back.ply --unit mm --tree pack-fixed -o balance-out
    """  # noqa: D301
    from fitsim.commands.job import refuse_file
    from fitsim.progress import watched
    from fitsim.report.balance_lines import balance_facts, balance_lines
    from fitsim.report.contract import as_json
    from fitsim.study.balance import SIDE_SLOPES
    from fitsim.study.balance import balance as balanced
    from fitsim.study.set_up import set_up

    if output:
        refuse_file(Path(output))
    stages = watched({}, quiet=options["quiet"])
    job = job_of(file, options)
    tilt = abs(job.side_slope or 0.0)
    job = replace(job, tree=job.tree or "pack-fixed", load=job.load or "pack", side_slope=0.0)
    on = set_up(job, stages)
    with stages("balance", "making one side heavier until the tree leaves"):
        found = balanced(on, (0.0, tilt) if tilt else SIDE_SLOPES)
    problem = on.laid.problem
    tree, scan = problem.tree.name, on.back.provenance.name
    facts = {"scan": scan, "tree": tree, "pad": problem.pad.name, **balance_facts(found)}
    if output:
        with stages("picture", "drawing the chart"):
            _write(output, on, found, facts, options)
    if options["as_json"]:
        click.echo(as_json(facts), nl=False)
    else:
        title = f"{tree} on {scan}, {found.load.name}: how much heavier one side may be"
        click.echo("\n".join([title, "", *balance_lines(found, options["system"])]))
        if output:
            click.echo(f"\nLook at {Path(output) / 'balance.png'}.")
    return 0 if any(one.stays for row in found.rows for one in row) else NoEquilibrium.exit_code


def _write(
    output: str, on: SetUp, found: Balance, facts: dict[str, object], options: dict[str, Any]
) -> None:
    """Write chart and data, all or nothing."""
    from fitsim.draw.balance import Heading, draw_balance
    from fitsim.files import whole_folder, write_text
    from fitsim.report.contract import as_json

    problem = on.laid.problem
    heading = Heading(problem.tree.name, on.back.provenance.name, problem.pad.name)
    with whole_folder(output) as draft:
        draw_balance(found, heading, draft / "balance.png", options["system"])
        write_text(draft / "balance.json", as_json(facts))
