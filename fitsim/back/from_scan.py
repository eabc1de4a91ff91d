"""A clean scan to a Back: frame, chart, marks, zones, tissue, barrel."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.back import Back
from fitsim.back.barrel import barrel_of
from fitsim.back.chart import chart_of
from fitsim.back.coat import coat_told
from fitsim.back.enough import require_enough, scan_cautions
from fitsim.back.frame import FRONT_GUESSED, body_frame
from fitsim.back.marks import (
    checked_marks,
    estimated_marks,
    read_marks,
    require_on_scan,
    station_told,
    with_told,
)
from fitsim.back.noted import hurt_cautions
from fitsim.back.samples import COARSE_EDGE, Samples, facet_edge, rounded, surface_samples
from fitsim.back.skin import on_skin, under_coat
from fitsim.back.sticker_words import USUAL
from fitsim.back.stickers import Stuck, sticker_cautions, stuck_on
from fitsim.back.tissue import tissue_of
from fitsim.back.zones import zone_codes, zones_of
from fitsim.errors import BadScan, BadSettings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.back.frame import BodyFrame
    from fitsim.back.sticker_words import Meanings
    from fitsim.scan.scan import Provenance, Scan

SPACING = (0.003, 0.030)
"""m: grid spacings that make sense for a bar 110 mm wide."""

TOO_COARSE = (
    "Too coarse as scanned: its facets are about {:.0f} mm long on the back. They were rounded "
    "off by subdivision; the shape between their corners is a guess."
)

BACK_BOX = np.array([[-0.6, -0.3, -0.3], [0.2, 0.3, 0.3]])
"""m, body frame: facets are measured in here."""

SAMPLES_ALONG = 220
"""Facets are cut so that this many samples lie along the scan's length."""


def back_from_scan(
    scan: Scan,
    marks: Mapping[str, NDArray[np.float64]] | str | Path | None = None,
    withers_height: float | None = None,
    spacing: float = 0.010,
    stickers: Meanings | None = None,
    *,
    coat: float | None = None,
) -> Back:
    """Find the back in a scan of an animal, or of its trunk, however it is turned.

    Parameters
    ----------
    scan : Scan
        Clean; in metres, or in any unit when the whole animal stands in it and
        `withers_height` is told.
    marks : mapping, path or None
        Places pointed at, by name, (k, 3) arrays in the scan's coordinates; or a file of them
        in the coordinates of the scan's file. They go before those the scan itself carries.
    withers_height : float or None, m
        Height of the withers above the ground. Sets the size of an animal that stands whole in
        the scan; on a trunk alone it sets only where blade, ribs and fat pocket are looked for.
    spacing : float, m
        Of the chart's grid.
    stickers : Meanings or None
        What the colours of stickers on the animal mean, `fitsim.back.sticker_words.USUAL` if None;
        they go behind what is told by `marks` or the scan. ``()`` looks for none.
    coat : float or None, m
        How deep the hair stands on the skin at the long muscle, see `fitsim.back.coat.Coat`. The
        surface and what is marked on it come to lie that much inside the scan, less what a load
        leaves of the hair. Nothing is assumed: None takes the scan for the skin, hair and all.

    Returns
    -------
    Back

    Raises
    ------
    BadScan
        There is no back in the scan, it is too short, or its size cannot be known.
    BadSettings
        Marks, height, spacing or coat make no sense.
    """
    name = scan.provenance.name
    _check_settings(withers_height, spacing)
    if isinstance(marks, str | Path):
        marks = read_marks(marks, scan.provenance.metres_per_unit)
    told = checked_marks({**scan.marks, **(marks or {})}, name)
    require_on_scan(told, name, scan.vertices)
    meanings = USUAL if stickers is None else stickers
    hair = coat_told(coat, name, scan.provenance.notes)
    scan, frame, body, stuck, cautions = _framed(scan, name, withers_height, told, meanings)
    told = {**stuck.told(), **told}
    if hair is not None and hair.allowance:
        frame, body = under_coat(frame, body, hair.allowance)
    chart = chart_of(frame.surface, frame.crest, body, spacing)
    require_enough(chart, frame, name)
    places = estimated_marks(
        chart,
        frame.withers,
        frame.withers_height,
        assumed_height=frame.height_source == "assumed",
    )
    places = with_told(places, told, frame.T_body_scan, chart, stuck)
    found = stuck.moved(frame.T_body_scan)
    if hair is not None and hair.allowance:
        places |= {name: replace(places[name], points=on_skin(chart, places[name].points))
                   for name in told}  # fmt: skip
        found = tuple(replace(one, place=on_skin(chart, one.place[None])[0]) for one in found)
    zones = zones_of(chart, places, frame.scale)
    code = zone_codes(chart.x, chart.t, zones)
    barrel = barrel_of(body, frame.crest, frame.withers_height)
    return Back(
        T_body_scan=frame.T_body_scan, chart=chart, zone_code=code, zones=zones, marks=places,
        tissue=tissue_of(chart, zones, frame.scale), barrel=barrel,
        withers_height=frame.withers_height, provenance=_sized(scan, frame),
        cautions=(
            *hurt_cautions(places), *cautions, *frame.cautions,
            *scan_cautions(scan.sheets, frame, barrel, chart), *sticker_cautions(found),
        ),
        stickers=found, coat=hair,
    )  # fmt: skip


def _sized(scan: Scan, frame: BodyFrame) -> Provenance:
    """Where the scan came from, with how its size is known once the withers height has set it."""
    if scan.provenance.unit is not None:
        return scan.provenance
    factor = float(np.cbrt(np.linalg.det(frame.T_body_scan[:3, :3])))
    evidence = (
        f"Told by the withers height, {frame.withers_height:.2f} m: the file's numbers times "
        f"{factor:.4g} are metres."
    )
    return replace(scan.provenance, unit_evidence=evidence)


def _check_settings(withers_height: float | None, spacing: float) -> None:
    """Refuse numbers no animal or grid has."""
    if withers_height is not None and not 0.5 <= withers_height <= 2.5:  # noqa: PLR2004
        raise BadSettings("withers height", f"{withers_height:g} m is no animal's height",
                          "give the height of the withers in metres, 0.5 to 2.5")  # fmt: skip
    if not SPACING[0] <= spacing <= SPACING[1]:
        raise BadSettings("spacing", f"{spacing:g} m is outside {SPACING[0]:g} to {SPACING[1]:g} m",
                          "leave it at 0.010 m")  # fmt: skip


def _framed(
    scan: Scan,
    name: str,
    withers_height: float | None,
    told: Mapping[str, NDArray[np.float64]],
    meanings: Meanings,
) -> tuple[Scan, BodyFrame, Samples, Stuck, tuple[str, ...]]:
    """The frame, trying first with the facets as they are, then rounded when they are coarse."""
    if len(scan.vertices) < 4:  # noqa: PLR2004 - fewer span no surface
        raise BadScan(name, "there is no surface in it", "export the scan again")
    metres = scan.provenance.unit is not None
    withers = told["withers"].mean(axis=0) if "withers" in told else None
    whole = scan
    size = 2.0 * float(np.linalg.norm(scan.vertices - scan.vertices.mean(axis=0), axis=1).max())
    cautions: tuple[str, ...] = ()
    samples = surface_samples(scan, size / SAMPLES_ALONG)
    frame = body_frame(
        samples, name, withers_height, metres=metres, withers_mark=withers, sheets=scan.sheets
    )
    T = frame.T_body_scan
    place = scan.vertices @ T[:3, :3].T + T[:3, 3]
    on_back = ((place > BACK_BOX[0]) & (place < BACK_BOX[1])).all(axis=1)
    edge = facet_edge(scan, on_back) * float(np.cbrt(np.linalg.det(T[:3, :3])))
    if edge > COARSE_EDGE:
        cautions = (TOO_COARSE.format(1e3 * edge),)
        scan = rounded(scan)
        samples = surface_samples(scan, size / SAMPLES_ALONG)
        frame = body_frame(
            samples, name, withers_height, metres=metres, withers_mark=withers, sheets=scan.sheets
        )
    stuck = stuck_on(whole, frame, meanings, told)
    told = {**stuck.told(), **told}
    if FRONT_GUESSED in frame.cautions and withers is None and "withers" in told:
        frame = body_frame(
            samples, name, withers_height, metres=metres,
            withers_mark=told["withers"].mean(axis=0), sheets=scan.sheets,
        )  # fmt: skip
        stuck = stuck_on(whole, frame, meanings, told)
        told = {**stuck.told(), **told}
    zero = station_told(told, frame.T_body_scan, frame.withers_height)
    if zero is not None:
        frame = frame.moved_to(zero)
    body = samples.only(frame.trunk).moved(frame.T_body_scan)
    near = (body.points[:, 0] > -0.9) & (body.points[:, 0] < 0.5)  # noqa: PLR2004 - chart, margin
    return scan, frame, body.only(near), stuck, cautions
