"""How much heavier one side may be: what must hold whatever the animal."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitsim.contact.solve import solve
from fitsim.report.balance_lines import balance_facts, balance_lines
from fitsim.rig.cases import cases_for
from fitsim.rig.load import pack
from fitsim.rig.rig import Cinch, Rig
from fitsim.study.balance import Balance, balance
from fitsim.study.laid import laid
from fitsim.study.set_up import SetUp
from fitsim.tree.read import read_tree
from tests.fits import back_of

RIG = Rig("even", Cinch(180.0, 180.0), Cinch(120.0, 120.0))


@pytest.fixture(scope="module")
def packed() -> SetUp:
    back = back_of("mule", 0.018)  # coarse: what is compared is compared on one grid
    on, load = laid(back, read_tree("pack-fixed")), pack()
    cases = cases_for(back, on.problem.tree, on.seat.T_body_tree, RIG, load)
    return SetUp(back, RIG, load, on, {case.name: case for case in cases})


@pytest.fixture(scope="module")
def table(packed: SetUp) -> Balance:
    return balance(packed, (0.0, np.radians(15.0)), (0.5, 1.0), processes=1)


@pytest.mark.slow
def test_more_tension_bears_more_and_a_side_slope_bears_less(table: Balance) -> None:
    loose, snug = table.rows
    for slope in (0, 1):
        assert 0.0 < loose[slope].difference < snug[slope].difference
    for row in table.rows:
        assert row[1].difference < row[0].difference


@pytest.mark.slow
def test_a_pad_that_grips_bears_more(table: Balance) -> None:
    own = table.rows[table.own]
    for low, middle, high in zip(table.slippery, own, table.grippy, strict=True):
        assert low.difference < middle.difference < high.difference


@pytest.mark.slow
def test_the_table_is_where_dead_weights_leave(packed: SetUp, table: Balance) -> None:
    """Hung on as dead weight, 5 % less than the table stays and 5 % more rolls off.

    5 %: the table reads its top off a parabola through three stretches.
    """
    snug = table.rows[1][0]
    on = packed.laid
    for share, stays in ((0.95, True), (1.05, False)):
        extra = share * snug.difference
        left, right = (35.0 + extra * (snug.heavier == side) for side in ("left", "right"))
        load = pack(left, right)
        case = cases_for(packed.back, on.problem.tree, on.seat.T_body_tree, RIG, load)[-1]
        rest = solve(on.problem, case)
        assert rest.found is stays
    assert rest.leaves == snug.leaves == f"rolls {snug.heavier}"


@pytest.mark.slow
@pytest.mark.parametrize(("side", "masses"), [("left", (90.0, 0.0)), ("right", (0.0, 90.0))])
def test_a_pack_on_one_side_alone_rolls_to_it(
    packed: SetUp, side: str, masses: tuple[float, float]
) -> None:
    on = packed.laid
    load = pack(*masses, top=0.0)
    case = cases_for(packed.back, on.problem.tree, on.seat.T_body_tree, RIG, load)[-1]
    rest = solve(on.problem, case)
    assert not rest.found
    assert rest.leaves == f"rolls {side}"


@pytest.mark.slow
def test_words_and_data_say_the_same(table: Balance) -> None:
    facts = balance_facts(table)
    own = table.rows[table.own][0]
    assert facts["rows"][1][0]["difference_kg"] == round(own.difference, 2)  # type: ignore[index]
    said = "\n".join(balance_lines(table)).replace("\N{NO-BREAK SPACE}", " ")
    assert f"one side may be {own.difference:.0f} kg heavier on the flat" in said
    assert "15 deg side slope" in said
    inch = "\n".join(balance_lines(table, "inch")).replace("\N{NO-BREAK SPACE}", " ")
    assert f"{own.difference / 0.45359237:.0f} lb heavier" in inch


@pytest.mark.slow
def test_a_rig_that_holds_nothing_says_so(table: Balance) -> None:
    gone = replace(table.rows[1][0], stays=False, difference=0.0, leaves="rolls left")
    lost = replace(table, rows=((gone,), (gone,)))
    assert any("rolls left with even loads" in line for line in balance_lines(lost))
