"""A fit as people ask for it: names of files and settings in, a FitSet out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fitsim.progress import Stages, silent

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from fitsim.back.back import Back
    from fitsim.back.sticker_words import Meanings
    from fitsim.scan.scale import Known
    from fitsim.scan.scan import Scan, Unit
    from fitsim.study.fit import FitSet
    from fitsim.study.model import Model
    from fitsim.tree.upright import Way

DEFAULT_TREE = "riding-middle"


@dataclass(frozen=True)
class ScanFile:
    """A scan's file and how its size is known.

    Attributes
    ----------
    path : the file.
    unit : unit of its coordinates, found if None.
    withers_height : m, of the animal.
    known : a distance known in the file's own numbers, see `fitsim.scan.scale.read_known`.
    marks : file of marks; estimated if None.
    spacing : m, of the chart's grid; the back's own default if None.
    stickers : what the colours of stickers mean (`fitsim.back.sticker_words`); the usual if None.
    coat : m, how deep the hair stands (`fitsim.back.coat`); not known if None.
    """

    path: Path
    unit: Unit | None = None
    withers_height: float | None = None
    known: Known | None = None
    marks: Path | None = None
    spacing: float | None = None
    stickers: Meanings | None = None
    coat: float | None = None


@dataclass(frozen=True)
class Job:
    """One tree on one scan. What is None is a default, and is named so in the result.

    Attributes
    ----------
    scan : see `ScanFile`.
    tree : name in the library, settings file or mesh.
    tree_unit : unit of a tree mesh.
    tree_front : which way in a tree mesh its front points; found if None.
    rig, pad, load : names or settings files.
    at : m, forward (+) or back (-) of the rule "just behind the shoulder blade".
    model : of the tissue.
    slope, side_slope : rad, of the ground, in place of the load file's; see `Going`.
    """

    scan: ScanFile
    tree: str | None = None
    tree_unit: Unit | None = None
    tree_front: Way | None = None
    rig: str | None = None
    pad: str | None = None
    load: str | None = None
    at: float | None = None
    model: Model = "fast"
    slope: float | None = None
    side_slope: float | None = None


def read_back(file: ScanFile, stages: Stages = silent) -> tuple[Scan, Back]:
    """Read, clean and understand a scan.

    Parameters
    ----------
    file : ScanFile
    stages : Stages
        Called around each stage.

    Returns
    -------
    Scan
        The cleaned scan, in its own frame.
    Back

    Raises
    ------
    BadScan, BadSettings
        See `fitsim.scan.read.read_scan` and `fitsim.back.from_scan.back_from_scan`.
    """
    from fitsim.back.from_scan import back_from_scan
    from fitsim.scan.clean import cleaned
    from fitsim.scan.read import read_scan

    with stages("read", "reading the scan"):
        scan = read_scan(file.path, file.unit, file.withers_height, file.known)
    with stages("clean", "cleaning the scan"):
        scan = cleaned(scan)
    spacing = {} if file.spacing is None else {"spacing": file.spacing}
    with stages("back", "finding the back"):
        back = back_from_scan(
            scan, file.marks, file.withers_height,
            stickers=file.stickers, coat=file.coat, **spacing,
        )  # fmt: skip
    return scan, back


def fitted(job: Job, stages: Stages = silent, say: Callable[[str], None] | None = None) -> FitSet:
    """Do a job: from files to all cases of one tree on one back, and it seated a little off.

    Parameters
    ----------
    job : Job
    stages : Stages
        Called around each stage.
    say : callable, optional
        Told in words how far a long solution has come.

    Returns
    -------
    FitSet
        With the defaults that were used.

    Raises
    ------
    BadScan, BadSettings
        When a file or setting makes no sense; nothing is solved before all are read.
    """
    from fitsim.rig.read import read_load, read_pad, read_rig
    from fitsim.study.fit import fit
    from fitsim.study.moved import moved_along
    from fitsim.tree.read import read_tree

    with stages("settings", "reading the settings"):
        tree = read_tree(job.tree or DEFAULT_TREE, job.tree_unit, job.tree_front)
        pad, rig = read_pad(job.pad), read_rig(job.rig)
        load = read_load(job.load, job.slope, job.side_slope)
    _, back = read_back(job.scan, stages)
    with stages("cases", "solving the cases"):
        fitset = fit(back, tree, pad=pad, rig=rig, load=load, at=job.at, model=job.model, say=say)
    with stages("moved", "trying it further back and forward"):
        fitset = replace(fitset, moved=moved_along(fitset))
    given = {"tree": job.tree, "rig": job.rig, "pad": job.pad, "load": job.load}
    return replace(fitset, defaults=tuple(name for name, value in given.items() if value is None))
