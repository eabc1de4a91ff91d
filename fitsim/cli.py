"""The command line: options in, one sentence or a result out.

Exit codes: 0 done, 2 usage, 3 bad input, 4 the tree stays on under no case, 130 interrupted.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from fitsim import __version__
from fitsim.errors import FitsimError, NoEquilibrium

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fitsim.study.fit import FitSet
    from fitsim.study.job import Job, ScanFile

INTERRUPTED = 130
"""As a shell reports a program stopped by Ctrl-C: 128 + SIGINT."""


class Length(click.ParamType[float]):
    """A length with its unit, or a bare number in the unit named by the option."""

    def __init__(self, bare: str) -> None:
        self.bare = self.name = bare

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return metres."""
        from fitsim.units import quantity

        text = str(value)
        try:
            float(text)
        except ValueError:
            pass
        else:
            text = f"{text} {self.bare}"
        try:
            return quantity(text, "length")
        except FitsimError as fault:
            self.fail(str(fault), param, ctx)


def _common(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options that every command has."""
    for option in (
        click.option("--quiet", is_flag=True, help="Say nothing about progress."),
        click.option("--json", "as_json", is_flag=True, help="Print the result as JSON."),
        click.option(
            "--units",
            "system",
            type=click.Choice(["metric", "inch"]),
            default="metric",
            show_default=True,
            help="Units in words and pictures; files keep the units their columns name.",
        ),
    ):
        command = option(command)
    return command


def _scan_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options wherever a scan is read."""
    for option in (
        click.option(
            "--spacing", type=Length("mm"), help="Grid spacing on the back [default: 10 mm]."
        ),
        click.option("--marks", metavar="FILE", help="Marks on the scan; estimated if not given."),
        click.option(
            "--known",
            metavar="'A = B'",
            help="A distance known in the file: '0.153 = 2 m', or two points: "
            "'0,0,0 0,0.1,0 = 60 cm'.",
        ),
        click.option(
            "--withers-height",
            type=Length("m"),
            help="Height of the animal's withers; also sizes a scan of unknown scale.",
        ),
        click.option(
            "--unit",
            type=click.Choice(["m", "cm", "mm", "inch"]),
            help="Unit of the scan's numbers; found from its size if not given.",
        ),
    ):
        command = option(command)
    return command


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="fitsim")
def cli() -> None:
    """See where a saddle or pack tree presses on an animal's back, on a 3-D scan of it.

    \b
    Try it:
      fitsim demo
    """  # noqa: D301 - \b is click's sign for "keep these lines"


@cli.command()
@click.argument("file", metavar="FILE")
@_scan_options
@click.option("-o", "--output", metavar="PLY", help="Write the cleaned scan here, in metres.")
@_common
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
    cleaned, back = read_back(_scan_file(file, options), stages)
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


@cli.command()
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
@_scan_options
@click.option(
    "-o",
    "--output",
    metavar="DIR",
    default="fit-out",
    show_default=True,
    help="Folder for report.html and the other files.",
)
@_common
def fit(file: str, output: str, **options: Any) -> None:  # noqa: ANN401 - click's
    """Fit one tree to one scan: front cinch, rear cinch, both, and with its load.

    \b
    Example:
      fitsim fit back.ply --unit mm --tree riding-middle -o fit-out
    """  # noqa: D301
    from fitsim.study.job import Job

    chosen = ("tree", "tree_unit", "rig", "pad", "load", "at")
    job = Job(scan=_scan_file(file, options), **{name: options[name] for name in chosen})
    _do(job, Path(output), options)


@cli.command()
@click.option(
    "-o",
    "--output",
    metavar="DIR",
    default="demo-out",
    show_default=True,
    help="Folder for report.html and the other files.",
)
@_common
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
    _do(job, Path(output), options)


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command line and leave with its exit code.

    Parameters
    ----------
    arguments : sequence of str, optional
        Those of the process if not given.
    """
    # Read when numpy is first imported. The matrices are small: threads would wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    given = list(sys.argv[1:] if arguments is None else arguments)
    try:
        code = cli.main(given, prog_name="fitsim", standalone_mode=False)
    except click.ClickException as fault:
        fault.show()
        sys.exit(fault.exit_code)
    except FitsimError as fault:
        _say_fault(fault, as_json="--json" in given)
        sys.exit(fault.exit_code)
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped. Nothing was written.", err=True)
        sys.exit(INTERRUPTED)
    sys.exit(code if isinstance(code, int) else 0)


def _do(job: Job, folder: Path, options: dict[str, Any]) -> None:
    """Do the job, write its files, say what came out; leave with 4 if the tree never stays."""
    from fitsim.draw.renderer import require_renderer
    from fitsim.files import output_folder
    from fitsim.progress import watched
    from fitsim.report.contract import as_json, contract
    from fitsim.report.write import write_results
    from fitsim.study.job import fitted

    timing_s: dict[str, float] = {}
    stages = watched(timing_s, quiet=options["quiet"])
    _refuse_file(folder)
    require_renderer()
    fitset = write_results(
        fitted(job, stages),
        folder,
        system=options["system"],
        timing_s=timing_s,
        stages=stages,
    )
    if options["as_json"]:
        click.echo(as_json(contract(fitset)), nl=False)
    else:
        from fitsim.report.summary import file_lines, fit_lines

        lines = [*fit_lines(fitset, options["system"]), "", *file_lines(output_folder(folder))]
        click.echo("\n".join(lines))
    _refuse_if_none_holds(fitset)


def _refuse_file(folder: Path) -> None:
    """Say before the work, not after it, that the results have no place to go."""
    from fitsim.errors import BadSettings

    if folder.is_file():
        raise BadSettings(str(folder), "a file is in the way", "choose another folder with -o")


def _refuse_if_none_holds(fitset: FitSet) -> None:
    if fitset.stays:
        return
    ways = "; ".join(f"{name}: {fit.equilibrium.leaves}" for name, fit in fitset.fits.items())
    raise NoEquilibrium(
        fitset.tree.name,
        f"stays on the back under no case ({ways})",
        "move it with --at, change its cinches or choose another tree",
    )


def _scan_file(file: str, options: dict[str, Any]) -> ScanFile:
    from fitsim.scan.scale import read_known
    from fitsim.study.job import ScanFile

    return ScanFile(
        path=Path(file),
        unit=options["unit"],
        withers_height=options["withers_height"],
        known=None if options["known"] is None else read_known(options["known"]),
        marks=None if options["marks"] is None else Path(options["marks"]),
        spacing=options["spacing"],
    )


def _say_fault(fault: FitsimError, *, as_json: bool) -> None:
    """One sentence for people on standard error; the same in parts for programs."""
    click.echo(str(fault), err=True)
    if as_json:
        parts = {"where": fault.where, "fault": fault.fault, "mend": fault.mend}
        click.echo(json.dumps({"error": parts, "exit_code": fault.exit_code}, indent=2))
