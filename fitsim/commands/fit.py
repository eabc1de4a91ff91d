"""`fitsim fit`: one tree on one scan."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fitsim.commands.job import do_job
from fitsim.commands.options import Length, common_options, scan_file, scan_options


@click.command()
@click.argument("file", metavar="SCAN")
@click.option(
    "--tree", metavar="TREE", help="A tree of the library, a settings file, or a mesh of a tree."
)
@click.option(
    "--tree-unit",
    type=click.Choice(["m", "cm", "mm", "inch"]),
    help="Unit of a tree mesh's numbers.",
)
@click.option("--rig", metavar="FILE", help="Cinches: where and how tight.")
@click.option("--pad", metavar="PAD", help="felt, none, another of the library, or a file.")
@click.option("--load", metavar="LOAD", help="rider, pack, none, or a file.")
@click.option(
    "--at",
    type=Length("mm"),
    help="Place the tree this far forward (+) or back (-) of just behind the shoulder blade.",
)
@scan_options
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

    chosen = ("tree", "tree_unit", "rig", "pad", "load", "at")
    job = Job(scan=scan_file(file, options), **{name: options[name] for name in chosen})
    do_job(job, Path(output), options)
