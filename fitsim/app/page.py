"""The page: its files, and what it shows before anything is moved."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING

from aiohttp import web

from fitsim.app.answer import withers_at
from fitsim.app.scenario import CONTROLS, GAITS, LOADS, PADS, Control, Scenario
from fitsim.app.tour import TOUR
from fitsim.app.words import control_words
from fitsim.back.noted import hurt_cautions
from fitsim.draw.palette import difference_map, pressure_map
from fitsim.draw.quantity import quantity
from fitsim.report.house import asset, rendered
from fitsim.report.quality_lines import card_lines
from fitsim.report.scene import back_scene, packed
from fitsim.report.summary import found_lines

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from fitsim.app.sessions import Place
    from fitsim.draw.quantity import System

DIFFERENCE_SHARE = 0.5
"""Of the pressure scale: ends of the difference's, which stay where they are while sliders move."""
_CUT = Control("behind", "Behind the withers", "length", -0.2, 0.9, 0.005, "place")
_NOTED = (
    ("white_hairs", "white hairs"),
    ("dry_patch", "dry patch after work"),
    ("wet_patch", "wet patch after work"),
    ("hot_patch", "hot place"),
    ("sore", "sore"),
)
_PARTS = ("page", "compare", "cut", "hand", "files", "tour")
_FILES = {
    "app.css": "text/css",
    "app.js": "text/javascript",
    **{f"app_{part}.js": "text/javascript" for part in _PARTS},
    "back_view.js": "text/javascript",
    "skin.glsl": "text/plain",
    "three.min.js": "text/javascript",
}


def index() -> str:
    """Return the page."""
    return rendered(
        "app.html.j2",
        gradient=_gradient(pressure_map()),
        diverging=_gradient(difference_map()),
        parts=_PARTS,
        noted=_NOTED,
    )


def _gradient(colours: NDArray[np.uint8]) -> str:
    """Colours as stops of a CSS gradient."""
    stops = colours[::15].tolist()
    return ", ".join(f"rgb({red} {green} {blue})" for red, green, blue in stops)


def page_file(name: str) -> tuple[str, str]:
    """Return a file of the page, and what kind it is.

    Raises
    ------
    aiohttp.web.HTTPNotFound
        There is no such file: only those that are listed are given.
    """
    if name not in _FILES:
        raise web.HTTPNotFound(text="There is no such file.")
    return asset(name), _FILES[name]


def key_of(place: Place) -> str:
    """What tells one scan from another, whatever its file is called."""
    return place.bench.back.provenance.sha256[:16]


def _signed(difference: float, system: System) -> str:
    """A difference in pressure with its sign."""
    return ("+" if difference > 0.0 else "") + quantity(difference, "pressure", system)


def screen(place: Place, system: System) -> dict[str, object]:
    """Return everything the page needs to begin with one back.

    Parameters
    ----------
    place : the back.
    system : units people chose.
    """
    from fitsim.tree.library import library_names
    from fitsim.tree.read import read_tree

    back = place.bench.back
    x, withers, step = back.chart.x, withers_at(back), _CUT.step
    hurt = hurt_cautions(back.marks)
    return {
        "scene": back_scene(back, top=place.top, system=system),
        "name": place.name,
        "key": key_of(place),
        "controls": [control_words(control, system) for control in CONTROLS],
        "usual": Scenario().as_dict(),
        "trees": [[name, read_tree(name).name] for name in library_names()],
        "pads": list(PADS),
        "loads": list(LOADS),
        "gaits": list(GAITS),
        "differenceMap": packed(difference_map(), "u1"),
        "differenceTop": DIFFERENCE_SHARE * place.top,
        "differenceTicks": [
            _signed(DIFFERENCE_SHARE * place.top * k / 2, system) for k in range(-2, 3)
        ],
        "cut": {
            **control_words(_CUT, system),
            "low": step * math.ceil((withers - float(x[-1])) / step),
            "high": step * math.floor((withers - float(x[0])) / step),
            "signed": False,
        },
        "ticks": [quantity(place.top * k / 5, "pressure", system) for k in range(6)],
        "card": card_lines(place.card, system),
        "notes": [
            *found_lines(back, system),
            *back.provenance.notes,
            *(said for said in back.cautions if said not in hurt),
        ],
        "tour": [asdict(stop) for stop in TOUR],
        "cautions": list(hurt),
    }
