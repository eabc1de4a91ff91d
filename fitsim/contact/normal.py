"""Normal contact alone: a rigid surface pressed square onto the back with a given force.

The same operator, layers and blending as the whole solver uses, without its motions but one. The
contact set is found from coarse grids to fine ones; on each, conjugate gradients under the
constraint of the load, preconditioned with the inverse Fourier symbol, run until the primal-dual
rule (Hintermueller, Ito, Kunisch 2003 SIAM J Optim 13:865-888, from memory) leaves the set as it
is. What is handed down is the force and the rule's own indicator, which crosses nought smoothly
at the rim of the contact, so that a finer grid starts with nearly its own set.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from fitsim.contact.levels import (
    Level,
    Window,
    gathered,
    spread_out,
    window_of,
)
from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from collections.abc import Sequence

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Place = tuple[slice, slice]

_COARSE_TOLERANCE = 1e-3  # the next grid's own answer differs by more
_REVIEW = 0.3  # the contact set is reviewed whenever what is left over has come down to this
_STRAY = 0.02  # share of the set that may still change on a coarse grid
_FIRST_SHARE = 0.3  # of the coarsest grid, taken to touch at first
_MARGIN = 1  # cells around the contact
_MOST_STEPS, _MOST_SETS, _MOST_WINDOWS = 400, 40, 10


@dataclass(frozen=True)
class NormalContact:
    """A rigid surface at rest on the back.

    Attributes
    ----------
    force : (nx, nt) array, N, >= 0.
    gap : (nx, nt) array, m, clearance, 0 in contact to the tolerance.
    approach : m, how far the surface has come down.
    steps : conjugate-gradient steps on the finest grid.
    """

    force: Array
    gap: Array
    approach: float
    steps: int


@dataclass(frozen=True)
class _State:
    """Forces and the primal-dual indicator (> 0 in contact) in a window at a place of the grid."""

    force: Array
    indicator: Array
    place: Place
    approach: float
    steps: int


def pressed(
    levels: Sequence[Level],
    gap: Array,
    load: float,
    *,
    added: Array | None = None,
    tolerance: float = 1e-8,
) -> NormalContact:
    """Press a rigid surface onto the back.

    Parameters
    ----------
    levels : from `fitsim.contact.levels.levels_of`
        The back's compliance, finest grid first; built once.
    gap : (nx, nt) array, m
        Clearance before any force, up to a constant; infinite where there is no surface above
        or no node below.
    load : float, N
        Total normal force, > 0.
    added : (nx, nt) array, m/N, optional
        Compliance in series at each node: a pad's thickness over modulus and area.
    tolerance : float, -
        Largest mean clearance left in the contact, weighted by force, over the approach.

    Returns
    -------
    NormalContact

    Raises
    ------
    BadSettings
        The load does not press.

    Examples
    --------
    Hertz: a sphere of 1 m on a half-space of modulus 1 Pa, contact radius 0.3 m.

    >>> from fitsim.contact.half_space import half_space_table
    >>> from fitsim.contact.levels import half_space_levels
    >>> x = (np.arange(64) + 0.5) / 64 - 0.5
    >>> found = pressed(half_space_levels(1.0, (64, 64), 1 / 64), (x[:, None]**2 + x**2) / 2, 0.036)
    >>> round(found.approach, 3), round(float(found.force.max()) * 64**2, 3)
    (0.09, 0.191)
    """
    if not load > 0.0:
        raise BadSettings("load", "does not press", "give a force greater than 0 N")
    gaps, extra = [_bounded(gap)], [added]
    for _ in levels[1:]:
        gaps.append(gathered(gaps[-1]))
        # four cells side by side share the force
        extra.append(None if extra[-1] is None else 0.25 * gathered(extra[-1]))
    state = _directly(levels[-1], gaps[-1], load, extra[-1])
    for number in range(len(levels) - 2, -1, -1):
        level = levels[number]
        start = _handed_down(state, level.shape)
        goal = tolerance if number == 0 else max(_COARSE_TOLERANCE, tolerance)
        state = _settled(level, gaps[number], load, extra[number], start, goal)
    if len(levels) == 1:
        state = _settled(levels[0], gaps[0], load, added, state, tolerance)
    for _ in range(_MOST_WINDOWS):
        clear = _clearance(levels[0], gaps[0], added, state)
        if not _outside(levels[0], clear, state):
            break
        state = _settled(
            levels[0], gaps[0], load, added, _widened(levels[0], clear, state), tolerance
        )
    return NormalContact(
        _laid(state.force, state.place, gap.shape),
        np.where(np.isfinite(gap), clear, np.inf),
        state.approach,
        state.steps,
    )


def _bounded(gap: Array) -> Array:
    """The gap with places that have no surface above a thousand times as far off as any other."""
    there = np.isfinite(gap)
    if there.all():
        return gap
    low, high = float(gap[there].min()), float(gap[there].max())
    return np.where(there, gap, high + 1e3 * (high - low))


def _directly(level: Level, gap: Array, load: float, added: Array | None) -> _State:
    """The coarsest grid by Cholesky factorisation, one set after another."""
    matrix = level.matrix
    if added is not None:
        matrix = matrix + np.diag(added.ravel())
    own, open_gap = matrix.diagonal(), gap.ravel()
    touching = (own > 0.0) & (open_gap <= np.quantile(open_gap[own > 0.0], _FIRST_SHARE))
    for _ in range(_MOST_SETS):
        chosen = np.flatnonzero(touching)
        factor = linalg.cho_factor(matrix[np.ix_(chosen, chosen)], check_finite=False)
        right = np.column_stack([np.ones(len(chosen)), open_gap[chosen]])
        lift, sag = linalg.cho_solve(factor, right, check_finite=False).T
        approach = float((load + sag.sum()) / lift.sum())
        force = np.zeros(len(own))
        force[chosen] = approach * lift - sag
        clear = matrix @ force + open_gap - approach
        last, touching = touching, force * own - clear > 0.0
        if np.count_nonzero(touching != last) <= _STRAY * len(chosen):
            break
    shape = level.shape
    place = (slice(0, shape[0]), slice(0, shape[1]))
    indicator = (force * own - clear).reshape(shape)
    return _State(force.reshape(shape), indicator, place, approach, 0)


def _handed_down(state: _State, shape: tuple[int, int]) -> _State:
    """A coarse grid's answer as the next finer one's start, cut to its contact."""
    first = [2 * side.start for side in state.place]
    size = tuple(
        min(2 * (side.stop - side.start), n - 2 * side.start)
        for side, n in zip(state.place, shape, strict=True)
    )
    both = np.stack([state.indicator, 0.25 * state.force])
    indicator, force = spread_out(both, (size[0], size[1]))
    touching = indicator > 0.0
    cut = [
        slice(max(int(line[0]) - _MARGIN, 0), int(line[-1]) + 1 + _MARGIN)
        for line in (np.flatnonzero(touching.any(axis=1)), np.flatnonzero(touching.any(axis=0)))
    ]
    force, indicator = force[cut[0], cut[1]], indicator[cut[0], cut[1]]
    place = tuple(
        slice(at + side.start, at + side.start + n)
        for at, side, n in zip(first, cut, force.shape, strict=True)
    )
    return _State(force, indicator, (place[0], place[1]), state.approach, state.steps)


def _settled(  # noqa: PLR0917 - the problem on one grid, and where to start
    level: Level,
    gap: Array,
    load: float,
    added: Array | None,
    start: _State,
    tolerance: float,
) -> _State:
    """Conjugate gradients under the load's constraint until the contact set is at rest."""
    place = start.place
    window = window_of(level, place, None if added is None else added[place])
    open_gap, low = gap[place], float(gap.min())
    touching = (start.indicator > 0.0) & (window.own > 0.0)
    stray = 0 if tolerance < _COARSE_TOLERANCE else int(_STRAY * touching.sum())
    force, steps, sets = start.force, 0, 0
    while True:
        sets += 1
        force, flat, scale = _feasible(window, force, touching, load)
        clear = window.sinking(force) + open_gap
        way, size, first = flat, 0.0, np.inf
        while True:
            approach = float(np.vdot(clear, flat)) / scale
            left = clear - approach
            indicator = force * window.own - left
            left *= touching
            error = float(np.vdot(force, np.abs(left))) / (load * (approach - low))
            first = error if first == np.inf else first
            if error < max(tolerance, _REVIEW * first) or steps > _MOST_STEPS:
                changed = np.count_nonzero((indicator > 0.0) != touching)
                if changed > stray and sets < _MOST_SETS:
                    break
                if error < tolerance or steps > _MOST_STEPS:
                    force = np.where(touching, np.maximum(force, 0.0), 0.0)
                    return _State(force, indicator, place, approach, steps)
                first = error
            better = window.preconditioned(left)
            better *= touching
            better -= better.sum() / scale * flat
            last, size = size, float(np.vdot(left, better))
            way = better if last == 0.0 else better + size / last * way
            sunk = window.sinking(way)
            share = size / float(np.vdot(way, sunk))
            force = force - share * way
            clear -= share * sunk
            steps += 1
        touching = (indicator > 0.0) & (window.own > 0.0)


def _feasible(
    window: Window, force: Array, touching: Flags, load: float
) -> tuple[Array, Array, float]:
    """Forces on the contact set that carry the load, and the even push that keeps them so."""
    flat = window.preconditioned(touching.astype(np.float64))
    flat *= touching
    scale = float(flat.sum())
    force = np.where(touching, force, 0.0)
    return force + (load - force.sum()) / scale * flat, flat, scale


def _laid(force: Array, place: Place, shape: tuple[int, ...]) -> Array:
    """A window's forces on the whole grid."""
    whole = np.zeros(shape)
    whole[place] = force
    return whole


def _clearance(level: Level, gap: Array, added: Array | None, state: _State) -> Array:
    """Clearance on the whole grid, m."""
    force = _laid(state.force, state.place, gap.shape)
    sunk = level.whole.sinking(force)
    if added is not None:
        sunk += added * force
    return np.asarray(sunk + gap - state.approach)


def _outside(level: Level, clear: Array, state: _State) -> bool:
    """Whether the surface dips into the back somewhere outside the window."""
    dips = (clear < 0.0) & (level.whole.own > 0.0)
    dips[state.place] = False
    return bool(dips.any())


def _widened(level: Level, clear: Array, state: _State) -> _State:
    """The same state in a window that holds every dip as well."""
    indicator = np.where(level.whole.own > 0.0, -clear, -np.inf)
    indicator[state.place] = state.indicator
    wanted = indicator > 0.0
    lines = (np.flatnonzero(wanted.any(axis=1)), np.flatnonzero(wanted.any(axis=0)))
    rows, columns = (
        slice(max(int(one[0]) - _MARGIN, 0), int(one[-1]) + 1 + _MARGIN) for one in lines
    )
    force = _laid(state.force, state.place, clear.shape)[rows, columns]
    place = (
        slice(rows.start, rows.start + len(force)),
        slice(columns.start, columns.start + force.shape[1]),
    )
    return _State(force, indicator[rows, columns], place, state.approach, state.steps)
