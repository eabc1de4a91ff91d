"""A job made ready to be tried: the tree laid on the back, and the cases it will be tried under."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitsim.progress import Stages, silent
from fitsim.study.job import DEFAULT_TREE, read_back

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitsim.back.back import Back
    from fitsim.rig.case import Case
    from fitsim.rig.load import Load
    from fitsim.rig.rig import Rig
    from fitsim.study.job import Job
    from fitsim.study.laid import Laid


@dataclass(frozen=True)
class SetUp:
    """A tree laid on a back with what it will be tried under; nothing is solved yet.

    Attributes
    ----------
    back, rig, load : as read.
    laid : the tree on the back.
    cases : by name, as in a fit.
    defaults : which of tree, rig, pad and load were not given.
    """

    back: Back
    rig: Rig
    load: Load
    laid: Laid
    cases: Mapping[str, Case]
    defaults: tuple[str, ...] = ()


def set_up(job: Job, stages: Stages = silent) -> SetUp:
    """Read a job's files and lay its tree on its back.

    Parameters
    ----------
    job : Job
    stages : Stages
        Called around each stage.

    Returns
    -------
    SetUp

    Raises
    ------
    BadScan, BadSettings
        When a file or setting makes no sense.
    """
    from fitsim.rig.cases import cases_for
    from fitsim.rig.read import read_load, read_pad, read_rig
    from fitsim.study.laid import laid
    from fitsim.tree.read import read_tree

    with stages("settings", "reading the settings"):
        tree = read_tree(job.tree or DEFAULT_TREE, job.tree_unit, job.tree_front)
        pad, rig = read_pad(job.pad), read_rig(job.rig)
        load = read_load(job.load, job.slope, job.side_slope)
    _, back = read_back(job.scan, stages)
    with stages("lay", "laying the tree on"):
        on = laid(back, tree, pad=pad, at=job.at)
    given = {"tree": job.tree, "rig": job.rig, "pad": job.pad, "load": job.load}
    return SetUp(
        back=back,
        rig=rig,
        load=load,
        laid=on,
        cases={one.name: one for one in cases_for(back, tree, on.seat.T_body_tree, rig, load)},
        defaults=tuple(name for name, value in given.items() if value is None),
    )
