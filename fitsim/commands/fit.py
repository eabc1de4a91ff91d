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
    "--sure",
    type=click.IntRange(min=0),
    metavar="N",
    default=0,
    help="Say how sure the numbers are, from N plausible backs (10 or more; about a second each "
    "on one core). From 60 on it also says what to measure next.",
)
@click.option("--seed", type=int, default=1, show_default=True, help="Of the plausible backs.")
@click.option(
    "--pdf",
    is_flag=True,
    help="Write summary.pdf, one page for a customer, and report.pdf, the whole of it.",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Of the PDF files.",
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
