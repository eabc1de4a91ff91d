"""What comes from a browser is held to what can be set, and the tour shows what it says."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from fitsim.app.scenario import CONTROLS, Scenario, scenario_of
from fitsim.app.tour import TOUR
from fitsim.draw.words import zone_share
from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitsim.app.sessions import Place
    from fitsim.measure.measures import Measures


@pytest.mark.parametrize(
    "told",
    [
        {"mass": 10**400},
        {"mass": "80"},
        {"mass": True},
        {"mass": math.nan},
        {"mass": None},
        {"tree": "../../etc/passwd"},
        {"load": ["rider"]},
        {"unknown": 1.0},
        {"phase": "now"},
        [],
        None,
    ],
)
def test_what_cannot_be_set_is_refused_in_words(told: Any) -> None:  # noqa: ANN401
    with pytest.raises(BadSettings):
        scenario_of(told)


def test_sliders_are_held_to_their_ends_and_survive_the_wire() -> None:
    far = scenario_of({control.name: 1e9 for control in CONTROLS})
    for control in CONTROLS:
        assert getattr(far, control.name) == control.high
    assert scenario_of(far.as_dict()) == far
    assert scenario_of({}) == Scenario()


def measured(place: Place, told: Mapping[str, Any]) -> Measures:
    found = place.bench.shown(scenario_of(told)).fit.measures
    assert found is not None
    return found


def test_the_tour_shows_what_it_says(mule: Place) -> None:
    """On the demo mule, common practice, no source: each stop's words against its numbers."""
    stops = {stop.title: stop for stop in TOUR}
    front = measured(mule, {"rear_left": 0.0, "rear_right": 0.0})
    both = measured(mule, {})
    assert front.share["front"] > 0.6
    assert both.share["front"] < 0.45
    assert front.lift["rear_left"] > both.lift["rear_left"] + 0.004
    straight, curved = (measured(mule, told) for told in _two(stops["Bridging"]))
    assert straight.share["middle"] < 0.1
    assert curved.share["middle"] > 0.3
    beside, wide = (measured(mule, told) for told in _two(stops["Over the fat pocket"]))
    assert zone_share(beside, "fat_pocket") < 0.01
    assert zone_share(wide, "fat_pocket") > 0.05
    usual, wider = (measured(mule, told) for told in _two(stops["Too wide"]))
    assert zone_share(wider, "scapula") > zone_share(usual, "scapula") + 0.03
    assert wider.lift["rear_left"] > usual.lift["rear_left"]
    alike, uneven = (measured(mule, told) for told in _two(stops["Uneven packs"]))
    assert alike.share["left"] < 0.55
    assert uneven.share["left"] > 0.65


def _two(stop: Any) -> tuple[Mapping[str, Any], Mapping[str, Any]]:  # noqa: ANN401 - a Stop
    return stop.scenario, stop.beside


def test_the_tour_shows_the_shoulder_in_motion(mule: Place) -> None:
    """Each blade is held in turn, harder than on the standing animal: common practice, no source.

    On the demo mule at the walk, eight moments of a stride: a fore leg swings half a stride after
    the other (see `fitsim.back.motion.gait`), so one blade bears most while the other bears least.
    """
    (stop,) = (stop for stop in TOUR if stop.play == "stride")
    standing = measured(mule, stop.scenario)
    blades: dict[str, list[float]] = {"left": [], "right": []}
    for moment in range(8):
        walking = measured(mule, {**stop.scenario, "phase": moment / 8})
        for side, forces in blades.items():
            forces.append(walking.zones[f"scapula_{side}"].force)
    for side, forces in blades.items():
        stood = standing.zones[f"scapula_{side}"].force
        assert max(forces) > 1.25 * stood
        assert min(forces) < stood
    left, right = (np.array(blades[side]) for side in ("left", "right"))
    apart = (left.argmax() - right.argmax()) % 8
    assert apart in {3, 4, 5}  # half a stride, to the nearest moment or the next
    assert np.corrcoef(left, right)[0, 1] < -0.7


@pytest.mark.slow
def test_every_slider_answers_at_both_ends(mule: Place) -> None:
    for control in CONTROLS:
        for value in (control.low, control.high):
            told = {"tree": "pack-fixed", "load": "pack", control.name: value}
            try:
                rest = mule.bench.shown(scenario_of(told)).fit.equilibrium
            except BadSettings:  # it cannot be built so, which is said in words
                continue
            assert rest.found or rest.leaves
