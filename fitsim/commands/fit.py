"""`fitsim fit`: one tree on one scan."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fitsim.commands.job import do_job
from fitsim.commands.options import common_options, scan_file, scan_options, tree_options


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
    from fitsim.study.job import Job

    chosen = ("tree", "tree_unit", "rig", "pad", "load", "at", "slope", "side_slope", "model")
    job = Job(scan=scan_file(file, options), **{name: options[name] for name in chosen})
    do_job(job, Path(output), options)
