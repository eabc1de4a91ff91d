"""`fitsim grow`: bars that follow a back, in settings that a bench can make."""

from __future__ import annotations

from math import degrees
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitsim.commands.options import Length, common_options, scan_file, scan_options, tree_options

if TYPE_CHECKING:
    from fitsim.study.grow import Grown


@click.command()
@click.argument("file", metavar="SCAN")
@tree_options
@click.option(
    "--tips", type=Length("mm"), help="Daylight above the pad under both tips [default: 10 mm]."
)
@click.option(
    "--edges",
    type=Length("mm"),
    help="How far the long edges stand off beyond following the back [default: 5 mm].",
)
@scan_options
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    default="grown.toml",
    show_default=True,
    help="Tree file for what was grown.",
)
@common_options
def grow(file: str, output: str, **options: Any) -> None:  # noqa: ANN401 - click's
    """Grow a tree's bars to a scan: angles, curve, crown and tips that follow the back.

    Outline, spread and thickness stay those of the tree it begins with. A bar that follows the
    back is not yet the one that presses least: try it with `fitsim fit`, improve it with
    `fitsim search`.

    \b
    Example:
      fitsim grow back.ply --unit mm --tree riding-middle -o grown.toml
    """  # noqa: D301
    from fitsim.commands.tree import settled
    from fitsim.progress import watched
    from fitsim.report.contract import as_json
    from fitsim.rig.read import read_pad
    from fitsim.study.grow import CLEARANCE, EASE, grown
    from fitsim.study.job import DEFAULT_TREE, read_back
    from fitsim.tree.write import write_tree

    stages = watched({}, quiet=options["quiet"])
    tree, notes, _ = settled(options["tree"] or DEFAULT_TREE, options)
    pad = read_pad(options["pad"])
    _, back = read_back(scan_file(file, options), stages)
    clearance, ease = options["tips"], options["edges"]
    with stages("grow", "growing the bars"):
        found = grown(
            back,
            tree,
            pad=pad,
            at=options["at"],
            clearance=CLEARANCE if clearance is None else clearance,
            ease=EASE if ease is None else ease,
        )
    write_tree(found.tree, Path(output), about=f"grown from {tree.name} to {Path(file).name}")
    if options["as_json"]:
        facts = {
            "tree": tree.name,
            "changes_si": found.changes,
            "rms_before_mm": 1e3 * found.before,
            "rms_free_mm": 1e3 * found.free,
            "rms_mm": 1e3 * found.rms,
            "notes": list(notes),
            "file": output,
        }
        click.echo(as_json(facts), nl=False)
        return
    click.echo("\n".join(_lines(found, notes, output, options["system"])))


def _lines(found: Grown, notes: tuple[str, ...], output: str, system: str) -> list[str]:
    from fitsim.draw.quantity import quantity
    from fitsim.workshop.printing import CAUTION

    lines = [f"{found.tree.name}, grown:"]
    for key, value in found.changes.items():
        words = (
            f"{degrees(value):.1f} deg"
            if key.endswith(("angle", "twist"))
            else quantity(value, "length", system)  # type: ignore[arg-type]
        )
        lines.append(f"  {key:<26} {words}")
    before, free, rms = (1e3 * one for one in (found.before, found.free, found.rms))
    said = (
        f"Its faces are {rms:.1f} mm off the back's shape (root mean square), {free:.1f} mm before "
        f"rounding to what a bench makes and easing the edges; {before:.1f} mm with the tree it "
        "began with."
    )
    lines += [
        said,
        *(f"Note: {note}." for note in notes),
        f"  {output}: its settings, to try with fitsim fit and to draw with fitsim template",
        CAUTION,
    ]
    return lines
