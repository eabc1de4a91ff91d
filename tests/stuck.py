"""The demo mule with stickers put on it at places of its back."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.back import Back
from fitsim.back.frame import body_frame
from fitsim.back.marks import on_chart
from fitsim.back.samples import surface_samples
from fitsim.demo import demo_folder
from fitsim.scan.clean import cleaned
from fitsim.scan.read import read_scan
from tests.painted import HIDES, STICKERS, Dot, dotted, hide, lit

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.frame import BodyFrame
    from fitsim.scan.scan import Scan

Places = dict[str, list[tuple[float, float]]]

PLACES: Places = {
    "blue": [(-0.10, 0.0), (-0.35, 0.0), (-0.20, 0.0)],
    "green": [(0.04, 0.25), (-0.02, 0.12), (0.0, 0.18), (-0.02, -0.12), (0.0, -0.18)],
    "yellow": [(-0.50, 0.15), (-0.50, -0.16)],
    "pink": [(0.11, 0.0)],
    "red": [(-0.25, 0.10), (-0.25, 0.14), (-0.45, 0.10)],
}
"""(x, t), m, on the back as found without stickers."""


@cache
def scan() -> Scan:
    return cleaned(read_scan(demo_folder() / "mule.ply", unit="m"))


@cache
def bare() -> Back:
    return Back.from_scan(scan())


def in_scan(x: float, t: float) -> NDArray[np.float64]:
    """A place on the back in the scan's coordinates, (3,) m."""
    T = np.linalg.inv(bare().T_body_scan)
    return np.asarray(T[:3, :3] @ on_chart(bare().chart, np.array([[x, t]]))[0] + T[:3, 3])


def stuck(places: Places, coat: str = "brown") -> Scan:
    rng = np.random.default_rng(1)
    dots = [Dot(in_scan(*xt), STICKERS[name]) for name, all_ in places.items() for xt in all_]
    colours = dotted(scan().vertices, hide(scan().vertices, rng, HIDES[coat]), dots)
    return replace(scan(), colours=lit(scan().vertices, colours, rng))


@cache
def frame() -> BodyFrame:
    """Of the mule, from its shape."""
    return body_frame(surface_samples(scan(), 0.010), "mule.ply", None, metres=True)
