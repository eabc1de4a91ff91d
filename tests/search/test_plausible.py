"""Plausible backs: as found where nothing is off, and off by what the spreads say."""

from __future__ import annotations

import numpy as np
import pytest

from fitsim.back.plausible import plausible_back, standard_draws, unknowns
from fitsim.back.tissue import tissue_figures
from tests.fits import COARSE, back_of


def test_no_draw_is_the_back_itself() -> None:
    back = back_of("mule", COARSE)
    same = plausible_back(back, np.zeros(len(unknowns())))
    assert (same.zone_code == back.zone_code).all()
    assert same.tissue.palette == back.tissue.palette
    assert same.tissue.weights == pytest.approx(back.tissue.weights, abs=1e-12)


def test_draws_have_the_spread_they_are_told() -> None:
    draws = standard_draws(200, seed=5)
    # a Latin hypercube puts one draw into each of 200 strata
    assert draws.mean(axis=0) == pytest.approx(np.zeros(draws.shape[1]), abs=0.02)
    assert draws.std(axis=0) == pytest.approx(np.ones(draws.shape[1]), abs=0.03)
    assert (standard_draws(200, seed=5) == draws).all()
    assert (standard_draws(200, seed=6) != draws).any()


def test_one_deviation_of_fat_is_a_factor_of_two() -> None:
    back = back_of("mule", COARSE)
    draw = np.array([float(name == "stiffness of fat") for name in unknowns()])
    softer = plausible_back(back, draw)
    for stack, own in zip(softer.tissue.palette, back.tissue.palette, strict=True):
        for layer, was in zip(stack.layers, own.layers, strict=True):
            factor = np.exp(tissue_figures()["materials"]["fat"]["young_spread"])
            assert layer.young == pytest.approx(was.young * (factor if was.name == "fat" else 1.0))
            assert layer.thickness == was.thickness


def test_a_blade_that_lies_farther_back_takes_nodes_from_the_muscle() -> None:
    back = back_of("mule", COARSE)
    draw = np.array([-2.0 * (name == "blade along") for name in unknowns()])
    moved = plausible_back(back, draw)
    for name in ("scapula_left", "scapula_right"):
        (was,) = (zone for zone in back.zones if zone.name == name)
        (now,) = (zone for zone in moved.zones if zone.name == name)
        shift = -2.0 * back.marks[name.replace("scapula", "scapula_edge")].sd_m
        assert now.outline - was.outline == pytest.approx(
            np.tile([shift, 0.0], (len(was.outline), 1))
        )
    blade = [k for k, zone in enumerate(back.zones) if zone.name.startswith("scapula")]
    behind = back.chart.x < -0.01
    gained = np.isin(moved.zone_code[behind], blade).sum()
    assert gained > np.isin(back.zone_code[behind], blade).sum()
