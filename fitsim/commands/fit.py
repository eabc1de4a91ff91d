"""`fitsim fit`: one tree on one scan."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from fitsim.commands.job import do_job
from fitsim.commands.options import common_options, job_of, scan_options, tree_options


@click.command()
@click.argument("file", metavar="SCAN")
@tree_options
@scan_options
@click.option(
    "--model",
    type=click.Choice(["fast", "reference"]),
    default="fast",
    show_default=True,
    help="Of the tissue; the reference model checks the fast one and takes minutes a case.",
)
@click.option(
    "-o",
    "--output",
    metavar="DIR",
    default="fit-out",
    show_default=True,
    help="Folder for report.html and the other files.",
)
@common_options
def fit(file: str, output: str, **options: Any) -> None:  # noqa: ANN401 - click's
    """Fit one tree to one scan: front cinch, rear cinch, both, and with its load.

    \b
    Example:
      fitsim fit back.ply --unit mm --tree riding-middle -o fit-out
    """  # noqa: D301
    job = replace(job_of(file, options), model=options["model"])
    do_job(job, Path(output), options)
