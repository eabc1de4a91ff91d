"""`fitsim stride`: one tree on one scan through a gait cycle."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fitsim.commands.options import common_options, job_of, scan_options, tree_options


@click.command()
@click.argument("file", metavar="SCAN")
@click.option(
    "--gait",
    default="walk",
    show_default=True,
    metavar="GAIT",
    help="walk, trot, single-foot or canter.",
)
@click.option(
    "--phases",
    type=int,
    default=48,
    show_default=True,
    help="Moments of the stride that are worked out.",
)
@click.option(
    "--case",
    metavar="CASE",
    help="Follow another case: front, rear, both, rider or pack [default: both with the load].",
)
@click.option(
    "--tries/--no-tries",
    default=True,
    help="Also try what might free the shoulders, and shoulders that move less and more.",
)
@tree_options
@scan_options
@click.option(
    "-o",
    "--output",
    metavar="DIR",
    default="stride-out",
    show_default=True,
    help="Folder for stride.html and the other files.",
)
@common_options
def stride(file: str, output: str, **options: Any) -> None:  # noqa: ANN401 - click's
    """Follow one tree on one scan through a stride, and say how free the shoulders are.

    \b
    Example:
      fitsim stride back.ply --unit mm --gait trot --tree riding-middle -o stride-out
    """  # noqa: D301
    from fitsim.commands.job import refuse_file
    from fitsim.draw.renderer import require_renderer
    from fitsim.files import output_folder
    from fitsim.progress import watched
    from fitsim.report.contract import as_json
    from fitsim.report.stride_files import stride_contract
    from fitsim.report.stride_words import stride_lines
    from fitsim.report.stride_write import write_stride
    from fitsim.study.stride_job import studied

    job = job_of(file, options)
    folder = Path(output)
    refuse_file(folder)
    require_renderer()
    timing_s: dict[str, float] = {}
    stages = watched(timing_s, quiet=options["quiet"])
    study = studied(
        job,
        options["gait"],
        phases=options["phases"],
        case=options["case"],
        tried=options["tries"],
        stages=stages,
    )
    write_stride(study, folder, system=options["system"], timing_s=timing_s, stages=stages)
    if options["as_json"]:
        click.echo(as_json(stride_contract(study, timing_s)), nl=False)
    else:
        click.echo("\n".join(stride_lines(study, output_folder(folder), options["system"])))
    _refuse_if_it_leaves(study.stride.stays, study.stride.tree.name, options["gait"])


def _refuse_if_it_leaves(stays: bool, tree: str, gait: str) -> None:  # noqa: FBT001 - the question
    from fitsim.errors import NoEquilibrium

    if not stays:
        raise NoEquilibrium(
            tree,
            f"does not stay on through the stride at {gait}",
            "change its cinches, move it with --at or choose another tree",
        )
