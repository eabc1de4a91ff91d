"""Backs as plausible as the one found: tissue and marks drawn from how unsure they are."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.back.stack import Stack
from fitsim.back.tissue import tissue_figures, tissue_of, zone_kind
from fitsim.back.zones import zone_codes

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitsim.back.back import Back, Mark

Array = NDArray[np.float64]

_USUAL_HEIGHT = 1.5  # m, of the animal that zones and tissue are told for
_MOVED = ("blade along", "pocket along", "pocket across")


def unknowns() -> tuple[str, ...]:
    """What is drawn for a plausible back, in the order of `standard_draws`.

    Returns
    -------
    tuple of str
        "stiffness of" every material, "depth" over every part of the back, and where the shoulder
        blade and the fat pocket lie.

    Examples
    --------
    >>> unknowns()[0], unknowns()[-1]
    ('stiffness of skin', 'pocket across')
    """
    figures = tissue_figures()
    stiff = (f"stiffness of {name}" for name in figures["materials"])
    deep = (f"depth {stack['words']}" for stack in figures["stacks"].values())
    return (*stiff, *deep, *_MOVED)


def standard_draws(count: int, seed: int, more: int = 0) -> Array:
    """Latin hypercube of standard normal draws, a row for each plausible back.

    Parameters
    ----------
    count : int
        Rows.
    seed : int
        The same seed gives the same rows.
    more : int
        Columns besides `unknowns`, for what else is drawn together with the back.

    Returns
    -------
    (count, len(unknowns()) + more) array, -
    """
    from scipy.stats import norm, qmc

    hypercube = qmc.LatinHypercube(len(unknowns()) + more, rng=np.random.default_rng(seed))
    return np.asarray(norm.ppf(hypercube.random(count)))


def plausible_back(back: Back, draw: Array) -> Back:
    """The back as it would be if every unknown were off by so many standard deviations.

    Parameters
    ----------
    back : Back
        As found.
    draw : (len(unknowns()),) array, -
        In standard deviations; zeros give the back as found. Both sides move alike.

    Returns
    -------
    Back
        The same surface in the same frame, with other tissue under it, and with blades and fat
        pockets that lie elsewhere: a tree is laid where it would have been, on another animal.

    Notes
    -----
    Spreads of tissue are those of data/tissue.toml, standard deviations of the logarithm; those of
    places come with the marks.
    """
    by_name = dict(zip(unknowns(), np.asarray(draw, dtype=float), strict=True))
    zones = tuple(
        replace(zone, outline=zone.outline + _shift(zone.name, back, by_name))
        for zone in back.zones
    )
    marks = {name: _marked(name, mark, back, by_name) for name, mark in back.marks.items()}
    tissue = tissue_of(back.chart, zones, back.withers_height / _USUAL_HEIGHT)
    palette = tuple(_scaled(stack, by_name) for stack in tissue.palette)
    return replace(
        back,
        zones=zones,
        zone_code=zone_codes(back.chart.x, back.chart.t, zones),
        marks=marks,
        tissue=replace(tissue, palette=palette),
    )


def _shift(zone: str, back: Back, by_name: Mapping[str, float]) -> Array:
    """How far a zone would lie off, (2,) along the spine and across, m."""
    kind = zone_kind(zone)
    if kind == "scapula":
        sd = back.marks[zone.replace("scapula", "scapula_edge")].sd_m
        return np.array([sd * by_name["blade along"], 0.0])
    if kind == "fat_pocket":
        out = 1.0 if zone.endswith("left") else -1.0
        return np.asarray(
            back.marks[zone].sd_m
            * np.array([by_name["pocket along"], out * by_name["pocket across"]])
        )
    return np.zeros(2)


def _marked(name: str, mark: Mark, back: Back, by_name: Mapping[str, float]) -> Mark:
    """The mark where it would lie; the skin is near enough level along such a shift."""
    zone = name.replace("scapula_edge", "scapula")
    return replace(mark, points=mark.points + np.append(_shift(zone, back, by_name), 0.0))


def _scaled(stack: Stack, by_name: Mapping[str, float]) -> Stack:
    """The stack with its depth and its materials' stiffness off by so many spreads."""
    figures = tissue_figures()
    told = figures["stacks"][stack.name]
    deeper = np.exp(told["thickness_spread"] * by_name[f"depth {told['words']}"])
    return Stack(
        stack.name,
        tuple(
            replace(
                layer,
                thickness=layer.thickness * deeper,
                young=layer.young
                * np.exp(
                    figures["materials"][layer.name]["young_spread"]
                    * by_name[f"stiffness of {layer.name}"]
                ),
            )
            for layer in stack.layers
        ),
    )
