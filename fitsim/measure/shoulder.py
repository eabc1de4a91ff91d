"""Shoulder freedom: what a tree does to the shoulder blades as they glide under its fronts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.motion.kinematics import BEHIND_EDGE
from fitsim.back.motion.posture import edge_profile
from fitsim.measure.pressure import on_grid, patch_mean

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fitsim.back.motion.kinematics import Blade, Kinematics
    from fitsim.back.motion.posture import Posture
    from fitsim.contact.equilibrium import Equilibrium

    Array = NDArray[np.float64]

STRIP = 0.5
"""-: the edge is the skin that takes part in at least this share of its rise; a blade's peak is
looked for where it covers this share of a node's skin."""


@dataclass(frozen=True)
class ShoulderFreedom:
    """One shoulder blade through a stride.

    Attributes
    ----------
    side : "left" or "right".
    glide, lift : (p,) arrays, m, how far the rear edge has gone back and risen.
    under : (p,) array, -, share of the edge abreast of the bar that lies under it.
    clearance : (p,) array, m, least clearance over the edge; 0 where it touches, nan where no bar
        is above it.
    held_down : (p,) array, m, how far the bar presses the edge in, mean over what is under it.
    peak : (p,) array, Pa, highest 20 x 20 mm patch centred on the blade, edge included.
    force : (p,) array, N, on the blade as it lies then.
    impulse : N*s, of that force over the stride.
    lift_work : J per stride, done by the rising edge against the pressure on it.
    rub_work : J per stride, at most done against friction if the coat goes with the blade.
    restricted : -, share of its rise along the glide that the bar takes back; 0 is free.
    """

    side: str
    glide: Array
    lift: Array
    under: Array
    clearance: Array
    held_down: Array
    peak: Array
    force: Array
    impulse: float
    lift_work: float
    rub_work: float
    restricted: float

    @property
    def work(self) -> float:
        """J per stride, taken from the gliding shoulder: lifting and, at most, rubbing."""
        return self.lift_work + self.rub_work

    @property
    def restricted_glide(self) -> float:
        """Restricted share of the glide in m."""
        return self.restricted * float(self.glide.max())

    @property
    def least_clearance(self) -> float:
        """Least clearance of the stride, m; nan where the edge never comes under a bar."""
        known = self.clearance[np.isfinite(self.clearance)]
        return float(known.min()) if len(known) else float("nan")


def shoulder_freedom(  # noqa: PLR0917 - a stride, its side, and what was worked out before
    moving: Kinematics,
    postures: Sequence[Posture],
    found: Sequence[Equilibrium],
    side: str,
    friction: float,
    patches: Sequence[Array] | None = None,
) -> ShoulderFreedom:
    """What the tree does to one shoulder blade through a stride.

    Parameters
    ----------
    moving : Kinematics
    postures : sequence of Posture
        Evenly over one stride.
    found : sequence of Equilibrium
        At each; all of them found.
    side : "left" or "right"
    friction : float, -
        Coulomb coefficient between coat and pad.
    patches : sequence of (nx, nt) arrays, Pa, optional
        Mean over the patch about each node (`fitsim.measure.pressure.patch_mean`), if known.

    Returns
    -------
    ShoulderFreedom

    Notes
    -----
    The edge would rise by w(s) as it glides through s, and the bar presses the skin there in by d.
    What it takes back of the rise is min(d, w), and

        restricted = sum of min(d, w) |ds| / sum of w |ds|

    over the stride, out and back, and over the part of the edge that lies as far from the spine
    as the bar does, whether the bar reaches forward to it or not. A bar that never touches the edge
    gives 0, one under which it cannot rise at all gives 1. No pressure is called too much: none is
    known for a moving shoulder.

    The edge does work on the tree while it rises: sum of p dA dw where that is positive, since
    muscle does not get back what the tree returns. Friction takes at most mu p dA ds more, if the
    coat goes along with the bone under it; skin that slides over the bone feels less.
    """
    chart = moving.chart
    valid = chart.valid
    area = chart.area[valid]
    if patches is None:
        patches = [patch_mean(on_grid(chart, rest.pressure), chart.spacing) for rest in found]
    rows = [
        _row(moving, now, rest, side, patch)
        for now, rest, patch in zip(postures, found, patches, strict=True)
    ]
    glide = np.array([now.glide[side] for now in postures])
    step = np.abs(np.roll(glide, -1) - glide)
    pairs = list(zip(rows, [*rows[1:], rows[0]], strict=True))
    would = sum(0.5 * (a.would + b.would) * ds for (a, b), ds in zip(pairs, step, strict=True))
    back = sum(0.5 * (a.taken + b.taken) * ds for (a, b), ds in zip(pairs, step, strict=True))
    load = np.array([rest.pressure for rest in found]) * area
    rises = np.array([row.rise for row in rows])
    power = 0.5 * (load + np.roll(load, -1, axis=0)) * (np.roll(rises, -1, axis=0) - rises)
    force = np.array([float(one @ row.blade) for one, row in zip(load, rows, strict=True)])
    rubbed = float((0.5 * (force + np.roll(force, -1)) * step).sum())
    return ShoulderFreedom(
        side=side,
        glide=glide,
        lift=np.array([now.lift[side] for now in postures]),
        under=np.array([row.under for row in rows]),
        clearance=np.array([row.clearance for row in rows]),
        held_down=np.array([row.held_down for row in rows]),
        peak=np.array([row.peak for row in rows]),
        force=force,
        impulse=float(force.mean() * moving.gait.stride),
        lift_work=float(np.clip(power.sum(axis=1), 0.0, None).sum()),
        rub_work=friction * rubbed,
        restricted=float(back / would) if would > 0.0 else 0.0,
    )


@dataclass(frozen=True)
class _Row:
    """One blade at one moment; arrays over the valid nodes."""

    rise: Array
    blade: Array
    under: float
    clearance: float
    held_down: float
    peak: float
    would: float
    taken: float


def _row(moving: Kinematics, now: Posture, rest: Equilibrium, side: str, patch: Array) -> _Row:
    chart, blade = moving.chart, moving.blades[side]
    grid = edge_profile(blade, now.glide[side], moving.scale)
    bone = blade_cover(blade, now.glide[side], moving.scale)
    part = grid[chart.valid]
    rise = now.lift[side] * part
    strip = part > STRIP
    above = np.isfinite(rest.gap)
    pressed = np.where(above, np.clip(rest.indentation, 0.0, None), 0.0)
    abreast = _abreast(chart.valid, above)
    over = strip & above
    some = bool(over.any())
    return _Row(
        rise=rise,
        blade=bone[chart.valid],
        under=float(over.sum() / max(int((strip & abreast).sum()), 1)),
        clearance=float(rest.gap[over].min()) if some else float("nan"),
        held_down=float(pressed[over].mean()) if some else 0.0,
        peak=float(patch[(bone > STRIP) & chart.valid].max(initial=0.0)),
        would=float(rise[abreast].sum()),
        taken=float(np.minimum(pressed, rise)[abreast].sum()),
    )


def blade_cover(blade: Blade, glide: float, scale: float) -> Array:
    """Share of each node's skin that lies over the blade, edge included, (nx, nt), 0..1.

    It fades out over the skin drawn over the edge, so that what a blade carries does not jump as a
    node passes from it.

    Parameters
    ----------
    blade : Blade
    glide : float, m
        How far its edge has gone back.
    scale : float, -
        Size of the animal over one of 1.5 m.
    """
    ahead = (blade.ahead + glide) / (BEHIND_EDGE * scale)
    return np.asarray(np.clip(1.0 + ahead, 0.0, 1.0) * blade.cover)


def _abreast(valid: NDArray[np.bool_], above: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Nodes (n,) as far from the spine as some place under a bar."""
    grid = np.zeros(valid.shape, dtype=bool)
    grid[valid] = above
    return np.asarray(np.broadcast_to(grid.any(axis=0), valid.shape)[valid])
