"""What a page asks for beside its settings: cuts, differences and hands, and what is refused."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from matplotlib import colormaps

from fitsim.app.answer import answer, withers_at
from fitsim.app.asked import Grip, asked_of
from fitsim.app.bench import case_of
from fitsim.app.by_hand import HIGHEST, by_hand
from fitsim.app.scenario import Scenario, scenario_of
from fitsim.app.words import difference_words
from fitsim.contact.bars import place_bar
from fitsim.draw.palette import difference_map
from fitsim.errors import BadSettings
from fitsim.measure.hand import Hand
from fitsim.study.hand_tests import MOVE, PRESS, hand_tests

if TYPE_CHECKING:
    from fitsim.app.bench import Shown
    from fitsim.app.sessions import Place


@pytest.mark.parametrize(
    "told",
    [
        {"views": [{}], "cut": "across"},
        {"views": [{}], "cut": {"way": "down"}},
        {"views": [{}], "cut": {"way": "across", "behind": "far"}},
        {"views": [{}], "cut": {"way": "across", "behind": 10**400}},
        {"views": [{}], "hand": []},
        {"views": [{}], "hand": {"tool": "hammer"}},
        {"views": [{}], "hand": {"tool": "lift", "place": "fork"}},
        {"views": [{}], "hand": {"tool": "lift", "place": "rear", "amount": True}},
        {"views": [{}], "hand": {"tool": "press", "from": [0, 0]}},
        {"views": [{}], "hand": {"tool": "press", "from": [0, 0, 0], "to": [0, 0, math.nan]}},
        {"views": [{}], "facing": 1},
        {"views": [{}], "facing": "left"},
    ],
)
def test_what_cannot_be_asked_is_refused_in_words(told: Any) -> None:  # noqa: ANN401
    with pytest.raises(BadSettings):
        asked_of(told)


def replied(place: Place, told: dict[str, Any]) -> dict[str, Any]:
    return answer(place, asked_of(told), [None, None], "metric")


def test_the_difference_is_the_right_view_less_the_left(mule: Place) -> None:
    """Alike trees differ nowhere; with the sides changed, harder and less change places."""
    wider = {"front_wider": 0.030}
    alike = replied(mule, {"views": [{}, {}], "difference": True})["difference"]["said"]
    assert alike.count("nowhere") == 2
    chart = mule.bench.back.chart
    usual, wide = (mule.bench.shown(scenario_of(told)) for told in ({}, wider))
    there, back = (
        difference_words(chart, pair)["said"].split("presses harder ")[1].split(" (")[0]
        for pair in ([usual, wide], [wide, usual])
    )
    harder, less = there.split("; less ")
    assert "kPa" in harder
    assert harder != less
    assert back == f"{less}; less {harder}"
    assert not replied(mule, {"views": [{}], "difference": True}).get("difference")


def test_the_difference_has_the_colours_of_that_name() -> None:
    """Against matplotlib's PuOr_r (ColorBrewer 2.0); it rounds to eight bits its own way."""
    theirs = 255.0 * colormaps["PuOr_r"](np.arange(256))[:, :3]
    assert np.abs(theirs - difference_map()).max() <= 1.0


def test_a_cut_is_told_from_the_withers_and_held_to_the_back(mule: Place) -> None:
    back = mule.bench.back
    cut = replied(mule, {"views": [{}], "cut": {"way": "across", "behind": 0.25}})["views"][0][
        "cut"
    ]
    assert cut["line"][0][0] == pytest.approx(withers_at(back) - 0.25, abs=1e-3)
    assert "250" in cut["title"]
    assert cut["said"].count("from the spine") == 2
    far = replied(mule, {"views": [{}], "cut": {"way": "across", "behind": 9.0}})["views"][0]["cut"]
    assert far["line"][0][0] == pytest.approx(back.chart.x[0], abs=1e-3)
    assert far["said"] == "No bar reaches this place."


def test_daylight_follows_the_cinches(mule: Place) -> None:
    """Front cinch alone lifts the rear (common practice, no source): so the cut shows it."""
    both = replied(mule, {"views": [{}], "cut": {"way": "left"}})["views"][0]["cut"]
    loose = {"rear_left": 0.0, "rear_right": 0.0}
    front = replied(mule, {"views": [loose], "cut": {"way": "left"}})["views"][0]["cut"]

    def clear(cut: dict[str, Any]) -> float:
        (_, low), (_, high) = cut["gaps"][-1]["low"], cut["gaps"][-1]["high"]
        return float(high - low)

    assert clear(front) > clear(both) + 0.004
    assert "rear tip" in front["said"]


@pytest.fixture(scope="module")
def usual(mule: Place) -> Shown:
    return mule.bench.shown(Scenario())


def found(place: Place, shown: Shown, grip: Grip) -> dict[str, Any]:
    _, hand = by_hand(place.bench, shown, grip)
    assert hand is not None
    return hand


def test_gestures_find_what_the_hand_tests_find(mule: Place, usual: Shown) -> None:
    """The same hand at the same place: in the words' own rounding, whole newtons."""
    on = mule.bench.laid(usual.scenario)
    case = case_of(mule.bench.back, usual.tree, on, usual.scenario)
    tests = hand_tests(mule.bench.back.chart, on.problem, case)
    lift = found(mule, usual, Grip("lift", "rear", amount=MOVE))
    assert tests.lift is not None
    assert f"{tests.lift.force:.0f}\u00a0N" in lift["words"]
    whole = found(mule, usual, Grip("under", "front", "left", amount=Hand().reach))
    half = found(mule, usual, Grip("under", "front", "left", amount=0.5 * Hand().reach))
    assert any(f"{tests.under['left'].push:.0f}\u00a0N" in one["words"] for one in (whole, half))
    pressed = found(mule, usual, Grip("press", "rear"))
    assert tests.press is not None
    assert f"{math.degrees(tests.press.turn):.1f} deg under" in pressed["words"]
    assert "tail down" in pressed["words"]


def test_a_pointer_lands_where_it_points(mule: Place, usual: Shown) -> None:
    on, rest = mule.bench.laid(usual.scenario), usual.fit.equilibrium
    for side, name, outward in ((0, "left", 1.0), (1, "right", -1.0)):
        bar = on.problem.tree.bars[side]
        T_body_bar, _ = place_bar(rest.T_body_tree, bar, np.zeros(0))

        def at(xi: float, eta: float, T: Any = T_body_bar) -> tuple[float, float, float]:  # noqa: ANN401
            x, y, z = (T @ [xi, eta, 0.0, 1.0])[:3].tolist()
            return x, y, z

        front, rear = bar.underside.front, bar.underside.rear
        went = at(front + 0.02, 0.0), at(front - 0.05, 0.0)
        hand = found(mule, usual, Grip("under", went=went))
        assert (hand["place"], hand["side"]) == ("front", name)
        assert hand["amount"] == pytest.approx(0.05, abs=1e-3)
        edge = at(0.0, outward * 0.05), at(-0.1, outward * 0.05)
        hand = found(mule, usual, Grip("under", went=edge))
        assert (hand["place"], hand["side"]) == ("edge", name)
        assert hand["along"] == pytest.approx((front + 0.1) / (front - rear), abs=1e-3)
        low = at(rear + 0.05, 0.0)
        hand = found(mule, usual, Grip("lift", went=(low, (*low[:2], low[2] + 0.012))))
        assert (hand["place"], hand["amount"]) == ("rear", pytest.approx(0.012))


def test_hands_do_no_more_than_hands_can(mule: Place, usual: Shown) -> None:
    assert found(mule, usual, Grip("lift", "rear", amount=9.0))["amount"] == HIGHEST
    assert found(mule, usual, Grip("press", "front", amount=9e9))["amount"] == PRESS
    assert found(mule, usual, Grip("under", "rear", amount=-1.0))["amount"] == 0.0
    walking = mule.bench.shown(replace(Scenario(), phase=0.2))
    same, hand = by_hand(mule.bench, walking, Grip("press"))
    assert same is walking
    assert hand is not None
    assert "standing" in hand["words"]
