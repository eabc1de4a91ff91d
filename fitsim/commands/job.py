"""Do one job, write its files and say what came out."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from fitsim.errors import NoEquilibrium

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.progress import Stages
    from fitsim.study.fit import FitSet
    from fitsim.study.job import Job


def do_job(job: Job, folder: Path, options: dict[str, Any]) -> None:
    """Do the job, write its files, say what came out; leave with 4 if the tree never stays."""
    from fitsim.draw.renderer import require_renderer
    from fitsim.files import output_folder
    from fitsim.progress import said, watched
    from fitsim.report.contract import as_json, contract
    from fitsim.report.write import write_results
    from fitsim.study.job import fitted

    timing_s: dict[str, float] = {}
    stages = watched(timing_s, quiet=options["quiet"])
    refuse_file(folder)
    require_renderer()
    _refuse_few(options)
    fitset = fitted(job, stages, said(quiet=options["quiet"]) if job.model == "reference" else None)
    fitset = write_results(
        _with_how_sure(fitset, options, stages),
        folder,
        system=options["system"],
        timing_s=timing_s,
        stages=stages,
        paper=options["paper"] if options.get("pdf") else None,
    )
    if options["as_json"]:
        click.echo(as_json(contract(fitset)), nl=False)
    else:
        from fitsim.report.moved import moved_lines
        from fitsim.report.summary import file_lines, fit_lines

        lines = fit_lines(fitset, options["system"])
        lines += ["", *moved_lines(fitset, options["system"])]
        lines += ["", *file_lines(output_folder(folder))]
        click.echo("\n".join(lines))
    _refuse_if_none_holds(fitset)


def refuse_file(folder: Path) -> None:
    """Say before the work, not after it, that the results have no place to go."""
    from fitsim.errors import BadSettings

    if folder.is_file():
        raise BadSettings(str(folder), "a file is in the way", "choose another folder with -o")


def _refuse_few(options: dict[str, Any]) -> None:
    """Say before the work that so few plausible backs tell nothing."""
    from fitsim.errors import BadSettings
    from fitsim.study.sure import FEWEST

    asked = options.get("sure", 0)
    if 0 < asked < FEWEST:
        raise BadSettings("--sure", f"{asked} backs are too few to say", f"give {FEWEST} or more")


def _with_how_sure(fitset: FitSet, options: dict[str, Any], stages: Stages) -> FitSet:
    """The fit with how sure it is, where that was asked for."""
    from fitsim.progress import counted
    from fitsim.study.sure import how_sure

    if not options.get("sure"):
        return fitset
    with stages("sure", "trying plausible backs"):
        say = counted(quiet=options["quiet"], every=20)
        return replace(fitset, sure=how_sure(fitset, options["sure"], options["seed"], say))


def _refuse_if_none_holds(fitset: FitSet) -> None:
    if fitset.stays:
        return
    ways = "; ".join(f"{name}: {fit.equilibrium.leaves}" for name, fit in fitset.fits.items())
    raise NoEquilibrium(
        fitset.tree.name,
        f"stays on the back under no case ({ways})",
        "move it with --at, change its cinches or choose another tree",
    )
