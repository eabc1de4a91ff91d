"""What is on the screen as files: settings that the command line reads, the report, hand tests."""

from __future__ import annotations

import io
import tempfile
import zipfile
from dataclasses import replace
from math import degrees
from pathlib import Path
from typing import TYPE_CHECKING

from fitsim.app.bench import changed_tree, load_of, rig_of
from fitsim.back.sticker_words import sticker_words
from fitsim.rig.read import read_pad

if TYPE_CHECKING:
    from fitsim.app.scenario import Scenario
    from fitsim.app.sessions import Place
    from fitsim.draw.quantity import System

_FINE = 0.002  # m, of an underside that is kept


def settings_files(place: Place, scenario: Scenario) -> bytes:
    """A zip of the tree, rig and load as files, and the command that fits them.

    Parameters
    ----------
    place : with its scan.
    scenario : as set.

    Returns
    -------
    bytes
    """
    from fitsim.tree.write import write_tree

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tree.toml"
        write_tree(changed_tree(scenario, _FINE), path, "As set on the screen.")
        tree = path.read_text(encoding="utf-8")
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as kept:
        kept.writestr("tree.toml", tree)
        kept.writestr("rig.toml", _rig_text(scenario))
        load = _load_text(scenario)
        if load:
            kept.writestr("load.toml", load)
        if place.file.marks:
            kept.writestr("marks.json", place.file.marks.read_text(encoding="utf-8"))
        kept.writestr("fit.txt", _command(place, scenario, has_load=bool(load)))
    return file.getvalue()


def _rig_text(scenario: Scenario) -> str:
    lines = ["# rig", 'name = "as set on the screen"']
    for end in ("front", "rear"):
        left, right = getattr(scenario, f"{end}_left"), getattr(scenario, f"{end}_right")
        lines += ["", f"[{end}_cinch]", f'tension_left = "{left:g} N"']
        lines += [f'tension_right = "{right:g} N"']
    return "\n".join(lines) + "\n"


def _load_text(scenario: Scenario) -> str:
    load = load_of(scenario)
    if load.kind == "none":
        return ""
    lines = ["# load", f"[{load.kind}]"]
    if load.kind == "rider":
        lines.append(f'mass = "{scenario.mass:g} kg"')
    else:
        mass = {weight.name: weight.mass for weight in load.weights}
        sides = [(side, mass.get(f"pack_{side}", 0.0)) for side in ("left", "right")]
        lines += [f'{side} = "{held:g} kg"' for side, held in (*sides, ("top", 0.0))]
    return "\n".join(lines) + "\n"


def _command(place: Place, scenario: Scenario, *, has_load: bool) -> str:
    file = place.file
    words = [f'fitsim fit "{place.name}" --tree tree.toml --rig rig.toml --pad {scenario.pad}']
    words.append("--load load.toml" if has_load else "--load none")
    if scenario.at:
        words.append(f'--at "{1e3 * scenario.at:g} mm"')
    for name in ("slope", "side_slope"):
        angle = getattr(scenario, name)
        if angle:
            words.append(f'--{name.replace("_", "-")} "{degrees(angle):.3g} deg"')
    if file.unit:
        words.append(f"--unit {file.unit}")
    if file.withers_height:
        words.append(f"--withers-height {file.withers_height:g}")
    if file.coat is not None:
        words.append(f'--coat "{1e3 * file.coat:g} mm"')
    if file.known:
        *ends, true = file.known
        told = [
            ",".join(f"{n:.9g}" for n in end) if isinstance(end, tuple) else f"{end:.9g}"
            for end in ends
        ]
        words.append(f'--known "{" ".join(told)} = {true:.9g} m"')
    if file.marks:
        words.append("--marks marks.json")
    if file.stickers is not None:
        words.append(f'--stickers "{sticker_words(file.stickers)}"')
    return " ".join(words) + "\n"


def report(place: Place, scenario: Scenario, system: System = "metric") -> str:
    """The whole report on what is set, as one page, on the usual grid rather than the live one.

    Parameters
    ----------
    place, scenario : what is on the screen.
    system : units people chose.

    Returns
    -------
    str
        As `report.html` of `fitsim fit`.
    """
    from fitsim.report.html import page
    from fitsim.study.fit import fit
    from fitsim.study.job import read_back
    from fitsim.study.moved import moved_along

    _, back = read_back(replace(place.file, spacing=None))
    fitset = fit(
        back,
        changed_tree(scenario, _FINE),
        pad=read_pad(scenario.pad),
        rig=rig_of(scenario),
        load=load_of(scenario),
        at=scenario.at,
    )
    return page(replace(fitset, moved=moved_along(fitset)), pictures={}, system=system)


def tried_by_hand(place: Place, scenario: Scenario, system: System = "metric") -> list[list[str]]:
    """The tests a hand makes on what is set: pairs of test and finding, in words."""
    from fitsim.app.bench import case_of
    from fitsim.draw.hand_words import rows
    from fitsim.study.hand_tests import hand_tests

    bench = place.bench
    on = bench.laid(scenario)
    case = case_of(bench.back, bench.tree(scenario), on, scenario)
    return [list(row) for row in rows(hand_tests(bench.back.chart, on.problem, case), system)]
