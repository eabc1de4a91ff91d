"""The compression law of a pad, and the pads everybody has."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.rig.case import Pad

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Array = NDArray[np.float64]

_LINEAR = 1e-6  # below this exponent the law is linear to better than 1e-6 of its value
_FELT_DENSITY = 180.0  # kg/m3: wool felt of specific gravity 0.18 (SAE J314 chart, 9R grades)
_PAD_PLAN = 0.6  # m2, a pad of about 80 x 75 cm; common practice, no source


def pad_pressure(pad: Pad, compression: ArrayLike) -> Array:
    """Pressure that squeezes a pad to a given compression.

    .. warning:: Compression is positive where the pad gets thinner. Below 0 the pad would pull;
       the law is continued there so that a solver can step through, a pad never pulls.

    Parameters
    ----------
    pad : Pad
        Its `p25` (Pa) and `stiffening` (-) are used.
    compression : (...) array, -
        Share of the thickness squeezed away.

    Returns
    -------
    (...) array, Pa

    Notes
    -----
    ``p(e) = p25 * expm1(b e) / expm1(b / 4)``, the exponential (Fung) form for fibrous matter that
    stiffens as it is squeezed, pinned at the 25 % compression by which foams and felts are graded
    (ASTM D1056). It tends to ``4 p25 e`` as b tends to 0.

    Examples
    --------
    >>> felt = library_pad("felt")
    >>> [round(float(p)) for p in pad_pressure(felt, [0.0, 0.25, 0.5])]
    [0, 20000, 74366]
    """
    e = np.asarray(compression, dtype=np.float64)
    b = pad.stiffening
    if b < _LINEAR:
        return np.asarray(4.0 * pad.p25 * e)
    return np.asarray(pad.p25 * np.expm1(b * e) / np.expm1(b / 4.0))


def pad_compression(pad: Pad, pressure: ArrayLike) -> Array:
    """Compression of a pad under a given pressure, the inverse of `pad_pressure`.

    Parameters
    ----------
    pad : Pad
        Its `p25` (Pa) and `stiffening` (-) are used.
    pressure : (...) array, Pa
        Above ``-p25 / expm1(b / 4)``; below 0 see the warning in `pad_pressure`.

    Returns
    -------
    (...) array, -
        Times ``pad.thickness`` it is the way the pad gives, m. It passes 1 only far above any
        pressure a back sees (624 kPa for the felt of the library).

    Examples
    --------
    >>> felt = library_pad("felt")
    >>> [round(float(e), 3) for e in pad_compression(felt, [0.0, 10e3, 20e3])]
    [0.0, 0.155, 0.25]
    """
    p = np.asarray(pressure, dtype=np.float64)
    b = pad.stiffening
    if b < _LINEAR:
        return np.asarray(p / (4.0 * pad.p25))
    return np.asarray(np.log1p(p / pad.p25 * np.expm1(b / 4.0)) / b)


def pad_compliance(pad: Pad, pressure: ArrayLike) -> Array:
    """Change of compression per change of pressure, de/dp, for Newton steps.

    Parameters
    ----------
    pad : Pad
        Its `p25` (Pa) and `stiffening` (-) are used.
    pressure : (...) array, Pa
        As in `pad_compression`.

    Returns
    -------
    (...) array, 1/Pa
        Times ``pad.thickness`` it is the normal compliance in series with the tissue, m/Pa.

    Notes
    -----
    ``de/dp = k / (b (1 + k p))`` with ``k = expm1(b / 4) / p25``.

    Examples
    --------
    >>> felt = library_pad("felt")
    >>> bool(pad_compliance(felt, 0.0) > pad_compliance(felt, 20e3))  # it stiffens
    True
    """
    p = np.asarray(pressure, dtype=np.float64)
    b = pad.stiffening
    if b < _LINEAR:
        return np.full(p.shape, 1.0 / (4.0 * pad.p25))
    k = float(np.expm1(b / 4.0)) / pad.p25
    return np.asarray(k / (b * (1.0 + k * p)))


def small_strain_modulus(p25: float, stiffening: float) -> float:
    """Slope of the compression law at no load, Pa.

    Parameters
    ----------
    p25 : float, Pa
        Pressure at 25 % compression.
    stiffening : float, -
        Exponent b.

    Returns
    -------
    float, Pa
        ``p25 b / expm1(b / 4)``.

    Examples
    --------
    >>> round(small_strain_modulus(20e3, 4.0))
    46558
    """
    if stiffening < _LINEAR:
        return 4.0 * p25
    return float(p25 * stiffening / np.expm1(stiffening / 4.0))


def pad_of(
    name: str,
    thickness: float,
    p25: float,
    stiffening: float,
    friction: float,
    *,
    shear_modulus: float | None = None,
    mass: float | None = None,
) -> Pad:
    """A pad from its compression law, with shear and mass filled in where they are not known.

    Parameters
    ----------
    name : str
        Shown to people.
    thickness : float, m
        0 is no pad.
    p25, stiffening, friction : float
        See `Pad`: Pa, -, -.
    shear_modulus : float, Pa, optional
        Where not given, a third of the small-strain modulus, as for a body that keeps its volume;
        felt does not quite, so this is the soft end (from memory).
    mass : float, kg, optional
        Where not given, wool felt of 180 kg/m3 over 0.6 m2. It is for the record: the pad's weight
        rests on the back itself (about 40 Pa), not on the tree.

    Returns
    -------
    Pad

    Examples
    --------
    >>> pad = pad_of("mine", 0.010, 30e3, 4.0, 0.4)
    >>> round(pad.shear_modulus), round(pad.mass, 2)
    (23279, 1.08)
    """
    modulus = small_strain_modulus(p25, stiffening)
    return Pad(
        name=name,
        thickness=thickness,
        p25=p25,
        stiffening=stiffening,
        shear_modulus=modulus / 3.0 if shear_modulus is None else shear_modulus,
        friction=friction,
        mass=_FELT_DENSITY * _PAD_PLAN * thickness if mass is None else mass,
    )


# Chosen for this project: 20 kPa at 25 % lies between the two softest foam grades of ASTM D1056;
# felt's own value was not found, so it spreads by a factor of 1.6. Friction: felt 0.37 (SAE J314
# chart), skin on cotton 0.25-0.9 (Temel et al. 2022, Tribol. Lett. 70). Thin and thick are the same
# felt.
_LIBRARY = {
    "none": pad_of("none", 0.0, 20e3, 4.0, 0.4),  # the law is not used: nothing to squeeze
    "felt-thin": pad_of("felt-thin", 0.010, 20e3, 4.0, 0.4),
    "felt": pad_of("felt", 0.020, 20e3, 4.0, 0.4),
    "felt-thick": pad_of("felt-thick", 0.030, 20e3, 4.0, 0.4),
}
PAD_NAMES = tuple(_LIBRARY)
DEFAULT_PAD = "felt"


def library_pad(name: str) -> Pad:
    """One of the pads everybody has.

    Parameters
    ----------
    name : str
        One of `PAD_NAMES`.

    Returns
    -------
    Pad

    Raises
    ------
    KeyError
        For any other name; `fitsim.rig.read.read_pad` turns it into a sentence.

    Examples
    --------
    >>> library_pad("felt").thickness
    0.02
    """
    return _LIBRARY[name]
