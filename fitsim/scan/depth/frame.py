"""One depth frame: a 16-bit picture into distances, and those of them that can be trusted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.ndimage import uniform_filter

from fitsim.errors import BadScan
from fitsim.scan.depth.picture import opened

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.scan.depth.manifest import Camera

LEAST_VALID: Final = 2_000
"""Fewest readings of one frame; a back a metre away fills a hundred times as many."""

_STEP: Final = 0.010
"""m: steps between neighbouring pixels up to this may be noise."""
_STEEP: Final = 4.0
"""Slope of depth over the width of a pixel, tan 76 deg: steeper readings graze the surface."""
_COMPANY: Final = 0.5  # share of the 3 x 3 pixels around that must be trusted too
_SIXTEEN_BIT: Final = frozenset({"I;16", "I;16B", "I;16L", "I"})
_MEND: Final = "store depth as 16-bit grey PNG"


def read_frame(
    path: Path, camera: Camera, metres_per_step: float, far: float
) -> NDArray[np.float64]:
    """Read the distances of one frame.

    Parameters
    ----------
    path : Path
        A PNG of 16-bit grey values; 0 is no reading.
    camera : Camera
        Tells the size that it must have.
    metres_per_step : float, m
        What one step means.
    far : float, m
        Beyond which nothing is used.

    Returns
    -------
    (height, width) array, m
        Distance along the camera's axis; 0 where there is no reading.

    Raises
    ------
    BadScan
        If there is no such file, it is no 16-bit PNG, of another size than the camera, or has
        hardly a reading.
    """
    with opened(path, ("PNG",), "depth frame", _MEND) as picture:
        _check_picture(path.name, picture.size, picture.mode, camera)
        steps = np.array(picture, dtype=np.int64)
    depth = (steps * metres_per_step).astype(np.float64)
    depth[depth > far] = 0.0
    _check_readings(path.name, steps, depth, far)
    return depth


def _check_picture(name: str, size: tuple[int, int], mode: str, camera: Camera) -> None:
    """By the picture's heading alone, before memory is given to it."""
    if size != (camera.width, camera.height):
        raise BadScan(
            name,
            f"it has {size[0]} x {size[1]} pixels but its camera {camera.width} x {camera.height}",
            "give the camera of this frame, or frames of this camera",
        )
    if mode not in _SIXTEEN_BIT:
        kind = "8-bit grey" if mode in {"L", "1", "P"} else "a colour picture"
        raise BadScan(name, f"it is {kind}, too coarse or no depth at all", _MEND)


def _check_readings(
    name: str, steps: NDArray[np.int64], depth: NDArray[np.float64], far: float
) -> None:
    if not steps.any():
        raise BadScan(name, "it has no reading: every pixel is 0", "scan again, or leave it out")
    valid = int((depth > 0.0).sum())
    if valid < LEAST_VALID:
        raise BadScan(
            name,
            f"only {valid:,} of its {depth.size:,} pixels have a reading nearer than {far:g} m",
            "check metres_per_step, or scan again from nearer",
        )


def trusted(depth: NDArray[np.float64], camera: Camera) -> NDArray[np.bool_]:
    """Which readings lie on a surface, not on the edge of one or in the air behind it.

    A pixel that sees the edge of one thing and what lies behind it reads a distance between the
    two ("flying pixels"), and readings that graze a surface are poor. Both show as steps between
    neighbours that are steeper than a surface seen at 76 deg; both neighbours go. So do the few
    that are then left without company.

    Parameters
    ----------
    depth : (height, width) array, m
        0 where there is no reading.
    camera : Camera

    Returns
    -------
    (height, width) bool array

    Examples
    --------
    >>> import numpy as np
    >>> from fitsim.scan.depth.manifest import Camera
    >>> depth = np.full((16, 20), 1.0)
    >>> depth[:, 10:] = 1.5
    >>> trusted(depth, Camera(width=20, height=16, fx=50, fy=50, cx=10, cy=8))[8].astype(int)
    array([1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1])
    """
    valid = depth > 0.0
    good = valid.copy()
    for axis, focal in ((0, camera.fy), (1, camera.fx)):
        near = np.minimum(_first(depth, axis), _second(depth, axis))
        step = np.abs(np.diff(depth, axis=axis)) > _STEP + _STEEP * near / focal
        step &= _first(valid, axis) & _second(valid, axis)
        _first(good, axis)[step] = False
        _second(good, axis)[step] = False
    company = uniform_filter(good.astype(np.float64), 3, mode="nearest")
    return np.asarray(good & (company > _COMPANY))


def _first(grid: NDArray, axis: int) -> NDArray:  # type: ignore[type-arg]
    return grid[:-1] if axis == 0 else grid[:, :-1]


def _second(grid: NDArray, axis: int) -> NDArray:  # type: ignore[type-arg]
    return grid[1:] if axis == 0 else grid[:, 1:]


def points_of(depth: NDArray[np.float64], camera: Camera) -> NDArray[np.float64]:
    """Points of all pixels in the camera's frame: x to the right, y down, z forward.

    Parameters
    ----------
    depth : (height, width) array, m
    camera : Camera

    Returns
    -------
    (height, width, 3) array, m
        The origin where there is no reading.

    Examples
    --------
    >>> import numpy as np
    >>> from fitsim.scan.depth.manifest import Camera
    >>> camera = Camera(width=20, height=16, fx=50, fy=50, cx=10, cy=8)
    >>> points_of(np.full((16, 20), 2.0), camera)[8, 15].tolist()
    [0.2, 0.0, 2.0]
    """
    u, v = np.meshgrid(np.arange(camera.width), np.arange(camera.height))
    x, y = (u - camera.cx) / camera.fx * depth, (v - camera.cy) / camera.fy * depth
    return np.stack([x, y, depth], axis=-1)
