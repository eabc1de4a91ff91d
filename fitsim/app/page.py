"""The page: its files, and what it shows before anything is moved."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

from aiohttp import web

from fitsim.app.scenario import CONTROLS, GAITS, LOADS, PADS, Scenario
from fitsim.app.tour import TOUR
from fitsim.app.words import control_words
from fitsim.draw.palette import pressure_map
from fitsim.draw.quantity import quantity
from fitsim.report.contract import CAUTIONS
from fitsim.report.house import asset, rendered
from fitsim.report.quality_lines import card_lines
from fitsim.report.scene import back_scene

if TYPE_CHECKING:
    from fitsim.app.sessions import Place
    from fitsim.draw.quantity import System

_FILES = {
    "app.css": "text/css",
    "app.js": "text/javascript",
    "back_view.js": "text/javascript",
    "skin.glsl": "text/plain",
    "three.min.js": "text/javascript",
}


def index() -> str:
    """Return the page."""
    stops = pressure_map()[::15]
    gradient = ", ".join(f"rgb({red} {green} {blue})" for red, green, blue in stops.tolist())
    return rendered("app.html.j2", gradient=gradient)


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
    return {
        "scene": back_scene(back, top=place.top, system=system),
        "name": place.name,
        "key": back.provenance.sha256[:16],
        "controls": [control_words(control, system) for control in CONTROLS],
        "usual": Scenario().as_dict(),
        "trees": [[name, read_tree(name).name] for name in library_names()],
        "pads": list(PADS),
        "loads": list(LOADS),
        "gaits": list(GAITS),
        "ticks": [quantity(place.top * k / 5, "pressure", system) for k in range(6)],
        "card": card_lines(place.card, system),
        "notes": list(back.provenance.notes),
        "tour": [asdict(stop) for stop in TOUR],
        "cautions": list(CAUTIONS),
    }
