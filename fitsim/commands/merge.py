"""`fitsim merge`: partial scans of one animal laid together."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitsim.commands.options import common_options

if TYPE_CHECKING:
    from fitsim.scan.merging.merge import Merged
    from fitsim.scan.merging.view import View


@click.command()
@click.argument("files", metavar="VIEW...", nargs=-1, required=True)
@click.option(
    "-o",
    "--output",
    metavar="PLY",
    default="merged.ply",
    show_default=True,
    help="Write the merged points here, in metres, in the frame of the first view.",
)
@click.option("--start", metavar="FILE", help="Rough poses of the views; found if not given.")
@click.option(
    "--moved",
    is_flag=True,
    help="The animal moved between the views: lay them by its trunk, near their --start.",
)
@click.option(
    "--unit",
    type=click.Choice(["m", "cm", "mm", "inch"]),
    help="Unit of the views' numbers; found from their size if not given.",
)
@common_options
def merge(files: tuple[str, ...], output: str, **options: Any) -> None:  # noqa: ANN401 - click's
    """Lay overlapping partial scans of one animal together, or say which cannot be placed.

    \b
    Example:
      fitsim merge left.pcd top.pcd right.pcd -o merged.ply
      fitsim scan merged.ply --unit m
    """  # noqa: D301
    from fitsim.progress import watched
    from fitsim.report.scan_file import require_ply, write_scan
    from fitsim.scan.merging.files import joined_scan, read_poses, read_views
    from fitsim.scan.merging.merge import merge_notes, merged

    stages = watched({}, quiet=options["quiet"])
    require_ply(Path(output))
    start = read_poses(options["start"], files)
    with stages("read", "reading and cleaning the views"):
        views = read_views(files, options["unit"])
    with stages("merge", "laying the views together"):
        result = merged(views, start, moved=options["moved"])
    with stages("join", "making one sheet of them"):
        scan = joined_scan(views, result)
    write_scan(scan, Path(output))
    if options["as_json"]:
        from fitsim.report.contract import as_json

        click.echo(as_json(_facts(views, result, output)), nl=False)
        return
    lines = [*merge_notes(views, result), f"Written: {output} ({len(scan.vertices):,} points)."]
    click.echo("\n".join(lines))


def _facts(views: list[View], result: Merged, output: str) -> dict[str, Any]:
    """The result in parts: poses, how well each pair fits, loops, how sure."""
    names = [view.name for view in views]
    return {
        "written": output,
        "views": [
            {"name": name, "T_first_view": T.tolist(), "sd_mm": 1e3 * sure}
            for name, T, sure in zip(names, result.T_first_view, result.sure.tolist(), strict=True)
        ],
        "pairs": [
            {
                "target": names[i],
                "source": names[j],
                "overlap": place.overlap,
                "median_disagreement_mm": 1e3 * place.residual if place.overlap > 0.0 else None,
                "noise_explains_mm": 1e3 * result.noise[i, j],
            }
            for (i, j), place in result.places.items()
        ],
        "loops": [
            {"target": names[loop.target], "source": names[loop.source], "gap_mm": 1e3 * loop.gap}
            for loop in result.loops
        ],
        "animal_moved": result.moved,
    }
