"""Places along the bars that straps and loads are told by: so far behind the front end."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.tree import MountedBar, Tree

    Array = NDArray[np.float64]


def bar_length(tree: Tree) -> float:
    """Length of the bars from end to end, mean of the two, m.

    Parameters
    ----------
    tree : Tree
        Any tree.

    Returns
    -------
    float, m
    """
    return float(np.mean([bar.underside.front - bar.underside.rear for bar in tree.bars]))


def within_bar(behind_front: float, length: float, setting: str) -> float:
    """The place, once it is known to lie on the bar.

    Parameters
    ----------
    behind_front : float, m
        Along the bar, from its front end rearwards.
    length : float, m
        Of the bar.
    setting : str
        What it is called in the settings file.

    Returns
    -------
    float, m
        `behind_front`.

    Raises
    ------
    BadSettings
        It lies beyond an end of the bar.
    """
    if not 0.0 <= behind_front <= length:
        raise BadSettings(
            setting,
            f"{1e3 * behind_front:.0f} mm behind the front end is not on a bar that is "
            f"{1e3 * length:.0f} mm long",
            f"give a distance of 0 to {1e3 * length:.0f} mm",
        )
    return behind_front


def middle_line(bar: MountedBar, behind_front: float) -> Array:
    """Point on the underside's middle line, a distance behind the bar's front end.

    Parameters
    ----------
    bar : MountedBar
        One bar.
    behind_front : float, m
        Along the bar, from its front end rearwards.

    Returns
    -------
    (3,) array, m
        Tree frame.
    """
    inner, outer = _edges(bar, behind_front)
    return _on_face(bar, behind_front, 0.5 * (inner + outer))


def _edges(bar: MountedBar, behind_front: float) -> tuple[float, float]:
    """Lowest and highest eta of the bar's outline at a station, by linear interpolation, m."""
    face = bar.underside
    step = face.xi[1] - face.xi[0]
    xi = np.clip(face.front - behind_front, face.rear + step, face.front - step)
    inside = _row(face.inside, face.xi, float(xi))
    within = np.flatnonzero(inside > 0.0)
    if within.size == 0:  # a bar drawn to a point
        middle = float(face.eta[np.argmax(inside)])
        return middle, middle
    low, high = int(within[0]), int(within[-1])
    return _crossing(face.eta, inside, low, -1), _crossing(face.eta, inside, high, 1)


def _row(field: Array, xi: Array, at: float) -> Array:
    """One row of a (xi, eta) field, linear between the grid's rows."""
    place = np.clip((at - xi[0]) / (xi[1] - xi[0]), 0.0, len(xi) - 1.0)
    low = min(int(place), len(xi) - 2)
    return np.asarray((low + 1 - place) * field[low] + (place - low) * field[low + 1])


def _crossing(eta: Array, inside: Array, last: int, step: int) -> float:
    """Where the signed distance passes 0 beyond the last node inside."""
    beyond = last + step
    if not 0 <= beyond < len(eta):
        return float(eta[last])
    share = inside[last] / (inside[last] - inside[beyond])
    return float(eta[last] + share * (eta[beyond] - eta[last]))


def _on_face(bar: MountedBar, behind_front: float, eta: float) -> Array:
    face = bar.underside
    xi = face.front - behind_front
    zeta = float(np.interp(eta, face.eta, _row(face.height, face.xi, xi)))
    return np.asarray(bar.T_tree_bar[:3, :3] @ [xi, eta, zeta] + bar.T_tree_bar[:3, 3])
