"""Options that several commands share."""

from __future__ import annotations

from math import inf, radians
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitsim.errors import FitsimError

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitsim.study.job import Job, ScanFile
    from fitsim.units import Kind

STEEPEST = radians(45.0)
"""Of the ground that an animal is taken over, rad."""


class Length(click.ParamType[float]):
    """A length with its unit, or a bare number in the unit named by the option.

    With another `kind` it is another quantity; `most` is the largest that makes sense, SI.
    """

    def __init__(self, bare: str, kind: Kind = "length", most: float = inf) -> None:
        self.bare = self.name = bare
        self.kind, self.most = kind, most

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return SI."""
        from fitsim.units import UNITS, quantity

        text = str(value)
        try:
            float(text)
        except ValueError:
            pass
        else:
            text = f"{text} {self.bare}"
        try:
            number = quantity(text, self.kind)
        except FitsimError as fault:
            self.fail(str(fault), param, ctx)
        if abs(number) > self.most:
            most = self.most / UNITS[self.kind][self.bare]
            self.fail(f"{text} is too much; give {most:g} {self.bare} at most.", param, ctx)
        return number


def common_options(command: Callable[..., Any]) -> Callable[..., Any]:
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


def scan_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options wherever a scan is read."""
    for option in (
        click.option(
            "--spacing", type=Length("mm"), help="Grid spacing on the back [default: 10 mm]."
        ),
        click.option(
            "--coat",
            type=Length("mm"),
            help="How deep the hair stands on the skin at the long muscle; what a load presses "
            "away of it is taken off [default: nothing is].",
        ),
        click.option("--marks", metavar="FILE", help="Marks on the scan; estimated if not given."),
        click.option(
            "--stickers",
            metavar="'COLOUR=PLACE, ...'",
            help="What coloured stickers on the animal mean, 'blue=spine, green=blade'; or none "
            "[default: blue=spine, green=blade, yellow=last rib, pink=withers, red=sore].",
        ),
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


def tree_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options wherever a tree is laid on a scan: the tree, its rig, pad and load, and where."""
    tree = click.option(
        "--tree",
        metavar="TREE",
        help="A tree of the library, a settings file, or a mesh of a tree.",
    )
    return tree(fit_options(command))


def fit_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The same options for a command that names its trees itself."""
    for option in (
        click.option(
            "--at",
            type=Length("mm"),
            help="Place the tree this far forward (+) or back (-) of just behind the shoulder "
            "blade.",
        ),
        click.option(
            "--side-slope",
            type=Length("deg", "angle", STEEPEST),
            help="Ground falling away to the animal's left (+) or right (-), degrees.",
        ),
        click.option(
            "--slope",
            type=Length("deg", "angle", STEEPEST),
            help="Ground rising (+) or falling (-) ahead, degrees.",
        ),
        click.option("--load", metavar="LOAD", help="rider, pack, none, or a file."),
        click.option("--pad", metavar="PAD", help="felt, none, another of the library, or a file."),
        click.option("--rig", metavar="FILE", help="Cinches: where and how tight."),
    ):
        command = option(command)
    return mesh_options(command)


def mesh_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options wherever a tree may be a mesh."""
    for option in (
        click.option(
            "--tree-front",
            type=click.Choice(["+x", "-x", "+y", "-y", "+z", "-z"]),
            help="Which way in a tree mesh its front points; found from its shape if not given.",
        ),
        click.option(
            "--tree-unit",
            type=click.Choice(["m", "cm", "mm", "inch"]),
            help="Unit of a tree mesh's numbers.",
        ),
    ):
        command = option(command)
    return command


def job_of(file: str, options: dict[str, Any]) -> Job:
    """The job that `scan_options` and `tree_options` ask for."""
    from fitsim.study.job import Job

    chosen = ("tree", "tree_unit", "tree_front", "rig", "pad", "load", "at", "slope", "side_slope")
    return Job(scan=scan_file(file, options), **{name: options[name] for name in chosen})


def scan_file(file: str, options: dict[str, Any]) -> ScanFile:
    """The scan named on the command line, with what its options say of it."""
    from fitsim.back.coat import Coat
    from fitsim.back.sticker_words import read_stickers
    from fitsim.scan.scale import read_known
    from fitsim.study.job import ScanFile

    stickers, coat = options["stickers"], options["coat"]
    if coat is not None:
        Coat(coat)  # refused before a scan is read
    return ScanFile(
        path=Path(file),
        unit=options["unit"],
        withers_height=options["withers_height"],
        known=None if options["known"] is None else read_known(options["known"]),
        marks=None if options["marks"] is None else Path(options["marks"]),
        spacing=options["spacing"],
        stickers=None if stickers is None else read_stickers(stickers),
        coat=options["coat"],
    )
