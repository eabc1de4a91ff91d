"""The pad's compression law against its own definition, inverse and slope."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.rig.pad import (
    PAD_NAMES,
    library_pad,
    pad_compliance,
    pad_compression,
    pad_of,
    pad_pressure,
    small_strain_modulus,
)

if TYPE_CHECKING:
    from fitsim.rig.case import Pad

EXPONENTS = (0.0, 1e-9, 1e-5, 0.5, 4.0, 12.0)
PRESSURES = np.concatenate([[0.0], np.geomspace(1.0, 300e3, 40)])


def pad(stiffening: float) -> Pad:
    return pad_of("test", 0.020, 20e3, stiffening, 0.4)


@pytest.mark.parametrize("b", EXPONENTS)
def test_a_quarter_compression_takes_p25_whatever_the_exponent(b: float) -> None:
    # Both sides are the same product; only rounding is allowed for.
    assert pad_pressure(pad(b), 0.25) == pytest.approx(20e3, rel=1e-12)


@pytest.mark.parametrize("b", EXPONENTS)
def test_compression_inverts_pressure(b: float) -> None:
    back = pad_pressure(pad(b), pad_compression(pad(b), PRESSURES))
    # expm1 and log1p lose no digits near 0: a few roundings at most.
    np.testing.assert_allclose(back, PRESSURES, rtol=1e-10, atol=0.0)


@pytest.mark.parametrize("b", EXPONENTS)
def test_compliance_is_the_slope_of_compression(b: float) -> None:
    p = PRESSURES[5:]
    step = 1e-4 * p
    slope = (pad_compression(pad(b), p + step) - pad_compression(pad(b), p - step)) / (2 * step)
    # Central differences: the error is of order step^2 / p^2 = 1e-8, times a factor of order 1;
    # rounding adds 1e-16 / 1e-4.
    np.testing.assert_allclose(pad_compliance(pad(b), p), slope, rtol=1e-6)


def test_linear_limit_is_met_smoothly() -> None:
    e = np.linspace(0.0, 0.6, 13)
    # The first correction is b (e - 1/4) / 2, so 2e-7 at most for b = 1e-6.
    np.testing.assert_allclose(pad_pressure(pad(2e-6), e), pad_pressure(pad(0.0), e), rtol=1e-6)


def test_it_stiffens_and_never_softens() -> None:
    compliance = pad_compliance(library_pad("felt"), PRESSURES)
    assert (np.diff(compliance) < 0.0).all()


def test_first_slope_is_the_small_strain_modulus() -> None:
    felt = library_pad("felt")
    slope = pad_pressure(felt, 1e-7) / 1e-7
    # The second term of the series is b e / 2 = 2e-7 of the first.
    assert slope == pytest.approx(small_strain_modulus(felt.p25, felt.stiffening), rel=1e-6)
    assert 1.0 / pad_compliance(felt, 0.0) == pytest.approx(slope, rel=1e-6)
    assert felt.shear_modulus == pytest.approx(slope / 3.0, rel=1e-6)


def test_felt_lies_between_the_two_softest_foam_grades() -> None:
    # ASTM D1056: stress at 25 % compression below 13.8 kPa in grade 0, 34.5 to 62 kPa in grade 2.
    assert 13.8e3 < library_pad("felt").p25 < 62e3


@pytest.mark.parametrize("name", PAD_NAMES)
def test_library_pads_differ_in_thickness_alone(name: str) -> None:
    one, felt = library_pad(name), library_pad("felt")
    assert replace(one, name="felt", thickness=felt.thickness, mass=felt.mass) == felt


def test_no_pad_gives_no_way() -> None:
    none = library_pad("none")
    assert none.thickness * pad_compression(none, 100e3) == 0.0
    assert none.mass == 0.0
