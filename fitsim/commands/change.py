"""`fitsim change`: what two scans of one animal say it gained and lost between them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from fitsim.commands.options import Length, common_options, scan_file, scan_options
from fitsim.errors import BadSettings


@click.command()
@click.argument("before", metavar="BEFORE")
@click.argument("after", metavar="AFTER")
@scan_options
@click.option("--marks-after", metavar="FILE", help="Marks on the later scan.")
@click.option("--coat-after", type=Length("mm"), help="How deep the hair stands on the later scan.")
@click.option("-o", "--output", metavar="PNG", help="Draw the change map here.")
@common_options
def change(
    before: str,
    after: str,
    marks_after: str | None,
    coat_after: float | None,
    output: str | None,
    **options: Any,  # noqa: ANN401 - click's
) -> None:
    """Say what an animal's back gained and lost from one scan to a later one.

    Unit and height are told as for one scan and hold for both; --marks and --coat for BEFORE.

    \b
    Example:
      fitsim change spring.ply autumn.ply --unit mm -o change.png
    """  # noqa: D301
    from fitsim.back.change import change as changed
    from fitsim.files import whole_file
    from fitsim.progress import watched
    from fitsim.report.change import change_facts, change_lines
    from fitsim.report.contract import as_json
    from fitsim.study.job import read_back

    _refuse_one_coat(options["coat"], coat_after)
    later = scan_file(after, {**options, "coat": coat_after})
    stages = watched({}, quiet=options["quiet"])
    _, first = read_back(scan_file(before, options), stages)
    marks = None if marks_after is None else Path(marks_after)
    _, second = read_back(replace(later, marks=marks), stages)
    with stages("change", "laying the scans on each other"):
        found = changed(first, second)
    if output:
        from fitsim.draw.change import draw_change

        with stages("pictures", "drawing"), whole_file(Path(output)) as draft:
            Path(draft).write_bytes(draw_change(first, found, options["system"]))
    if options["as_json"]:
        click.echo(as_json(change_facts(first, second, found)), nl=False)
        return
    click.echo("\n".join(change_lines(first, second, found, options["system"])))


def _refuse_one_coat(before: float | None, after: float | None) -> None:
    """Refuse the coat of one scan alone: the other's hair would come out as a change."""
    if (before is None) == (after is None):
        return
    given, missing = ("--coat", "--coat-after") if after is None else ("--coat-after", "--coat")
    raise BadSettings(
        given,
        "tells the coat of one scan alone, and the other's hair would count as a change",
        f"give {missing} too, 0 where it is shaved, or neither",
    )
