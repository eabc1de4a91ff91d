"""The unit of a scan, found or told; and people's units."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitsim.errors import BadScan, BadSettings
from fitsim.scan.read import read_scan
from fitsim.scan.scale import extent, read_known, scaled, settled
from fitsim.scan.scan import Provenance, Scan
from fitsim.units import INCH, UNITS, quantity, show_force, show_length, show_pressure, to_si
from tests.trunk import trunk, turned

if TYPE_CHECKING:
    from pathlib import Path

FACTOR = {"m": 1.0, "cm": 0.01, "mm": 0.001, "inch": 0.0254}


def unsettled(length: float) -> Scan:
    """A trunk so long in file units."""
    vertices = np.asarray(trunk(40, 30).vertices)
    vertices = vertices * (length / extent(vertices))
    provenance = Provenance("back.ply", "", 0, len(vertices))
    return Scan(vertices, np.empty((0, 3), np.int32), provenance)


@pytest.mark.parametrize("unit", FACTOR)
@pytest.mark.parametrize("told", [True, False])
def test_every_unit_gives_the_same_metres(tmp_path: Path, unit: str, *, told: bool) -> None:
    mesh = trunk()
    mesh.apply_scale(1.0 / FACTOR[unit])
    mesh.export(tmp_path / "back.ply")
    if not told and unit == "inch":  # 55 in might be 55 cm, but 140 cm cannot be 140 in
        with pytest.raises(BadScan) as caught:
            read_scan(tmp_path / "back.ply")
        assert "--unit cm or --unit inch" in caught.value.mend
        return
    scan = read_scan(tmp_path / "back.ply", unit=unit if told else None)
    assert scan.provenance.unit == unit
    # 32-bit numbers of the file: 1e-7 of 1.4 m.
    assert np.abs(scan.vertices - trunk().vertices).max() < 1e-6


@given(length=st.floats(0.01, 1e5))
def test_a_unit_is_taken_only_if_it_is_the_only_one(length: float) -> None:
    fits = [u for u, f in FACTOR.items() if 0.5 <= length * f <= 3.5]
    try:
        scan = settled(unsettled(length))
    except BadScan:
        assert len(fits) != 1
        return
    assert len(fits) <= 1
    if fits:
        assert scan.provenance.unit == fits[0]
    assert extent(scan.vertices) <= 12.0


def test_ambiguous_unit_says_both() -> None:
    with pytest.raises(BadScan, match=r"cm \(1\.00 m long\) and inch \(2\.54 m long\)"):
        settled(unsettled(100.0))


@pytest.mark.parametrize(
    ("length", "told", "right"),
    [(1400.0, "m", "mm"), (1.4, "mm", "m"), (55.0, "mm", "inch"), (1400.0, "inch", "mm")],
)
def test_a_wrong_unit_is_refused_with_the_right_one(length: float, told: str, right: str) -> None:
    with pytest.raises(BadScan) as caught:
        settled(unsettled(length), unit=told)
    assert f"in {told} the scan would be" in caught.value.fault
    assert f"in {right}" in caught.value.mend


def test_withers_height_waits_for_the_body_frame(borrowed: Path) -> None:
    waiting = read_scan(borrowed / "horse-scan.ply", withers_height=1.5)
    assert waiting.provenance.unit is None
    assert "withers height, 1.50 m" in waiting.provenance.unit_evidence
    # 13.107 is the scale given beside the file; the statue is then 2.40 m long.
    done = scaled(waiting, 13.107, "From the withers height, 1.5 m.")
    assert np.ptp(done.vertices[:, 1]) == pytest.approx(2.40, abs=0.01)
    assert done.provenance.unit == "m"


def test_arbitrary_scale_says_what_to_give(borrowed: Path) -> None:
    with pytest.raises(BadScan, match="--withers-height"):
        read_scan(borrowed / "horse-scan.ply")
    with pytest.raises(BadScan, match="leave --unit out and give --withers-height"):
        read_scan(borrowed / "horse-scan.ply", unit="cm")


def test_withers_height_is_not_needed_where_the_unit_is_clear(tmp_path: Path) -> None:
    trunk().export(tmp_path / "back.ply")
    assert read_scan(tmp_path / "back.ply", withers_height=1.5).provenance.unit == "m"


@pytest.mark.parametrize("height", [-1.5, 0.0, 150.0, math.nan])
def test_a_senseless_withers_height(height: float) -> None:
    with pytest.raises(BadSettings, match="--withers-height"):
        settled(unsettled(1.4), withers_height=height)


def test_known_distance() -> None:
    scan = settled(unsettled(0.2), known=read_known("0.1 = 70 cm"))
    assert extent(scan.vertices) == pytest.approx(1.4)
    scan = settled(unsettled(0.2), known=read_known("0,0,0 0,0.06,0.08 = 70 cm"))
    assert extent(scan.vertices) == pytest.approx(1.4)
    scan = settled(unsettled(1400.0), known=(100.0, 0.1))
    assert scan.provenance.unit == "mm"


@pytest.mark.parametrize("words", ["", "0.1", "0.1 = ", "= 1 m", "0.1 = 2", "1,2 = 1 m", "a = b"])
def test_known_distance_that_cannot_be_read(words: str) -> None:
    with pytest.raises(BadSettings, match="--known"):
        read_known(words)


def test_known_distance_that_makes_no_animal() -> None:
    with pytest.raises(BadScan, match=r"makes the scan 140\.00 m long"):
        settled(unsettled(1.4), known=(0.01, 1.0))
    with pytest.raises(BadSettings, match="not positive"):
        settled(unsettled(1.4), known=(0.0, 1.0))
    with pytest.raises(BadSettings, match="give one of them"):
        settled(unsettled(1.4), unit="m", known=(1.0, 1.0))


def test_extent_does_not_depend_on_the_frame(rng: np.random.Generator) -> None:
    vertices = np.asarray(trunk().vertices)
    lengths = [extent(turned(vertices, rng)) for _ in range(5)]
    # Principal axes of the same points: only rounding is left.
    assert np.ptp(lengths) < 1e-9
    assert lengths[0] == pytest.approx(1.4, abs=0.02)  # the trunk tapers by a degree


def test_factors() -> None:
    """Exact by definition, NIST SP 811 (2008), appendix B."""
    assert INCH == 0.0254
    assert UNITS["mass"]["lb"] == 0.45359237
    assert UNITS["force"]["lbf"] == pytest.approx(4.4482216152605, rel=1e-15)
    assert UNITS["pressure"]["psi"] == pytest.approx(6894.757293168, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("560 mm", 0.56),
        ("22in", 0.5588),
        ('22 "', 0.5588),
        ("9 deg", math.pi / 20),
        ("-3.5e1 cm", -0.35),
        ("20 kPa", 20_000.0),
        (".5 m", 0.5),
    ],
)
def test_words_to_si(text: str, value: float) -> None:
    assert to_si(text) == pytest.approx(value, rel=1e-15)


@given(st.floats(-1e6, 1e6), st.sampled_from([(k, u) for k, f in UNITS.items() for u in f]))
def test_any_number_with_any_unit_reads_back(number: float, unit: tuple[str, str]) -> None:
    kind, name = unit
    value = quantity(f"{number!r} {name}", kind)
    assert value == pytest.approx(number * UNITS[kind][name], rel=1e-14)


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("560", "no unit"),
        ("", "not a number with a unit"),
        ("mm", "not a number with a unit"),
        ("560 milli", 'the unit "milli" is not known'),
        ("1,5 m", "not known"),
        ("nan mm", "not a number with a unit"),
        ("1e999 mm", "not a finite number"),
    ],
)
def test_words_that_are_no_quantity(text: str, part: str) -> None:
    with pytest.raises(BadSettings, match=r"mule\.toml: bar\.length") as caught:
        quantity(text, "length", "mule.toml: bar.length")
    assert part in str(caught.value)


def test_another_kind_is_refused() -> None:
    with pytest.raises(BadSettings, match="is an angle, not a length"):
        quantity("9 deg", "length")
    with pytest.raises(BadSettings, match="is a length, not a force"):
        quantity("9 mm", "force")
    assert quantity("1 kg", "mass") == 1.0
    assert quantity("1 kg", "force") == 9.80665


def test_people_read() -> None:
    assert show_length(0.9996) == "1.00 m"
    assert show_length(-0.0001) == "0 mm"
    assert show_length(1400.0) == "1,400.00 m"
    assert show_pressure(6894.757293168, "inch") == "1.00 psi"
    assert show_force(4.4482216152605, "inch") == "1 lbf"
