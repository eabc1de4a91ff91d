"""`fitsim hands`: the tests a hand makes in the yard, on a scan."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fitsim.commands.options import common_options, job_of, scan_options, tree_options


@click.command()
@click.argument("file", metavar="SCAN")
@tree_options
@scan_options
@click.option(
    "-o", "--output", metavar="DIR", help="Write hands.png and hands.json into this folder."
)
@common_options
def hands(file: str, output: str | None, **options: Any) -> None:  # noqa: ANN401 - click's
    """Try a tree by hand: under the fronts, rock it, look under it, lift it, pull it aside.

    Each test is made with the tree laid on and not cinched, and with both cinches drawn.

    \b
    Example:
      fitsim hands back.ply --unit mm --tree riding-middle -o hands-out
    """  # noqa: D301
    from fitsim.commands.job import refuse_file
    from fitsim.files import whole_folder, write_text
    from fitsim.progress import watched
    from fitsim.report.contract import as_json
    from fitsim.report.hand_lines import hand_facts, hand_lines
    from fitsim.study.hand_tests import hand_tests, laid_case
    from fitsim.study.set_up import set_up

    if output:
        refuse_file(Path(output))
    stages = watched({}, quiet=options["quiet"])
    on = set_up(job_of(file, options), stages)
    found = []
    for case in (laid_case(on.cases["both"]), on.cases["both"]):
        with stages(case.name, f"trying by hand: {case.name}"):
            found.append(hand_tests(on.back.chart, on.laid.problem, case))
    facts = {
        "scan": on.back.provenance.name,
        "tree": on.laid.problem.tree.name,
        "pad": on.laid.problem.pad.name,
        **hand_facts(found),
    }
    if output:
        from fitsim.draw.hands import draw_hands

        with stages("picture", "drawing the picture"), whole_folder(output) as draft:
            draw_hands(on, found, draft / "hands.png", system=options["system"])
            write_text(draft / "hands.json", as_json(facts))
    if options["as_json"]:
        click.echo(as_json(facts), nl=False)
        return
    heading = f"{on.laid.problem.tree.name} on {on.back.provenance.name}, tried by hand"
    click.echo("\n".join([heading, "", *hand_lines(found, options["system"])]))
    if output:
        click.echo(f"\nLook at {Path(output) / 'hands.png'}.")
