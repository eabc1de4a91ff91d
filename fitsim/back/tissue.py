"""What lies under the skin: a palette of layer stacks blended over the chart."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import ndimage

from fitsim.back.back import Tissue
from fitsim.back.stack import Layer, Stack
from fitsim.back.zones import inside_on_grid, zone_codes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fitsim.back.back import Chart, Zone

BLEND = 0.015
"""m: standard deviation over which one tissue passes into the next."""

TRACE = 2e-3
"""-: a smaller share of a tissue is left out: it changes nothing and costs time."""

FINE = 0.002
"""m: grid on which zones are laid out, finer than the narrowest of them by an order."""

_FAR = 4.0
"""Standard deviations beyond which a blend has ended."""

EDGE_BAND = 0.012
"""m, on an animal of 1.5 m: half width of the thin bands over the blade's rear edge and spine."""

STACK_OF_ZONE = {
    "spine": "spine", "withers": "blade_flat", "scapula": "blade_flat",
    "fat_pocket": "fat_pocket", "long_muscle": "long_muscle", "loin": "long_muscle",
    "ribs": "ribs",
}  # fmt: skip


@cache
def tissue_figures() -> dict[str, Any]:
    """The figures of data/tissue.toml, with their spreads and sources.

    Returns
    -------
    dict
        ``materials`` and ``stacks`` by name.

    Examples
    --------
    >>> tissue_figures()["materials"]["fat"]["young_kpa"]
    25.0
    """
    text = resources.files("fitsim.back").joinpath("data/tissue.toml").read_text("utf-8")
    return tomllib.loads(text)


def palette() -> tuple[Stack, ...]:
    """The layer stacks of the palette, from skin to bone, in SI.

    Returns
    -------
    tuple of Stack

    Examples
    --------
    >>> [stack.name for stack in palette()][:2]
    ['spine', 'blade_edge']
    """
    figures = tissue_figures()
    stacks = []
    for name, stack in figures["stacks"].items():
        layers = []
        for material, thickness_mm in stack["layers"]:
            known = figures["materials"][material]
            layers.append(
                Layer(material, thickness_mm * 1e-3, known["young_kpa"] * 1e3, known["poisson"])
            )
        stacks.append(Stack(name, tuple(layers)))
    return tuple(stacks)


def tissue_of(chart: Chart, zones: Sequence[Zone], scale: float) -> Tissue:
    """Blend the palette over the chart by zone.

    Parameters
    ----------
    chart : Chart
    zones : sequence of Zone
    scale : float
        Size of the animal over one of 1.5 m.

    Returns
    -------
    Tissue
        Weights are smooth and sum to one at every node, valid or not.

    Notes
    -----
    Zones are laid out and blended on a grid of their own, finer than any chart, and looked up at
    the nodes: the tissue of a back must not depend on how densely it is charted.
    """
    stacks = palette()
    x, t = _fine(chart.x), _fine(chart.t)
    stack = _stack_numbers(x, t, zones, stacks, scale)
    sigma = BLEND * scale / FINE
    place = np.stack(np.meshgrid((chart.x - x[0]) / FINE, (chart.t - t[0]) / FINE, indexing="ij"))
    weights = np.stack(
        [
            ndimage.map_coordinates(_blended(stack == k, sigma), place, order=1)
            for k in range(len(stacks))
        ],
        axis=-1,
    )
    weights[weights < TRACE] = 0.0
    return Tissue(stacks, weights / weights.sum(axis=-1, keepdims=True))


def _blended(inside: NDArray[np.bool_], sigma: float) -> NDArray[np.float64]:
    """A region with its border smoothed over `sigma` (cells), worked out only where it reaches."""
    blended = np.zeros(inside.shape)
    if not inside.any():
        return blended
    reach = round(_FAR * sigma) + 1
    (box,) = ndimage.find_objects(inside.astype(int))
    part = tuple(slice(max(s.start - reach, 0), s.stop + reach) for s in box)
    blended[part] = ndimage.gaussian_filter(
        inside[part].astype(float), sigma, mode="nearest", truncate=_FAR
    )
    return blended


def _fine(axis: NDArray[np.float64]) -> NDArray[np.float64]:
    """The grid on which zones are blended, along one axis of the chart."""
    first = np.floor(axis[0] / FINE)
    return FINE * np.arange(first, np.ceil(axis[-1] / FINE) + 1.5)


def _stack_numbers(
    x: NDArray[np.float64],
    t: NDArray[np.float64],
    zones: Sequence[Zone],
    stacks: Sequence[Stack],
    scale: float,
) -> NDArray[np.int_]:
    """Number of the stack under every point of a grid, before blending."""
    number = {stack.name: k for k, stack in enumerate(stacks)}
    kind = np.array([number[STACK_OF_ZONE[zone_kind(zone.name)]] for zone in zones] + [0])
    code = zone_codes(x, t, zones)
    stack = np.where(code < 0, number["ribs"], kind[code])
    stack = np.where(_blade_bands(x, t, zones, scale), number["blade_edge"], stack)
    return np.where(_spine_nodes(zones, code), number["spine"], stack)


def zone_kind(name: str) -> str:
    """A zone's name without its side.

    Parameters
    ----------
    name : str

    Returns
    -------
    str

    Examples
    --------
    >>> zone_kind("fat_pocket_left")
    'fat_pocket'
    """
    return name.removesuffix("_left").removesuffix("_right")


def _spine_nodes(zones: Sequence[Zone], zone_code: NDArray[np.int_]) -> NDArray[np.bool_]:
    """Nodes of the spine strip."""
    spine = [k for k, zone in enumerate(zones) if zone.name == "spine"]
    return np.isin(zone_code, spine)


def _blade_bands(
    x: NDArray[np.float64], t: NDArray[np.float64], zones: Sequence[Zone], scale: float
) -> NDArray[np.bool_]:
    """Points over the rear edge and the bony spine of a shoulder blade, where little covers it."""
    bands = np.zeros((len(x), len(t)), dtype=bool)
    for zone in zones:
        if zone_kind(zone.name) != "scapula":
            continue
        half = len(zone.outline) // 2
        rear, front = zone.outline[:half], zone.outline[half:][::-1]
        middle = 0.5 * (rear + front)
        width = EDGE_BAND * scale
        for line, start in ((rear, 0), (middle, half // 3)):
            shift = np.array([width, 0.0])
            band = np.vstack([line[start:] - shift, (line[start:] + shift)[::-1]])
            bands |= inside_on_grid(band, x, t)
    return bands
