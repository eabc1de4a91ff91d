"""What the screen says of one scenario: big numbers and a few plain sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.draw.quantity import DASH, number, percent, percents, quantity, shown
from fitsim.draw.words import lifted_tips, verdict, zone_share
from fitsim.measure.gaps import SIDES

if TYPE_CHECKING:
    from fitsim.app.bench import Shown
    from fitsim.app.scenario import Control
    from fitsim.draw.quantity import System
    from fitsim.measure.measures import Measures

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
        "peak": quantity(m.peak, "pressure", system),
        "force": quantity(m.normal_force, "force", system),
        "thirds": shares,
        "third_words": percents(shares),
        "sides": percents([m.share["left"], m.share["right"]]),
        "blade": percent(zone_share(m, "scapula")),
        "pocket": percent(zone_share(m, "fat_pocket")),
        "lift": _lift(m, system),
        "said": verdict(one.fit, system),
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
