"""Two trees against each other: what was changed is what the map shows."""

from __future__ import annotations

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from fitsim.draw.undersides import undersides
from fitsim.errors import BadSettings
from fitsim.tree.adjust import adjusted
from fitsim.tree.against import against
from fitsim.tree.read import read_tree


def test_a_pocket_shows_where_and_as_deep_as_it_is() -> None:
    tree = read_tree("riding-middle")
    pocket = {"at": 0.14, "across": 0.0, "length": 0.06, "width": 0.05, "depth": 0.005}
    hollow = adjusted(tree, {"bar.pocket": (pocket,)}, spacing=0.004)
    found = against(adjusted(tree, {}, spacing=0.004), hollow)
    for side, lower in enumerate(found.lower):
        row, column = np.unravel_index(np.nanargmin(lower), lower.shape)
        face = found.tree.bars[side].underside
        assert face.front - face.xi[row] == pytest.approx(0.14, abs=0.003)
        assert face.eta[column] == pytest.approx(0.0, abs=0.003)
        # The rest settles a little lower for it: less than the pocket's mean over the bar.
        assert lower[row, column] == pytest.approx(-0.005, abs=0.3e-3)
    assert not np.isnan(found.lower[0]).all()


def test_turned_about_the_signs_turn_about() -> None:
    one, two = (
        adjusted(read_tree(name), {}, spacing=0.004) for name in ("riding-middle", "riding-flat")
    )
    there, back = against(one, two), against(two, one)
    assert there.rms == pytest.approx(back.rms, rel=0.05)
    # Each is weighed over its own grid, and flares differ by much where one overhangs.
    assert there.pitch == pytest.approx(-back.pitch, rel=0.3)
    # A straighter bar's middle is farther from the back, and the other one's nearer, as much.
    values = [
        np.nanmean(one.lower[0][np.abs(one.tree.bars[0].underside.xi) < 0.05])
        for one in (there, back)
    ]
    assert values[0] < -0.002
    assert values[0] == pytest.approx(-values[1], rel=0.2)  # not quite the same ground


def test_both_sides_of_a_tree_are_alike() -> None:
    found = against(read_tree("riding-middle"), read_tree("riding-short"))
    left, right = found.lower
    assert np.nanmax(np.abs(left - right[:, ::-1])) < 1e-9


def test_picture_is_one() -> None:
    found = against(read_tree("riding-middle"), read_tree("pack-fixed"))
    picture = np.asarray(Image.open(BytesIO(undersides(found))).convert("RGB"))
    assert picture.shape == (960, 1650, 3)
    assert picture.std() > 20.0


def test_trees_that_do_not_meet_are_refused() -> None:
    tree = read_tree("riding-middle")
    wide = adjusted(tree, {f"arches.{end}.spread": 0.40 for end in ("front", "rear")})
    with pytest.raises(BadSettings, match="does not lie over"):
        against(tree, wide)
