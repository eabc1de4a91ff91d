"""What each zone of the back carries."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.measure.measures import ZoneLoad
from fitsim.measure.pressure import contact_nodes, on_grid, patch_peak

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from numpy.typing import NDArray

    from fitsim.back.back import Back, Chart

    Array = NDArray[np.float64]
    Mask = NDArray[np.bool_]


def zone_loads(
    back: Back, pressure: Array, only: Collection[str] | None = None
) -> Mapping[str, ZoneLoad]:
    """Force, peak and contact area of every zone.

    A node counts to one zone only (`Back.zone_code`), so that the forces of all zones add up to
    no more than the whole.

    Parameters
    ----------
    back : Back
        Its chart, zones and zone codes.
    pressure : (n,) array, Pa
        On the valid nodes of the chart, row-major.
    only : collection of str, optional
        Zones wanted.

    Returns
    -------
    dict of ZoneLoad
        By zone name, every zone of the back or those wanted.
    """
    return {
        zone.name: _zone_load(back.chart, pressure, back.zone_code == index)
        for index, zone in enumerate(back.zones)
        if only is None or zone.name in only
    }


def _zone_load(chart: Chart, pressure: Array, inside: Mask) -> ZoneLoad:
    area = chart.area[chart.valid]
    own = np.where(inside[chart.valid], pressure, 0.0)
    force = float(own @ area)
    if force == 0.0:
        return ZoneLoad(0.0, 0.0, 0.0)
    # Pressure outside the zone does not count: a zone that carries nothing has no peak either.
    peaks = patch_peak(on_grid(chart, pressure), chart.spacing, within=inside)
    return ZoneLoad(force, float(peaks.max()), float(area[contact_nodes(own)].sum()))
