"""What the screen says of one scenario: big numbers and a few plain sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fitsim.draw.quantity import DASH, number, percent, percents, quantity, shown
from fitsim.draw.words import UNSURE_PEAK, lifted_tips, peak_unsure, verdict, zone_share
from fitsim.measure.gaps import SIDES
from fitsim.measure.measured import FILLED
from fitsim.measure.pressure import on_grid, patch_mean

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitsim.app.asked import CutAt
    from fitsim.app.bench import Shown
    from fitsim.app.scenario import Control
    from fitsim.back.back import Chart
    from fitsim.draw.cut import Cut, Gap
    from fitsim.draw.quantity import System
    from fitsim.measure.measures import Measures

DIFFERS = 2e3
"""Pa: two trees are said to differ from here. A choice: less is not seen on the scale, and is below
what a coarser grid or a mat of sensors tells apart."""
_CLEAR = 0.0005
"""m: a gap is written from here; it is 1 mm to the nearest."""
_THIRDS = ("front", "middle", "rear")


def numbers(one: Shown, system: System = "metric") -> dict[str, object]:
    """Return the numbers beside the view, written out.

    Parameters
    ----------
    one : what a scenario came to.
    system : units people chose.

    Returns
    -------
    dict
        Texts, and the thirds as shares too, for their bars.
    """
    m = one.fit.measures
    if m is None:
        return {"held": False, "said": verdict(one.fit, system)}
    shares = [m.share[third] for third in _THIRDS]
    return {
        "held": True,
        "peak": quantity(m.peak, "pressure", system) + UNSURE_PEAK * peak_unsure(m),
        "force": quantity(m.normal_force, "force", system),
        "thirds": shares,
        "third_words": percents(shares),
        "sides": percents([m.share["left"], m.share["right"]]),
        "blade": percent(zone_share(m, "scapula")),
        "pocket": percent(zone_share(m, "fat_pocket")),
        "lift": _lift(m, system),
        "said": [
            *verdict(one.fit, system),
            *(said for said in m.cautions if said.endswith(FILLED)),
        ],
    }


def _lift(m: Measures, system: System) -> str:
    """Return which end stands off and how far, left and right."""
    for end in ("front", "rear"):
        if any(tip.startswith(end) for tip in lifted_tips(m)):
            left, right = (number(m.lift[f"{end}_{side}"], "length", system) for side in SIDES)
            return f"{end} {left} / {right} {shown('length', system).unit}"
    return DASH


def control_words(control: Control, system: System = "metric") -> dict[str, object]:
    """Return a slider as the page draws it: name, words, ends, step, and how a value is written.

    Parameters
    ----------
    control : Control
    system : units people chose.
    """
    how = shown(control.kind, system)
    return {
        "name": control.name,
        "words": control.words,
        "low": control.low,
        "high": control.high,
        "step": control.step,
        "group": control.group,
        "unit": how.unit,
        "per_si": how.per_si,
        "decimals": how.decimals,
        "signed": control.low < 0.0,
    }


def cut_words(cut: Cut, at: CutAt, system: System = "metric") -> dict[str, Any]:
    """Return a cut's numbers where they stand, and one sentence that says them.

    Parameters
    ----------
    cut : Cut
    at : where it was made.
    system : units people chose.

    Returns
    -------
    dict
        "gaps": words and both ends of each; "said" and "title".
    """
    gaps = [
        {
            "words": _gap(gap.clear, gap.pressure, system),
            "open": gap.clear >= _CLEAR,
            "low": gap.low.round(4).tolist(),
            "high": gap.high.round(4).tolist(),
        }
        for gap in cut.gaps
    ]
    if at.way == "across":
        behind = quantity(abs(at.behind), "length", system)
        title = f"{behind} {'behind' if at.behind >= 0.0 else 'before'} the withers, from behind"
    else:
        title = f"Along the middle of the {at.way} bar, levelled, head on the left"
    return {"gaps": gaps, "title": title, "said": _cut_said(cut, system)}


def _gap(clear: float, pressure: float, system: System) -> str:
    """Return a gap, or the pressure where there is none."""
    return (
        quantity(clear, "length", system)
        if clear >= _CLEAR
        else (quantity(pressure, "pressure", system))
    )


def _cut_said(cut: Cut, system: System) -> str:
    """Return the gaps of a cut bar by bar."""
    if not cut.gaps:
        return "No bar reaches this place."
    said = []
    for side in dict.fromkeys(gap.side for gap in cut.gaps):
        mine = [gap for gap in cut.gaps if gap.side == side]
        places = [
            f"{gap.where} {_open_words(gap, system)}" for gap in mine if gap.where
        ]  # fmt: skip
        if side in cut.beside_spine:
            places.append(f"{quantity(cut.beside_spine[side], 'length', system)} from the spine")
        elif unnamed := [gap for gap in mine if not gap.where]:
            widest = max(unnamed, key=lambda gap: gap.clear)
            most = "at most " if widest.clear >= _CLEAR else ""
            places.append(f"between them {most}{_open_words(widest, system)}")
        said.append(f"{side.capitalize()} bar: {', '.join(places)}.")
    return " ".join(said)


def _open_words(gap: Gap, system: System) -> str:
    return quantity(gap.clear, "length", system) if gap.clear >= _CLEAR else "touches"


def difference_words(
    chart: Chart, shown: Sequence[Shown], system: System = "metric"
) -> dict[str, Any]:
    """Return where the right view presses harder and less than the left one, in words.

    Parameters
    ----------
    chart : of the back.
    shown : left, right.
    system : units people chose.

    Returns
    -------
    dict
        "held" and "said"; differences are of means over 20 x 20 mm of skin, as peaks are.
    """
    if not all(one.fit.equilibrium.found for one in shown):
        return {"held": False, "said": "One tree does not stay on: there is nothing to compare."}
    left, right = (on_grid(chart, one.fit.equilibrium.pressure) for one in shown)
    more = patch_mean(right, chart.spacing) - patch_mean(left, chart.spacing)
    area = chart.area
    said = []
    for words, over in (("harder", more), ("less", -more)):
        where = over > DIFFERS
        most = quantity(float(over.max()), "pressure", system)
        where_area = quantity(float(area[where].sum()), "area", system)
        said.append(
            f"{words} on {where_area}, at most by {most}" if where.any() else f"{words} nowhere"
        )
    least = quantity(DIFFERS, "pressure", system)
    return {
        "held": True,
        "said": f"The right tree presses {'; '.join(said)} (counted from {least}).",
    }
