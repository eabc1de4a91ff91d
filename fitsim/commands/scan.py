"""`fitsim scan`: what a scan is and what was found on it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fitsim.commands.options import common_options, scan_file, scan_options


@click.command()
@click.argument("file", metavar="FILE")
@scan_options
@click.option("-o", "--output", metavar="PLY", help="Write the cleaned scan here, in metres.")
@common_options
def scan(file: str, output: str | None, **options: Any) -> None:  # noqa: ANN401 - click's
    """Say what a scan is, what is wrong with it, and what was found on it.

    \b
    Example:
      fitsim scan back.ply --unit mm -o cleaned.ply
    """  # noqa: D301
    from fitsim.back.quality import quality_of
    from fitsim.progress import watched
    from fitsim.report.quality_lines import card_facts, card_lines
    from fitsim.report.summary import scan_lines
    from fitsim.study.job import read_back

    stages = watched({}, quiet=options["quiet"])
    cleaned, back = read_back(scan_file(file, options), stages)
    with stages("quality", "judging the scan"):
        card = quality_of(cleaned, back)
    if output:
        from fitsim.report.scan_file import write_scan

        write_scan(cleaned, Path(output))
    if options["as_json"]:
        from fitsim.report.contract import as_json, scan_facts

        click.echo(as_json({**scan_facts(back), "quality": card_facts(card)}), nl=False)
        return
    system = options["system"]
    click.echo("\n".join([*scan_lines(cleaned, back, system), *card_lines(card, system)]))
