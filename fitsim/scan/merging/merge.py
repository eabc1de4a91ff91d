"""Partial views of one animal brought into one frame, or the one that does not fit named."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np

from fitsim.errors import BadScan, BadSettings
from fitsim.scan.merging.graph import Loop, chained, closed, how_sure, loops_of
from fitsim.scan.merging.placing import Pair, Place, laid_by_trunk, moved_by, paired, placed
from fitsim.scan.merging.starts import around, flipped, matched
from fitsim.units import show_length

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from fitsim.scan.merging.view import View

LEAST_OVERLAP: Final = 0.15
"""Share of the smaller view that must find the other for a pair to be believed."""
NOISE_ROOM: Final = 1.6
"""A still animal's views disagree by their noise; more than this times it is no fit."""
MOST_RESIDUAL: Final = 0.006
"""m: median disagreement that is believed of the trunk of an animal that moved."""
MOST_MISFIT: Final = 0.012
"""m: the same of whole patches of it."""
MOST_BLOCKED: Final = 0.02
"""Share of a view that may lie in the way of another's camera: strays and its own rim."""
MOST_MOVED: Final = 0.05
"""The same of the trunk of an animal that moved."""
MOST_SLACK: Final = 0.030
"""m: an animal that moved fits equally well in places this close; it has no one place."""
MOST_FROM_START: Final = 0.15
"""m: how far a rough start of an animal that moved may be off, root mean square."""
MOST_GAP: Final = 0.020
"""m: a loop that misses by more holds a view that is placed wrong."""
MOST_UNSURE: Final = 0.004
"""m: a view that noise alone may shift by more, one standard deviation, is not placed."""
ASIDE: Final = 0.05
"""Pairs that overlap by less than this say nothing of how well views agree."""

_WEAK: Final = 0.7  # of the weakest pair of the chain
_MEND: Final = "scan with more overlap or give rough poses; say so if the animal moved"


@dataclass(frozen=True)
class Merged:
    """Where each view lies, and how well.

    Attributes
    ----------
    T_first_view : (k, 4, 4) array.
    places : by numbers of target and source, every pair as it lies in the end.
    loops : what each loop missed by before it was closed.
    noise : by pair, m, median disagreement that noise explains.
    sure : (k,) array, m, how far each view may lie from its place, one standard deviation.
    moved : whether the animal moved between views: they disagree by more than noise.
    """

    T_first_view: NDArray[np.float64]
    places: Mapping[tuple[int, int], Place]
    loops: tuple[Loop, ...]
    noise: Mapping[tuple[int, int], float]
    sure: NDArray[np.float64]
    moved: bool


def merged(
    views: Sequence[View],
    start: Sequence[NDArray[np.float64]] | None = None,
    *,
    moved: bool = False,
    seed: int = 0,
) -> Merged:
    """Bring overlapping views into the frame of the first.

    Parameters
    ----------
    views : sequence of View
        Each in its own frame, m.
    start : sequence of (4, 4) arrays, optional
        Rough T_first_view of each; found from the shapes if not given.
    moved : bool
        The animal moved between its views: lay them by its trunk, near their start.
    seed : int
        Everything random follows from it.

    Returns
    -------
    Merged

    Raises
    ------
    BadSettings
        With fewer than two views, or a start for another number of them.
    BadScan
        If a view cannot be placed surely; names it, and says what came nearest.
    """
    _check(views, start, moved=moved)
    pairs = {
        (i, j): _pair(views[i], views[j], None if start is None else _between(start, i, j), seed)
        for i, j in combinations(range(len(views)), 2)
    }
    shown = [view.trunk for view in views] if moved else list(views)
    if start is not None and moved:
        pairs = {at: laid_by_trunk(views[at[0]], views[at[1]], pairs[at]) for at in pairs}
    believed, poses, tree = _believed(len(views), pairs, moved=moved)
    chain = [T for T in poses if T is not None]
    if len(chain) < len(views):
        raise _unplaced(views, [T is not None for T in poses].index(False), pairs, moved=moved)
    believed, loops = _contradicting(views, chain, believed, tree)
    first = list(
        closed(shown, chain, {at: pair.place.T_target_source for at, pair in believed.items()})
    )
    if start is not None and moved:
        _check_near(shown, first, start)
    places = {at: placed(shown[at[0]], shown[at[1]], _between(first, *at)) for at in pairs}
    _check_places(views, places, moved=moved)
    sure = how_sure(shown, np.array(first), list(believed))
    _check_sure(views, sure)
    noise = {at: pair.noise for at, pair in pairs.items()}
    return Merged(np.array(first), places, loops, noise, sure, moved)


def _believed(
    count: int, pairs: Mapping[tuple[int, int], Pair], *, moved: bool
) -> tuple[
    dict[tuple[int, int], Pair], list[NDArray[np.float64] | None], tuple[tuple[int, int], ...]
]:
    """Pairs that are believed, the poses they lead to (None where they do not), and their tree."""
    believed = {at: pair for at, pair in pairs.items() if fault(pair, moved=moved) is None}
    transforms = {at: pair.place.T_target_source for at, pair in believed.items()}
    strength = {at: pair.place.score for at, pair in believed.items()}
    return believed, *chained(count, transforms, strength)


def merge_notes(views: Sequence[View], result: Merged) -> list[str]:
    """What a merge did, in sentences for the user.

    Parameters
    ----------
    views : sequence of View
    result : Merged

    Returns
    -------
    list of str
    """
    said = [f"{len(views)} views were merged: {', '.join(view.name for view in views)}."]
    for (i, j), place in result.places.items():
        if place.overlap >= ASIDE:
            said.append(
                f"{views[i].name} and {views[j].name} overlap by {place.overlap:.0%} and disagree "
                f"there by {place.residual * 1e3:.1f} mm (median; noise explains "
                f"{result.noise[i, j] * 1e3:.1f} mm)."
            )
    if result.loops:
        gap = max(loop.gap for loop in result.loops)
        said.append(f"Round their loops the views missed by {gap * 1e3:.1f} mm before closing.")
    said.append(f"Noise alone may shift a view by {2e3 * result.sure.max():.1f} mm.")
    if result.moved:
        said.append(
            "Told: the animal moved between the views. They were laid by its trunk, near their "
            "start; the back is a mean of what they saw, and neck, tail and legs may lie twice."
        )
    if any(view.camera is None for view in views):
        said.append("Where the views were seen from is not known: they were laid by shape alone.")
    return said


def fault(pair: Pair, *, moved: bool) -> str | None:
    """Why a pair is not believed, in words; None if it is.

    Parameters
    ----------
    pair : Pair
    moved : bool
        Whether the animal is taken to have moved between its views.

    Returns
    -------
    str or None

    Examples
    --------
    >>> place = Place(np.eye(4), 0.5, residual=0.004, misfit=0.003, blocked=0.0, score=0.4)
    >>> pair = Pair(place, noise=0.001, even=0.001, rival=None, apart=0.0)
    >>> fault(pair, moved=True)
    >>> fault(pair, moved=False)
    'they disagree by 4.0 mm where noise explains 1.0 mm'
    """
    place = pair.place
    if place.overlap < LEAST_OVERLAP:
        return f"they overlap by only {max(0.0, place.overlap):.0%}"
    most = max(NOISE_ROOM * pair.noise, MOST_RESIDUAL if moved else 0.0)
    if place.residual > most:
        explained = f"{pair.noise * 1e3:.1f} mm"
        return f"they disagree by {place.residual * 1e3:.1f} mm where noise explains {explained}"
    if place.misfit > (MOST_MISFIT if moved else pair.even):
        return (
            f"whole patches of them disagree by {place.misfit * 1e3:.1f} mm, more than the "
            f"{pair.even * 1e3:.1f} mm of a still animal"
        )
    if place.blocked > (MOST_MOVED if moved else MOST_BLOCKED):
        return f"{place.blocked:.0%} of one would lie in the way of the other's camera"
    if pair.rival is not None and pair.apart > (MOST_SLACK if moved else 0.0):
        return f"a place {show_length(pair.apart)} away fits nearly as well"
    return None


def _pair(target: View, source: View, T: NDArray[np.float64] | None, seed: int) -> Pair:
    if T is not None:
        return paired(target, source, around(T, source))
    starts = matched(target, source, seed)
    first = paired(target, source, starts)
    # Only now is it known where a trunk that lies the other way round, or slid, would lie
    best = first.place.T_target_source
    return paired(target, source, [*starts, *flipped(best, source), *around(best, source)])


def _check(
    views: Sequence[View], start: Sequence[NDArray[np.float64]] | None, *, moved: bool
) -> None:
    if moved and start is None:
        raise BadSettings(
            "--moved",
            "an animal that moved is laid near a start, and none is given",
            "give --start",
        )
    if len(views) < 2:  # noqa: PLR2004 - a merge takes two
        raise BadSettings("merge", "there is only one view", "name two or more")
    if start is not None and len(start) != len(views):
        raise BadSettings(
            "start", f"it has {len(start)} poses for {len(views)} views", "give one for each view"
        )


def _between(poses: Sequence[NDArray[np.float64]], i: int, j: int) -> NDArray[np.float64]:
    return np.asarray(np.linalg.inv(poses[i]) @ poses[j])


def _contradicting(
    views: Sequence[View],
    chain: Sequence[NDArray[np.float64]],
    believed: Mapping[tuple[int, int], Pair],
    tree: Sequence[tuple[int, int]],
) -> tuple[dict[tuple[int, int], Pair], tuple[Loop, ...]]:
    """Pairs without those that miss the chain, and the loops that the others close.

    Opposite flanks look alike: they may fit each other where they are not. Such a pair is left
    out if it is much weaker than every pair of the chain.

    Raises
    ------
    BadScan
        If a pair that misses the chain is nearly as strong as those that make it.
    """
    transforms = {at: pair.place.T_target_source for at, pair in believed.items()}
    loops = loops_of(views, chain, transforms, tree)
    weakest = min(believed[at].place.score for at in tree)
    for loop in loops:
        pair = believed[loop.target, loop.source]
        if loop.gap > MOST_GAP and pair.place.score > _WEAK * weakest:
            raise BadScan(
                f"{views[loop.target].name}, {views[loop.source].name}",
                f"these views fit each other, but {show_length(loop.gap)} from where others put "
                "them",
                "leave out the view in which the animal moved, or give rough poses",
            )
    good = tuple(loop for loop in loops if loop.gap <= MOST_GAP)
    held = {*tree, *((loop.target, loop.source) for loop in good)}
    return {at: pair for at, pair in believed.items() if at in held}, good


def _check_near(
    views: Sequence[View],
    first: Sequence[NDArray[np.float64]],
    start: Sequence[NDArray[np.float64]],
) -> None:
    """An animal that moved proves no place by its fit alone: it must be near where it was told."""
    for number, view in enumerate(views):
        told = moved_by(_between(start, 0, number), view.sample)
        off = moved_by(first[number], view.sample) - told
        far = float(np.sqrt((off**2).sum(axis=1).mean()))
        if far > MOST_FROM_START:
            raise BadScan(
                view.name,
                f"this view cannot be placed surely: it fits {show_length(far)} from its start",
                f"give a start that is right to {show_length(MOST_FROM_START)}",
            )


def _check_sure(views: Sequence[View], sure: NDArray[np.float64]) -> None:
    number = int(sure.argmax())
    if sure[number] <= MOST_UNSURE:
        return
    raise BadScan(
        views[number].name,
        f"this view cannot be placed surely: where it overlaps others it may slide by "
        f"{2.0 * sure[number] * 1e3:.0f} mm",
        "scan with more overlap, over the withers or the croup where the shape changes",
    )


def _check_places(
    views: Sequence[View], places: Mapping[tuple[int, int], Place], *, moved: bool
) -> None:
    """No view may stand in the way of another's camera, whether they overlap or not."""
    most = MOST_MOVED if moved else MOST_BLOCKED
    bad = {at: place.blocked for at, place in places.items() if place.blocked > most}
    if not bad:
        return
    guilt = [sum(share for at, share in bad.items() if n in at) for n in range(len(views))]
    number = int(np.argmax(guilt))
    at = max((at for at in bad if number in at), key=lambda at: bad[at])
    other = views[at[0] + at[1] - number].name
    raise BadScan(
        views[number].name,
        f"this view cannot be placed surely: {bad[at]:.0%} of it or of {other} would lie in the "
        "way of the other's camera",
        _MEND,
    )


def _unplaced(
    views: Sequence[View], number: int, pairs: Mapping[tuple[int, int], Pair], *, moved: bool
) -> BadScan:
    mine = {at: pair for at, pair in pairs.items() if number in at}
    best = max(mine, key=lambda at: mine[at].place.score)
    other = views[best[0] + best[1] - number].name
    why = fault(mine[best], moved=moved) or f"{other} cannot be placed itself"
    fault_ = f"this view cannot be placed surely beside {other}: {why}"
    return BadScan(views[number].name, fault_, _MEND)
