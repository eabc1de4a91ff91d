"""What a file reader hands over before anything is checked, welded or scaled."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fitsim.scan.scan import Paint


class Raw(NamedTuple):
    """Arrays as a file holds them.

    Attributes
    ----------
    vertices : (n, 3) float64 array, file units; may hold NaN.
    triangles : (m, 3) int64 array; m = 0 for points.
    colours : (n, 3) uint8 array or None.
    normals : (n, 3) float64 array or None.
    notes : sentences for the user.
    paint : colours between the corners, or None.
    """

    vertices: NDArray[np.float64]
    triangles: NDArray[np.int64]
    colours: NDArray[np.uint8] | None = None
    normals: NDArray[np.float64] | None = None
    notes: tuple[str, ...] = ()
    paint: Paint | None = None


NO_TRIANGLES: NDArray[np.int64] = np.empty((0, 3), dtype=np.int64)


def joined(parts: Sequence[Raw]) -> Raw:
    """Lay several pieces into one; colours and normals stay only if every piece has them.

    Examples
    --------
    >>> import numpy as np
    >>> one = Raw(np.zeros((3, 3)), np.array([[0, 1, 2]]))
    >>> joined([one, one]).triangles.tolist()
    [[0, 1, 2], [3, 4, 5]]
    """
    if len(parts) == 1:
        return parts[0]
    starts = np.cumsum([0, *(len(part.vertices) for part in parts[:-1])])
    colours = [part.colours for part in parts if part.colours is not None]
    normals = [part.normals for part in parts if part.normals is not None]
    return Raw(
        np.concatenate([part.vertices for part in parts]),
        np.concatenate([part.triangles + s for part, s in zip(parts, starts, strict=True)]),
        np.concatenate(colours) if len(colours) == len(parts) else None,
        np.concatenate(normals) if len(normals) == len(parts) else None,
        tuple(dict.fromkeys(note for part in parts for note in part.notes)),
        _painted([part.paint for part in parts if part.paint is not None]),
    )


def _painted(paints: Sequence[Paint]) -> Paint | None:
    if not paints:
        return None
    return type(paints[0])(
        np.concatenate([paint.points for paint in paints]),
        np.concatenate([paint.colours for paint in paints]),
    )


def as_bytes(colours: NDArray[np.generic]) -> NDArray[np.uint8]:
    """Colours as bytes, whether they came as 0..255 or as 0..1.

    Examples
    --------
    >>> import numpy as np
    >>> as_bytes(np.array([[0.0, 0.5, 1.0]])).tolist()
    [[0, 128, 255]]
    """
    if colours.dtype == np.uint8:
        return np.asarray(colours, dtype=np.uint8)
    values = np.nan_to_num(np.asarray(colours, dtype=np.float64))
    scale = 255.0 if values.max(initial=0.0) <= 1.0 else 1.0
    return np.clip(np.rint(values * scale), 0, 255).astype(np.uint8)
