"""Rough poses of views from a file: `--start`, described in docs/scan-files.md."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Final

import numpy as np

from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

_ROUND: Final = 0.05  # how far a rough pose may be from a proper motion: two decimals and some
_EXAMPLE: Final = 'write "T_top_left": four rows of four numbers'


def read_start(path: Path, names: Sequence[str]) -> list[NDArray[np.float64]]:
    """Read rough poses and chain them to the first view.

    Parameters
    ----------
    path : Path
        JSON whose keys ``T_target_source`` hold (4, 4) matrices, m; target and source are
        names of view files without their endings. Other keys are left alone.
    names : sequence of str
        Of the views, without endings, the first one first.

    Returns
    -------
    list of (4, 4) arrays
        T_first_view of each, as rough as they stand.

    Raises
    ------
    BadSettings
        If it cannot be read, a matrix is no motion, or a view is not reached.
    """
    known = {names[0]: np.eye(4)}
    links = _links(path, _read(path), names)
    while True:
        for (target, source), T in links.items():
            if target in known and source not in known:
                known[source] = known[target] @ T
            elif source in known and target not in known:
                known[target] = known[source] @ np.linalg.inv(T)
            else:
                continue
            break
        else:
            break
    for name in names:
        if name not in known:
            raise BadSettings(str(path.name), f"it does not say where {name} lies", _EXAMPLE)
    return [known[name] for name in names]


def _read(path: Path) -> dict[str, object]:
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise BadSettings(path.name, f"cannot be read ({reason})", "check its name") from error
    except (ValueError, RecursionError) as error:
        raise BadSettings(path.name, "it is not JSON", _EXAMPLE) from error
    if not isinstance(data, dict):
        raise BadSettings(path.name, "it holds no poses", _EXAMPLE)
    return data


def _links(
    path: Path, data: Mapping[str, object], names: Sequence[str]
) -> dict[tuple[str, str], NDArray[np.float64]]:
    """Matrices by target and source, of those keys that name two of the views."""
    keys = {f"T_{one}_{other}": (one, other) for one in names for other in names if one != other}
    return {
        keys[key]: rough_motion(f"{path.name}, {key}", rows)
        for key, rows in data.items()
        if key in keys
    }


def rough_motion(where: str, rows: object) -> NDArray[np.float64]:
    """Check that four rows of four numbers are a motion, but for rounding.

    Parameters
    ----------
    where : str
        File and place in it, for the sentence.
    rows : object
        As read from JSON.

    Returns
    -------
    (4, 4) array
        As it stands.

    Raises
    ------
    BadSettings
        If it has another shape, scales, mirrors, or is not finite.

    Examples
    --------
    >>> rough_motion("start.json, T_a_b", [[1, 2], [3, 4]])
    Traceback (most recent call last):
    fitsim.errors.BadSettings: start.json, T_a_b: is not four rows of four numbers; write ...
    """
    try:
        T = np.array(rows, dtype=np.float64)
    except (TypeError, ValueError):
        T = np.empty(0)
    if T.shape != (4, 4) or not np.isfinite(T).all():
        raise BadSettings(where, "is not four rows of four numbers", _EXAMPLE)
    turn = T[:3, :3]
    proper = np.abs(turn @ turn.T - np.eye(3)).max() < _ROUND and np.linalg.det(turn) > 0.0
    if not proper or not np.allclose(T[3], [0, 0, 0, 1]):
        raise BadSettings(where, "is no turn and shift", "give it in metres, without scaling")
    return T
