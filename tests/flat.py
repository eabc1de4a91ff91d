"""A flat back and bars of known pressure and daylight on it, at any spacing: for measures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.back import Back, Barrel, Chart, Tissue, Zone
from fitsim.contact.equilibrium import Equilibrium
from fitsim.scan.scan import Provenance

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Array = NDArray[np.float64]

LENGTH, WIDTH, INNER = 0.56, 0.11, 0.025
FRONT_X = -0.02  # the bars' front end


def flat_chart(spacing: float, shift: float = 0.0) -> Chart:
    """A level plane, 1.0 m by 0.72 m; `shift` (m) moves the grid's stations along."""
    x = np.arange(round(-0.75 / spacing), round(0.25 / spacing) + 1) * spacing + shift
    t = np.arange(-round(0.36 / spacing), round(0.36 / spacing) + 1) * spacing
    shape = (len(x), len(t))
    points = np.zeros((*shape, 3))
    points[..., 0], points[..., 1] = x[:, None], t[None, :]
    up = np.zeros((*shape, 3))
    up[..., 2] = 1.0
    return Chart(
        x=x,
        t=t,
        points=points,
        normals=up,
        area=np.full(shape, spacing**2),
        curvature=np.zeros(shape),
        valid=np.ones(shape, dtype=bool),
        filled=np.zeros(shape, dtype=bool),
    )


def flat_back(spacing: float, shift: float = 0.0) -> Back:
    """The plane with a spine strip 50 mm wide and the muscle to either side of it."""
    chart = flat_chart(spacing, shift)

    def box(t0: float, t1: float) -> Array:
        return np.array([(-0.8, t0), (0.3, t0), (0.3, t1), (-0.8, t1), (-0.8, t0)])

    zones = (
        Zone("spine", box(-0.025, 0.025)),
        Zone("long_muscle_left", box(0.025, 0.15)),
        Zone("long_muscle_right", box(-0.15, -0.025)),
    )
    code = np.full(chart.valid.shape, -1)
    edge = 1e-9  # a node on the border belongs to the spine
    for k in (2, 1, 0):
        low, high = zones[k].outline[:, 1].min() - edge, zones[k].outline[:, 1].max() + edge
        code[:, (chart.t >= low) & (chart.t <= high)] = k
    girth = np.array([(0.3, 0.0), (-0.3, 0.0), (-0.3, -0.6), (0.3, -0.6)])
    return Back(
        T_body_scan=np.eye(4),
        chart=chart,
        zone_code=code,
        zones=zones,
        marks={},
        tissue=Tissue((), np.zeros((*chart.valid.shape, 0))),
        barrel=Barrel(np.array([-0.6, 0.2]), (girth, girth), np.zeros(2, dtype=bool)),
        withers_height=1.45,
        provenance=Provenance("flat", "0" * 64, 0, 0, "m", "made", ()),
    )


def cell_means(chart: Chart, field: Callable[[Array, Array], Array]) -> Array:
    """Mean of a field (of x and t) over every cell, (n,), by points 1 mm apart or closer."""
    fine = max(int(np.ceil(chart.spacing / 0.001 - 1e-6)), 3)
    steps = ((np.arange(fine) + 0.5) / fine - 0.5) * chart.spacing
    x = (chart.x[:, None] + steps).ravel()
    t = (chart.t[:, None] + steps).ravel()
    values = field(x[:, None], t[None, :])
    shape = (len(chart.x), fine, len(chart.t), fine)
    return values.reshape(shape).mean(axis=(1, 3)).ravel()


def bars_on(
    back: Back, pressure: Array, gap: Callable[[Array], Array] | None = None
) -> Equilibrium:
    """Two straight bars along the spine, with given pressures (n,) Pa and daylight by place."""
    points = back.chart.points[back.chart.valid]
    place = (FRONT_X - points[:, 0]) / LENGTH
    reach = 0.5 * back.chart.spacing  # any part of the cell lies under the bar
    beside = np.abs(np.abs(points[:, 1]) - INNER - 0.5 * WIDTH) < 0.5 * WIDTH + reach - 1e-9
    under = beside & (place > -reach / LENGTH + 1e-9) & (place < 1 + reach / LENGTH - 1e-9)
    along = np.where(under, np.clip(place, 0.0, 1.0), np.nan)
    clearance = np.zeros_like(place) if gap is None else gap(np.clip(place, 0.0, 1.0))
    return Equilibrium(
        found=True,
        leaves=None,
        residual=0.0,
        iterations=1,
        T_body_tree=np.eye(4),
        T_body_tree_seat=np.eye(4),
        joint_angles=np.zeros(0),
        pressure=pressure,
        shear=np.zeros((len(pressure), 3)),
        gap=np.where(under, clearance, np.nan),
        indentation=np.zeros_like(pressure),
        bar=np.where(under, np.sign(points[:, 1]), 0).astype(int),
        along=along,
        forces=(),
    )
