"""`fitsim demo`: the whole job on bundled data."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fitsim.commands.job import do_job
from fitsim.commands.options import common_options


@click.command()
@click.option(
    "-o",
    "--output",
    metavar="DIR",
    default="demo-out",
    show_default=True,
    help="Folder for report.html and the other files.",
)
@common_options
def demo(output: str, **options: Any) -> None:  # noqa: ANN401 - click's
    """Run the whole job on bundled, made-up data.

    \b
    Example:
      fitsim demo -o demo-out
    """  # noqa: D301
    from fitsim.demo import demo_folder, demo_job

    question, job = demo_job(demo_folder())
    if not options["as_json"]:
        click.echo(question + "\n")
    do_job(job, Path(output), options)
