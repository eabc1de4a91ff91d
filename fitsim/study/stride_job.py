"""A stride as people ask for it: names of files and settings in, a followed stride out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitsim.progress import Stages, silent

if TYPE_CHECKING:
    from fitsim.study.job import Job
    from fitsim.study.stride import Stride
    from fitsim.study.stride_trials import ShoulderRange, Trial


@dataclass(frozen=True)
class StrideStudy:
    """A stride, how sure it is, and what was tried.

    Attributes
    ----------
    stride : the tree followed through the gait cycle.
    range : by a shoulder that moves little and by one that moves much; None where not asked for.
    trials : one thing changed at a time, the first as it is; empty where not asked for.
    defaults : which of tree, rig, pad, load were defaults.
    """

    stride: Stride
    range: ShoulderRange | None
    trials: tuple[Trial, ...]
    defaults: tuple[str, ...]


def studied(
    job: Job,
    gait: str,
    *,
    phases: int = 48,
    case: str | None = None,
    tried: bool = True,
    stages: Stages = silent,
) -> StrideStudy:
    """From files to a followed stride.

    Parameters
    ----------
    job : Job
    gait : "walk", "trot", "single-foot" or "canter"
    phases : int
    case : str, optional
        Case to follow: both cinches with the load where not given.
    tried : bool
        Also try what might free the shoulders, and shoulders that move less and more.
    stages : Stages
        Called around each stage.

    Returns
    -------
    StrideStudy

    Raises
    ------
    BadScan, BadSettings
        When a file or setting makes no sense; nothing is read before the gait and phases are
        known to be good.
    NoEquilibrium
        The tree does not stay on even while the animal stands.
    """
    from fitsim.back.motion.gait import read_gait
    from fitsim.rig.read import read_load, read_pad, read_rig
    from fitsim.study.job import DEFAULT_TREE, read_back
    from fitsim.study.stride import require_case, require_phases, stride
    from fitsim.study.stride_trials import shoulder_range, trials
    from fitsim.tree.read import read_tree

    with stages("settings", "reading the settings"):
        known = read_gait(gait)
        require_phases(phases)
        tree = read_tree(job.tree or DEFAULT_TREE, job.tree_unit, job.tree_front)
        pad, rig = read_pad(job.pad), read_rig(job.rig)
        load = read_load(job.load, job.slope, job.side_slope)
        require_case(case, load)
    _, back = read_back(job.scan, stages)
    with stages("stride", f"following the stride at {known.words}"):
        followed = stride(
            back, tree, known, pad=pad, rig=rig, load=load, at=job.at, phases=phases, case=case
        )
    given = {"tree": job.tree, "rig": job.rig, "pad": job.pad, "load": job.load}
    defaults = tuple(name for name, value in given.items() if value is None)
    if not tried or not followed.stays:
        return StrideStudy(followed, None, (), defaults)
    with stages("trials", "trying what might free the shoulders"):
        found = trials(followed)
    with stages("range", "trying shoulders that move less and more"):
        spread = shoulder_range(followed)
    return StrideStudy(followed, spread, found, defaults)
