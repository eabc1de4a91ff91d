"""The mirrored back: what a scan of the animal's mirror image would give."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, cast

import numpy as np

from fitsim.back.back import Back, Mark, Tissue, Zone

if TYPE_CHECKING:
    from fitsim.back.back import ZoneName

FLIP = np.array([1.0, -1.0, 1.0])


def mirrored(back: Back) -> Back:
    """Swap left and right of a back.

    Parameters
    ----------
    back : Back

    Returns
    -------
    Back
        Its `T_body_scan` holds a reflection: it places the mirror image of the scan.
    """
    chart = back.chart
    flipped = replace(
        chart,
        points=chart.points[:, ::-1] * FLIP,
        normals=chart.normals[:, ::-1] * FLIP,
        area=chart.area[:, ::-1],
        curvature=chart.curvature[:, ::-1],
        valid=chart.valid[:, ::-1],
        filled=chart.filled[:, ::-1],
        colours=None if chart.colours is None else chart.colours[:, ::-1],
    )
    marks = {
        other_side(name): Mark(mark.points * FLIP, mark.source, mark.sd_m, mark.basis)
        for name, mark in back.marks.items()
    }
    zones = {other_side(zone.name): zone.outline * [1.0, -1.0] for zone in back.zones}
    # The zones keep their order, so each code points to its own side's zone again.
    swap = [
        [zone.name for zone in back.zones].index(cast("ZoneName", other_side(z.name)))
        for z in back.zones
    ]
    code = np.append(swap, -1)[back.zone_code[:, ::-1]]
    sections = tuple(section[::-1] * [-1.0, 1.0] for section in back.barrel.sections)
    return replace(
        back,
        T_body_scan=np.diag([1.0, -1.0, 1.0, 1.0]) @ back.T_body_scan,
        chart=flipped,
        zone_code=code,
        zones=tuple(Zone(zone.name, zones[zone.name]) for zone in back.zones),
        marks=marks,
        stickers=tuple(
            replace(one, mark=other_side(one.mark), place=one.place * FLIP) for one in back.stickers
        ),
        tissue=Tissue(back.tissue.palette, back.tissue.weights[:, ::-1]),
        barrel=replace(back.barrel, sections=sections),
    )


def other_side(name: str) -> str:
    """The same place on the other side.

    Parameters
    ----------
    name : str

    Returns
    -------
    str

    Examples
    --------
    >>> other_side("loin_left"), other_side("spine")
    ('loin_right', 'spine')
    """
    if name.endswith("_left"):
        return name.removesuffix("_left") + "_right"
    if name.endswith("_right"):
        return name.removesuffix("_right") + "_left"
    return name
