"""Everything measured on one case."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import binary_erosion

from fitsim.measure.balance import BALANCED, balance
from fitsim.measure.gaps import SIDES, bridging, daylight, lifts
from fitsim.measure.hotspots import hotspots
from fitsim.measure.measures import Measures
from fitsim.measure.pressure import (
    contact_nodes,
    force_shares,
    mean_pressure,
    node_forces,
    normal_force,
    on_grid,
    patch_mean,
    patch_peak,
    percentile,
)
from fitsim.measure.rocking import bar_ends
from fitsim.measure.zones import zone_loads
from fitsim.rig.rings import bar_length

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from numpy.typing import NDArray

    from fitsim.back.back import Back, Chart
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.measure.measures import Margins, Rocking
    from fitsim.rig.case import Case
    from fitsim.tree.tree import Tree

    Array = NDArray[np.float64]

FILLED = "of the load lies where a hole in the scan was filled: pressure there is unsure."
_WORTH_A_WORD = 0.01  # of the load: less of it on doubtful ground is not mentioned


def measured(
    back: Back,
    tree: Tree,
    case: Case,
    equilibrium: Equilibrium,
    rocked: Rocking | None = None,
    *,
    margins: Margins | None = None,
    only: Collection[str] | None = None,
) -> Measures:
    """The numbers of one case.

    Parameters
    ----------
    back : Back
        As solved on.
    tree : Tree
        As solved with.
    case : Case
        As solved for; its straps tell whether their way had to be guessed.
    equilibrium : Equilibrium
        One that was found.
    rocked : Rocking, optional
        Where it was asked for (`fitsim.measure.rocking.rocking`).
    margins : Margins, optional
        As far as they are known.
    only : collection of str, optional
        Zones wanted, where no more than numbers are: hotspots are then left out.

    Returns
    -------
    Measures
        SI throughout. `vertical_force` is positive where the back carries the tree.

    Raises
    ------
    ValueError
        The tree does not stay on: there is nothing to measure.
    """
    if not equilibrium.found:
        raise ValueError("no equilibrium: its numbers are not results and must not be measured")
    chart, pressure = back.chart, equilibrium.pressure
    area, normals = chart.area[chart.valid], chart.normals[chart.valid]
    length = bar_length(tree)
    on_tree = node_forces(pressure, equilibrium.shear, normals, area)
    grid = on_grid(chart, pressure)
    peaks = patch_peak(grid, chart.spacing)
    said = (*_strap_cautions(back, case), *_cautions(chart, tree, equilibrium, on_tree, length))
    daylights = {side: daylight(chart, equilibrium, side, length) for side in SIDES}
    lift = lifts(daylights, length)
    return Measures(
        normal_force=normal_force(pressure, area),
        vertical_force=float(on_tree[:, 2].sum()),
        peak=float(peaks.max()),
        point_max=float(pressure.max()),
        p95=percentile(pressure, area),
        mean=mean_pressure(pressure, area),
        area=float(area[contact_nodes(pressure)].sum()),
        share=force_shares(
            pressure * area, equilibrium.bar, equilibrium.along, chart.spacing / length
        ),
        lift=lift,
        zones=zone_loads(back, pressure, only),
        hotspots=hotspots(back, peaks, patch_mean(grid, chart.spacing)) if only is None else (),
        bridging={side: bridging(daylights[side]) for side in SIDES},
        rocking=rocked,
        cautions=(*said, *_lift_cautions(lift)),
        margins=margins,
    )


def _cautions(
    chart: Chart, tree: Tree, equilibrium: Equilibrium, on_tree: Array, length: float
) -> tuple[str, ...]:
    """What a reader of these numbers must know besides."""
    force = equilibrium.pressure * chart.area[chart.valid]
    total = max(float(force.sum()), np.finfo(float).tiny)
    said = []
    patched = float(force[chart.filled[chart.valid]].sum()) / total
    if patched > _WORTH_A_WORD:
        said.append(f"{patched:.0%} {FILLED}")
    rim = float(force[_rim(chart)[chart.valid]].sum()) / total
    if rim > _WORTH_A_WORD:
        said.append(f"{rim:.0%} of the load lies at the edge of the scan: more may lie beyond it.")
    middle = np.mean([equilibrium.T_body_tree @ np.append(p, 1.0) for p in bar_ends(tree)], axis=0)
    left_over = balance(
        chart.points[chart.valid], on_tree, equilibrium.forces, middle[:3], length
    ).residual
    if left_over > BALANCED:
        said.append(f"The forces balance to {left_over:.1%} only: take the numbers as rough.")
    return tuple(said)


def _lift_cautions(lift: Mapping[str, float]) -> tuple[str, ...]:
    """Said of the tips whose lift is not known."""
    unknown = [tip.replace("_", " ") for tip, clear in lift.items() if np.isnan(clear)]
    return tuple(f"No skin under the {tip} tip: its lift is not known." for tip in unknown)


def _strap_cautions(back: Back, case: Case) -> tuple[str, ...]:
    """Said where a strap runs over what the scan did not reach."""
    barrel = back.barrel
    cinches = [strap for strap in case.straps if "cinch" in strap.name]
    guessed = [
        barrel.extrapolated[np.argmin(np.abs(barrel.x - strap.anchor_body[0]))] for strap in cinches
    ]
    said = []
    if any(guessed):
        said.append("The scan ends above the belly: the way the cinches run down is an estimate.")
    if len(cinches) < len(case.straps):
        said.append(
            "Where breast strap, breeching and crupper meet the animal is an estimate from its "
            "height."
        )
    return tuple(said)


def _rim(chart: Chart) -> NDArray[np.bool_]:
    """Valid cells that touch one that is not, or the end of the chart."""
    inner = binary_erosion(chart.valid, np.ones((3, 3), dtype=bool), border_value=0)
    return np.asarray(chart.valid & ~inner)
