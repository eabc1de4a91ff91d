"""Which trees are to be tried on which scans, and by what a pair is known again."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from fitsim import __version__

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from fitsim.study.job import Job, ScanFile


@dataclass(frozen=True)
class Pair:
    """One tree on one scan.

    Attributes
    ----------
    animal : name of the scan, none twice in a herd.
    tree : as it was named.
    job : files and settings; a file with its whole path, for a worker may be in another folder.
    key : changes when the scan, the tree, a setting or the program changes.
    """

    animal: str
    tree: str
    job: Job
    key: str


def pairs_of(scans: Sequence[ScanFile], trees: Sequence[str], like: Job) -> list[tuple[Pair, ...]]:
    """Every tree on every scan.

    Parameters
    ----------
    scans, trees : in the order that results come in.
    like : Job
        What is the same in all: rig, pad, load, where, ground.

    Returns
    -------
    list of tuple of Pair
        One tuple a scan, so that a scan is read once for all its trees.
    """
    jobs = {tree: replace(like, tree=tree) for tree in trees}
    ways = {tree: (_key_of_tree(job), _placed(job)) for tree, job in jobs.items()}
    names = [scan.path.stem for scan in scans]
    times = Counter(names)
    return [
        tuple(
            Pair(
                name if times[name] == 1 else str(scan.path),
                tree,
                replace(job, scan=replace(scan, path=scan.path.absolute())),
                _hash(scan_key, way),
            )
            for tree, (way, job) in ways.items()
        )
        for scan, name in zip(scans, names, strict=True)
        for scan_key in [_key_of_scan(scan)]
    ]


def missing(groups: Sequence[tuple[Pair, ...]], done: Collection[str]) -> list[tuple[Pair, ...]]:
    """The pairs whose key is not among those done, still by scan; scans that lack none are gone."""
    left = (tuple(pair for pair in group if pair.key not in done) for group in groups)
    return [group for group in left if group]


def _placed(job: Job) -> Job:
    """The same with whole paths where a file is meant and not a name of the library."""
    named = (job.tree, job.rig, job.pad, job.load)
    tree, rig, pad, load = (
        str(Path(name).absolute()) if name and Path(name).is_file() else name for name in named
    )
    return replace(job, tree=tree, rig=rig, pad=pad, load=load)


def _key_of_scan(scan: ScanFile) -> str:
    """Of the file's place, size and time: to read a hundred thousand scans first takes hours."""
    path = scan.path.resolve()
    stat = path.stat() if path.is_file() else None
    seen = (0, 0) if stat is None else (stat.st_size, stat.st_mtime_ns)
    told = scan.unit, scan.withers_height, scan.known, scan.spacing, scan.stickers, scan.coat
    return _hash(str(path), *seen, *told)


def _key_of_tree(job: Job) -> str:
    """Of the tree and all that is the same for the herd; of files what they hold."""
    named = (job.tree, job.rig, job.pad, job.load)
    held = [Path(name).read_bytes() if name and Path(name).is_file() else name for name in named]
    ground = (job.at, job.slope, job.side_slope)
    return _hash(__version__, *held, job.tree_unit, job.tree_front, *ground)


def _hash(*parts: object) -> str:
    return sha256(repr(parts).encode()).hexdigest()[:32]
