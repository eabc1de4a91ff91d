"""`fitsim herd`: many trees on many scans, on all cores or on a cluster."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import click

from fitsim.commands.options import common_options, fit_options, scan_file, scan_options
from fitsim.commands.sizes import scans_named
from fitsim.errors import BadSettings


@click.command()
@click.argument("scans", metavar="SCANS")
@click.argument("trees", metavar="TREE...", nargs=-1, required=True)
@click.option("--share", type=click.FloatRange(0.0, 1.0, min_open=True), default=0.95,
              show_default=True, help="Share of the animals to be served.")  # fmt: skip
@click.option("--scheduler", metavar="ADDRESS",
              help="A Dask scheduler, tcp://host:port [default: processes of this machine]. Its "
              "workers must see the same files.")  # fmt: skip
@click.option("--processes", type=click.IntRange(1, 1024),
              help="Processes of this machine [default: one for each core].")  # fmt: skip
@click.option("--memory", type=click.FloatRange(0.5, 1024.0), default=2.0, show_default=True,
              help="GB that each of them may take.")  # fmt: skip
@fit_options
@scan_options
@click.option("-o", "--output", metavar="DIR", default="herd-out", show_default=True,
              help="Folder for herd.html and the other files.")  # fmt: skip
@common_options
def herd(scans: str, trees: tuple[str, ...], output: str, **options: Any) -> None:  # noqa: ANN401
    """Say which tree serves which animal, how many to stock, and which animal fits nothing.

    SCANS is a folder of scans. A TREE is a tree of the library, a settings file, a mesh, or a
    folder of such files. Every animal is kept as soon as it is done: after a break the same
    command goes on with the rest.

    \b
    Example:
      fitsim herd herd/ riding-narrow riding-middle riding-wide --unit mm
    """  # noqa: D301
    from fitsim.commands.job import refuse_file
    from fitsim.files import output_folder
    from fitsim.progress import counted
    from fitsim.report.contract import as_json
    from fitsim.report.herd import herd_facts, herd_lines, write_herd
    from fitsim.report.verdict import verdict_of
    from fitsim.study.herd.choose import chosen
    from fitsim.study.herd.crew import Crew
    from fitsim.study.herd.pairs import rows_of
    from fitsim.study.herd.run import run

    folder = Path(output)
    refuse_file(folder)
    groups = _groups(scans, trees, options)
    crew = Crew(options["scheduler"], options["processes"], 1e9 * options["memory"])
    say = counted(quiet=options["quiet"], every=1)
    try:
        ran = run(groups, output_folder(folder), partial(rows_of, judge=verdict_of), crew, say)
    except KeyboardInterrupt:
        click.echo(
            f"Stopped. What is done is kept in {folder}; the same command goes on.", err=True
        )
        raise SystemExit(130) from None
    found = chosen(ran.rows, options["share"], dict(ran.failed))
    write_herd(found, ran.rows, options["share"], folder)
    if options["as_json"]:
        click.echo(as_json(herd_facts(found, options["share"])), nl=False)
        return
    lines = [*herd_lines(found, options["share"]), "", f"Open {folder / 'herd.html'}."]
    click.echo("\n".join(lines))


def _groups(scans: str, trees: tuple[str, ...], options: dict[str, Any]) -> list[Any]:
    """Every pair by scan; bad settings are told before the work begins."""
    from fitsim.rig.read import read_load, read_pad, read_rig
    from fitsim.study.herd.plan import pairs_of
    from fitsim.tree.read import read_tree

    if options["marks"] is not None:
        fault = "one file of marks cannot hold for many animals"
        raise BadSettings(options["marks"], fault, "leave --marks out")
    names = list(dict.fromkeys(name for given in trees for name in _trees_in(given)))
    for name in names:
        read_tree(name, options["tree_unit"], options["tree_front"])
    read_pad(options["pad"]), read_rig(options["rig"])
    read_load(options["load"], options["slope"], options["side_slope"])
    files = [scan_file(str(path), options) for path in scans_named([scans])]
    return pairs_of(files, names, _like(files[0].path, options))


def _like(path: Path, options: dict[str, Any]) -> Any:  # noqa: ANN401 - a Job, imported late
    """What is the same for every pair."""
    from fitsim.commands.options import job_of

    return job_of(str(path), {**options, "tree": None})


def _trees_in(given: str) -> list[str]:
    """A tree, or the settings files and meshes of a folder."""
    endings = {".toml", ".stl", ".obj", ".ply", ".glb", ".off"}
    if not Path(given).is_dir():
        return [given]
    inside = sorted(str(p) for p in Path(given).iterdir() if p.suffix.lower() in endings)
    if not inside:
        raise BadSettings(given, "there is no tree in this folder", "name another folder")
    return inside
