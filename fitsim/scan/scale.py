"""The unit of a scan: told by the user, told by a known distance, or found from its size.

A back or a whole animal is 0.5 to 3.5 m long (from memory; the borrowed and the generated
animals lie between 1.1 and 2.4 m). A size that only one unit makes so long tells the unit.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Final, get_args

import numpy as np

from fitsim.errors import BadScan, BadSettings
from fitsim.scan.scan import Scan, Unit
from fitsim.units import UNITS, show_length, to_si

if TYPE_CHECKING:
    from numpy.typing import NDArray

Known = tuple[float, float] | tuple[tuple[float, ...], tuple[float, ...], float]
"""A known distance: (length in file units, metres), or (point, point, metres)."""

ANIMAL_LENGTH: Final = (0.5, 3.5)
"""Shortest back and longest animal, m."""
SCENE_LENGTH: Final = (0.3, 12.0)
"""What a scan with floor and walls in it may measure, m."""

_FACTOR: Final[dict[Unit, float]] = {u: UNITS["length"][u] for u in get_args(Unit)}
_SAMPLE: Final = 50_000


def settled(
    scan: Scan,
    unit: Unit | None = None,
    withers_height: float | None = None,
    known: Known | None = None,
    standard: Unit | None = None,
) -> Scan:
    """Bring a scan to metres, or leave it for the withers height to settle.

    Parameters
    ----------
    scan : Scan
        In the file's own unit.
    unit : {"m", "cm", "mm", "inch"}, optional
        As told by the user.
    withers_height : float, optional
        Height of the animal's withers above the ground, m. Where no unit fits the size, the
        scan is returned as it is with ``provenance.unit`` None, for `scaled` to settle once the
        body frame has found the withers.
    known : Known, optional
        A known distance.
    standard : {"m", "cm", "mm", "inch"}, optional
        The unit the file format prescribes, taken if the size fits it.

    Returns
    -------
    Scan
        In metres with its unit and the evidence for it, or unsettled (see above).

    Raises
    ------
    BadScan
        If the size fits no unit, or two, or not the told one.
    BadSettings
        If unit and known distance are both given, or a height or distance is not positive.

    Examples
    --------
    >>> import numpy as np
    >>> from fitsim.scan.scan import Provenance
    >>> back = Scan(np.array([[0.0, 0, 0], [1200.0, 0, 0]]), np.empty((0, 3), np.int32),
    ...             Provenance("back.ply", "", 0, 2))
    >>> settled(back).provenance.unit_evidence.partition(". ")[0]
    'Found from the size: only in mm is it as long as a back or an animal (1.20 m)'
    """
    if unit is not None and known is not None:
        raise BadSettings("--unit, --known", "both tell the scale", "give one of them")
    if unit is not None and unit not in _FACTOR:
        raise BadSettings("--unit", f'"{unit}" is not a unit of scans', "use m, cm, mm or inch")
    if withers_height is not None and not 0.3 <= withers_height <= 2.5:  # noqa: PLR2004 - foal to draught horse, with room
        raise BadSettings(
            "--withers-height",
            f"{withers_height:g} m is not the height of an animal to saddle",
            "give it in metres, for example 1.5",
        )
    length = extent(scan.vertices)
    if known is not None:
        return _from_known(scan, known, length)
    if unit is not None:
        return _from_told(scan, unit, length, withers_height)
    return _from_size(scan, length, withers_height, standard)


def scaled(scan: Scan, factor: float, unit_evidence: str, unit: Unit = "m") -> Scan:
    """Multiply a scan's coordinates, saying why.

    Parameters
    ----------
    scan : Scan
        In any unit.
    factor : float
        Metres per present unit, positive.
    unit_evidence : str
        One sentence for the user, how the scale is known.
    unit : {"m", "cm", "mm", "inch"}
        The unit the coordinates had; "m" where the file's own scale was arbitrary and the
        evidence says so.

    Returns
    -------
    Scan
        In metres.

    Raises
    ------
    BadScan
        If the factor is not a positive, finite number.

    Examples
    --------
    >>> import numpy as np
    >>> from fitsim.scan.scan import Provenance
    >>> small = Scan(np.ones((2, 3)), np.empty((0, 3), np.int32), Provenance("a.ply", "", 0, 2))
    >>> scaled(small, 13.1, "From the withers height.").vertices[0].tolist()
    [13.1, 13.1, 13.1]
    """
    if not (np.isfinite(factor) and factor > 0.0):
        raise BadScan(scan.provenance.name, f"a scale of {factor} is no scale", "tell its --unit")
    provenance = replace(
        scan.provenance,
        unit=unit,
        unit_evidence=unit_evidence,
        metres_per_unit=scan.provenance.metres_per_unit * factor,
    )
    marks = {name: points * factor for name, points in scan.marks.items()}
    paint = scan.paint and replace(scan.paint, points=scan.paint.points * factor)
    return replace(
        scan,
        vertices=scan.vertices * factor,
        provenance=provenance,
        marks=marks,
        sheets=scan.sheets * [1.0, 1.0, 1.0, factor],
        paint=paint,
    )


def extent(vertices: NDArray[np.float64]) -> float:
    """Length of a set of points along its longest principal axis.

    Principal axes make it the same however the scan lies in space; one point in a thousand at
    either end is left out as stray.

    Parameters
    ----------
    vertices : (n, 3) array
        Any unit.

    Returns
    -------
    float
        Same unit.

    Examples
    --------
    >>> import numpy as np
    >>> extent(np.array([[0.0, 0.0, 0.0], [3.0, 4.0, 0.0]]))
    5.0
    """
    sample = vertices[:: max(1, len(vertices) // _SAMPLE)]
    centred = sample - sample.mean(axis=0)
    axes = np.linalg.svd(centred.T @ centred)[0]
    low, high = np.quantile(centred @ axes, (0.001, 0.999), axis=0, method="nearest")
    return float((high - low).max())


def read_known(text: str) -> Known:
    """Read a known distance from words: ``LENGTH = 1.2 m``, or ``X,Y,Z X,Y,Z = 1.2 m``.

    Left of the equals sign stands a length, or two points, in the file's own numbers; right of
    it what it truly is, with a unit.

    Parameters
    ----------
    text : str
        As given to ``--known``.

    Returns
    -------
    Known
        With metres on the right.

    Raises
    ------
    BadSettings
        If it cannot be read.

    Examples
    --------
    >>> read_known("0.153 = 2 m")
    (0.153, 2.0)
    >>> read_known("0,0,0 0,0.1,0 = 60 cm")
    ((0.0, 0.0, 0.0), (0.0, 0.1, 0.0), 0.6)
    """
    left, equals, right = text.partition("=")
    numbers = [float(w) for w in re.findall(r"[-+]?(?:\d+[.]?\d*|[.]\d+)(?:[eE][-+]?\d+)?", left)]
    if not equals or len(numbers) not in {1, 6}:
        raise BadSettings(
            "--known",
            f'"{text}" is not a known distance',
            'write it as "0.153 = 2 m" or "0,0,0 0,0.1,0 = 60 cm"',
        )
    metres = to_si(right, "--known")
    if len(numbers) == 1:
        return numbers[0], metres
    return tuple(numbers[:3]), tuple(numbers[3:]), metres


def _from_known(scan: Scan, known: Known, length: float) -> Scan:
    if len(known) == 2:  # noqa: PLR2004 - the short form
        apart, metres = known
    else:
        apart = float(np.linalg.norm(np.subtract(known[0], known[1])))
        metres = known[2]
    if not (apart > 0.0 and metres > 0.0):
        raise BadSettings("--known", "the known distance is not positive", "measure it again")
    factor = metres / apart
    if not _within(length * factor, SCENE_LENGTH):
        raise BadScan(
            scan.provenance.name,
            f"the known distance makes the scan {show_length(length * factor)} long",
            "measure it again, in the numbers of the file",
        )
    near: Unit = next((u for u, f in _FACTOR.items() if abs(factor / f - 1.0) < 0.02), "m")  # noqa: PLR2004 - a tape reads to 2 %
    evidence = f"Told by a known distance: {apart:g} in the file is {show_length(metres)}."
    return scaled(scan, factor, evidence, near)


def _from_told(scan: Scan, unit: Unit, length: float, withers_height: float | None) -> Scan:
    told = length * _FACTOR[unit]
    if _within(told, SCENE_LENGTH):
        evidence = f"Told: {unit}. The scan is {show_length(told)} long."
        return scaled(scan, _FACTOR[unit], evidence, unit)
    others = _fitting(length, ANIMAL_LENGTH) or _fitting(length, SCENE_LENGTH)
    size = f"in {unit} the scan would be {show_length(told)} long"
    if others:
        would = " or ".join(f"{show_length(length * _FACTOR[u])} in {u}" for u in others)
        mend = f"it would be {would}: use --unit {others[0]}"
    else:
        mend = "no unit fits: leave --unit out and give --withers-height in metres"
        if withers_height is not None:
            mend = "no unit fits: leave --unit out, --withers-height tells the scale"
    raise BadScan(scan.provenance.name, size, mend)


def _from_size(
    scan: Scan, length: float, withers_height: float | None, standard: Unit | None
) -> Scan:
    if standard is not None and _within(length * _FACTOR[standard], ANIMAL_LENGTH):
        evidence = f"The file format is in {standard}, and the size fits an animal."
        return scaled(scan, _FACTOR[standard], evidence, standard)
    fitting = _fitting(length, ANIMAL_LENGTH)
    kind = "as long as a back or an animal"
    if not fitting and withers_height is None:
        fitting, kind = _fitting(length, SCENE_LENGTH), "of a size with an animal and its room"
    if len(fitting) == 1:
        size = show_length(length * _FACTOR[fitting[0]])
        evidence = (
            f"Found from the size: only in {fitting[0]} is it {kind} ({size}). "
            "Give --unit to be sure."
        )
        return scaled(scan, _FACTOR[fitting[0]], evidence, fitting[0])
    if withers_height is not None:
        evidence = f"Not known yet: to be settled by the withers height, {withers_height:.2f} m."
        return replace(scan, provenance=replace(scan.provenance, unit_evidence=evidence))
    raise _unknown(scan.provenance.name, length, fitting)


def _unknown(name: str, length: float, fitting: list[Unit]) -> BadScan:
    if fitting:
        both = " and ".join(f"{u} ({show_length(length * _FACTOR[u])} long)" for u in fitting)
        choice = " or ".join(f"--unit {u}" for u in fitting)
        return BadScan(name, f"its unit is not clear: {both} both fit an animal", f"give {choice}")
    return BadScan(
        name,
        f"its scale is not known: {length:.3g} long in the file's numbers fits no unit",
        "give --withers-height in metres (whole standing animal) or --known with a distance",
    )


def _fitting(length: float, bounds: tuple[float, float]) -> list[Unit]:
    return [unit for unit, factor in _FACTOR.items() if _within(length * factor, bounds)]


def _within(value: float, bounds: tuple[float, float]) -> bool:
    return bounds[0] <= value <= bounds[1]
