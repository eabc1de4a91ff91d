"""What is known of a gait: how far the back moves in it, when, and how the load swings."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from scipy.optimize import brentq
from scipy.special import gammaln

from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    Array = NDArray[np.float64]

Level = Literal["low", "value", "high"]


@dataclass(frozen=True)
class Shoulder:
    """How the rear edge of a shoulder blade moves through a stride.

    Attributes
    ----------
    glide : m, farthest back from where it stands.
    lift : m, how far it rises at the end of its glide.
    """

    glide: float
    lift: float


@dataclass(frozen=True)
class Gait:
    """Amplitudes and timing of one gait, SI.

    Attributes
    ----------
    name, words : as asked for, and as shown.
    stride : s.
    fore_stance : -, share of the stride a forefoot is down.
    contacts : -, phase at which each forefoot comes down, by "left" and "right".
    load_peak, load_lowest : -, load over its mean.
    load_beats, load_at : load peaks per stride, and the phase of the first.
    flexion : rad, bending of the withers against the hips, extreme to extreme.
    lateral : rad, turn of either end to the side, extreme to extreme.
    flexion_cycles, extended_at : per stride, and a phase at which the back is hollowest.
    lateral_at : phase at which both ends are bent farthest to the left.
    axial_front, axial_rear : rad, roll at the withers and at the hips, extreme to extreme.
    axial_cycles, axial_at : per stride, and a phase at which the left side is highest.
    shoulder : of either blade.
    sources : by figure, where it comes from.
    """

    name: str
    words: str
    stride: float
    fore_stance: float
    contacts: Mapping[str, float]
    load_peak: float
    load_lowest: float
    load_beats: int
    load_at: float
    flexion: float
    flexion_cycles: int
    extended_at: float
    lateral: float
    lateral_at: float
    axial_front: float
    axial_rear: float
    axial_cycles: int
    axial_at: float
    shoulder: Shoulder
    sources: Mapping[str, str]


@cache
def gait_figures() -> dict[str, Any]:
    """The figures of data/gait.toml, with their ranges and sources.

    Examples
    --------
    >>> gait_figures()["gaits"]["trot"]["load_peak"]["value"]
    2.5
    """
    text = resources.files("fitsim.back").joinpath("data/gait.toml").read_text("utf-8")
    return tomllib.loads(text)


def gait_names() -> tuple[str, ...]:
    """The gaits that are known, slowest first.

    Examples
    --------
    >>> gait_names()
    ('walk', 'single-foot', 'trot', 'canter')
    """
    known = gait_figures()["gaits"]
    return tuple(sorted(known, key=lambda name: float(known[name]["load_peak"]["value"])))


def read_gait(name: str, shoulder: Level = "value") -> Gait:
    """A gait by its name.

    Parameters
    ----------
    name : "walk", "trot", "single-foot" or "canter"
    shoulder : {"value", "low", "high"}
        Middle figures for the shoulder blade, or an end of their range.

    Returns
    -------
    Gait

    Raises
    ------
    BadSettings
        No gait is called that.

    Examples
    --------
    >>> gait = read_gait("trot")
    >>> gait.stride, gait.load_peak, gait.shoulder.glide
    (0.72, 2.5, 0.04)
    """
    known = gait_figures()["gaits"]
    if name not in known:
        raise BadSettings("--gait", f'no gait is called "{name}"', f"use {', '.join(gait_names())}")
    raw = known[name]
    figures = {key: float(entry["value"]) for key, entry in raw.items() if _is_figure(entry)}
    blade = gait_figures()["shoulder"]
    angles = {
        key.removesuffix("_deg"): np.deg2rad(value)
        for key, value in figures.items()
        if key.endswith("_deg")
    }
    return Gait(
        name=name,
        words=raw["words"],
        stride=figures["stride_s"],
        fore_stance=figures["fore_stance"],
        contacts={side: float(raw["contacts"][f"{side}_fore"]) for side in ("left", "right")},
        load_peak=figures["load_peak"],
        load_lowest=figures["load_lowest"],
        shoulder=Shoulder(1e-3 * blade["glide_mm"][shoulder], 1e-3 * blade["lift_mm"][shoulder]),
        sources={
            key: entry["source"] for key, entry in (*raw.items(), *blade.items())
            if _is_figure(entry)
        },
        **{key: raw[key] for key in _TIMES},
        **angles,
    )  # fmt: skip


_TIMES = (
    "load_beats", "load_at", "flexion_cycles", "extended_at", "lateral_at",
    "axial_cycles", "axial_at",
)  # fmt: skip


def _is_figure(entry: object) -> bool:
    return isinstance(entry, dict) and "value" in entry


def load_factor(gait: Gait, phase: Array) -> Array:
    """How heavy what the tree carries is, over its weight at rest.

    Parameters
    ----------
    gait : Gait
    phase : (p,) array, -
        Shares of the stride.

    Returns
    -------
    (p,) array, -
        Its mean over the stride is 1: the animal carries the weight, no more and no less.

    Notes
    -----
    lowest + (peak - lowest) cos(theta / 2)^(2 n), theta running once round for each beat. n is the
    one sharpness with which the mean is 1, since the mean of cos^(2 n) over a turn is
    Gamma(n + 1/2) / (sqrt(pi) Gamma(n + 1)).

    Examples
    --------
    >>> factor = load_factor(read_gait("trot"), np.arange(48) / 48)
    >>> round(float(factor.mean()), 4), round(float(factor.max()), 2)
    (1.0, 2.49)
    """
    swing = gait.load_peak - gait.load_lowest
    sharpness = _sharpness((1.0 - gait.load_lowest) / swing)
    turn = np.pi * gait.load_beats * (np.asarray(phase) - gait.load_at)
    return np.asarray(gait.load_lowest + swing * np.abs(np.cos(turn)) ** (2.0 * sharpness))


@cache
def _sharpness(mean: float) -> float:
    """Exponent n for which cos^(2 n) has this mean over a turn."""

    def over(n: float) -> float:
        return float(np.exp(gammaln(n + 0.5) - gammaln(n + 1.0)) / np.sqrt(np.pi)) - mean

    return float(brentq(over, 1e-3, 1e3))


def glided(gait: Gait, side: str, phase: float) -> float:
    """Share of its glide that a shoulder blade has gone back.

    Parameters
    ----------
    gait : Gait
    side : "left" or "right"
    phase : float, -

    Returns
    -------
    float, -
        1 as the forefoot of that side comes down, reaching forward; 0 as it leaves the ground.

    Examples
    --------
    >>> walk = read_gait("walk")
    >>> glided(walk, "left", 0.25), round(glided(walk, "left", 0.25 + 0.62), 6)
    (1.0, 0.0)
    """
    since = (phase - gait.contacts[side]) % 1.0
    if since < gait.fore_stance:
        return float(0.5 * (1.0 + np.cos(np.pi * since / gait.fore_stance)))
    swung = (since - gait.fore_stance) / (1.0 - gait.fore_stance)
    return float(0.5 * (1.0 - np.cos(np.pi * swung)))
