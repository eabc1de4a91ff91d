"""The pictures: each place on the page shows the pressure of that place on the back."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.draw.bars import moved
from fitsim.draw.inferno import inferno
from fitsim.draw.layout import BOXES, REDUCE, SCALE, SIZE, VERDICT_ROOM, VERDICT_SIZES
from fitsim.draw.lettering import Pen, broken
from fitsim.draw.paint import canvas, painted_skin
from fitsim.draw.palette import FAINTEST, painted, pressure_map, scale_top
from fitsim.draw.sheet import draw_cases, region, shown_skin, top_of_scale
from fitsim.draw.stage import stage, tree_shape
from fitsim.draw.view import ABOVE, LEFT, QUARTER, RIGHT, views
from tests.build import small_fitset

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.study.fit import FitSet

TOP = 20_000.0


@pytest.fixture(scope="module")
def fitset() -> FitSet:
    return small_fitset()


def with_one_spot(fitset: FitSet, x: float, t: float) -> FitSet:
    """The set with one round spot of 15 kPa, 5 cm across, in its first case and no tree near it."""
    chart = fitset.back.chart
    away = np.hypot(chart.x[:, None] - x, chart.t[None, :] - t)[chart.valid]
    name, fit = next(iter(fitset.fits.items()))
    rest = replace(
        fit.equilibrium,
        pressure=15_000.0 * np.clip(1.5 - away / 0.025, 0.0, 1.0),
        bar=np.zeros_like(fit.equilibrium.bar),
        T_body_tree=np.eye(4) + 5.0 * np.eye(4, k=3),
    )
    return replace(fitset, fits={name: replace(fit, equilibrium=rest)})


# Places that each view looks at, and that are neither on a zone's outline nor mirrored onto
# themselves: a picture flipped along or across would show them elsewhere.
@pytest.mark.parametrize(
    ("view_name", "x", "t"),
    [(ABOVE, -0.40, 0.07), (ABOVE, -0.12, -0.09), (LEFT, -0.25, 0.22), (RIGHT, -0.25, -0.22),
     (QUARTER, -0.15, 0.12)],
)  # fmt: skip
def test_a_spot_is_seen_where_it_presses(
    fitset: FitSet, view_name: str, x: float, t: float
) -> None:
    spotted = with_one_spot(fitset, x, t)
    (fit,) = spotted.fits.values()
    chart, space = spotted.back.chart, region(fitset)
    seen = views(space.lowest, space.highest, BOXES)
    skin = canvas(spotted.back)
    body = spotted.tree.vertices, spotted.tree.triangles
    with stage(chart, skin.line.shape, body, seen, scale=SCALE, reduce=REDUCE) as on:
        shape = tree_shape(on, moved(fit.equilibrium.T_body_tree, spotted.tree.vertices))
        mosaic = shown_skin(painted_skin(skin, fit.equilibrium, TOP), on.place, shape)
    view = next(one for one in seen if one.name == view_name)
    row, column = np.argmin(np.abs(chart.x - x)), np.argmin(np.abs(chart.t - t))
    place = view.page(chart.points[row, column])[0] + view.box[:2]
    colour = np.asarray(
        mosaic.getpixel(tuple(np.round(place * SCALE).astype(int).tolist())), dtype=int
    )
    expected = pressure_map()[round(255 * 15_000.0 / TOP)].astype(int)
    # The middle of the spot is flat over two nodes each way: only rounding is left.
    np.testing.assert_allclose(colour, expected, atol=3)


def test_what_does_not_hold_is_not_coloured(fitset: FitSet) -> None:
    fit = next(iter(fitset.fits.values()))
    skin = canvas(fitset.back)
    lost = replace(fit.equilibrium, found=False, leaves="tips forward")
    np.testing.assert_array_equal(painted_skin(skin, lost, TOP), skin.bare)
    assert np.any(painted_skin(skin, fit.equilibrium, TOP) != skin.bare)


def test_hide_shows_below_the_faintest_pressure() -> None:
    _, cover = painted(np.array([0.0, FAINTEST, 2 * FAINTEST, 50_000.0]), TOP)
    np.testing.assert_allclose(cover, [0, 0, 1, 1])


def test_the_map_is_the_published_one() -> None:
    from matplotlib import colormaps

    np.testing.assert_array_equal(
        inferno(), np.round(255 * colormaps["inferno"](range(256))[:, :3])
    )


def test_the_map_darkens_evenly() -> None:
    # Perceived lightness, CIE 1976 (L* of the map's luminance): never rises, and no step of the
    # 255 takes more than 1 of its 100, so that no false edge is seen.
    linear = (pressure_map() / 255.0) ** 2.2
    luminance = linear @ [0.2126, 0.7152, 0.0722]
    lightness = 116 * np.cbrt(np.maximum(luminance, 0.0089)) - 16
    steps = np.diff(lightness)
    assert steps.max() <= 0.2  # rounding to 8 bits
    assert steps.min() > -1.0
    assert lightness[0] - lightness[-1] > 75


@pytest.mark.parametrize("factor", [0.1, 1.0, 3.7, 40.0])
def test_the_scale_grows_with_pressure_and_holds_what_is_usual(factor: float) -> None:
    peak, usual = 30e3 * factor, 18e3 * factor
    assert scale_top(peak, usual) >= usual
    assert scale_top(2 * peak, 2 * usual) >= scale_top(peak, usual)


def test_one_picture_per_case_in_any_unit(tmp_path: Path) -> None:
    from PIL import Image

    lost = small_fitset(unstable=("front",))
    lost = replace(lost, fits={name: lost.fits[name] for name in ("front", "both")})
    for system in ("metric", "inch"):
        files = draw_cases(lost, tmp_path, system=system)
        assert list(files) == list(lost.fits)
        for name, file in files.items():
            assert file.name == f"{name}.png"
            with Image.open(file) as picture:
                assert picture.size == tuple(round(s * SCALE / REDUCE) for s in SIZE)
                assert np.asarray(picture).std() > 10


def test_all_cases_share_one_scale(fitset: FitSet) -> None:
    alone = [top_of_scale(replace(fitset, fits={name: fit})) for name, fit in fitset.fits.items()]
    assert top_of_scale(fitset) == max(alone)


def test_left_is_left_and_the_head_is_where_the_arrow_says(fitset: FitSet) -> None:
    space = region(fitset)
    seen = {view.name: view for view in views(space.lowest, space.highest, BOXES)}
    rear_left, front_right = np.array([-0.4, 0.1, 0.0]), np.array([0.1, -0.1, 0.0])

    def right_and_down(name: str) -> tuple[bool, bool]:
        a, b = seen[name].page(np.stack([rear_left, front_right]))
        return bool(b[0] > a[0]), bool(b[1] > a[1])

    assert right_and_down(ABOVE) == (True, False)  # animal's right on the right, head up
    assert right_and_down(LEFT)[0] is False  # head on the left
    assert right_and_down(RIGHT)[0] is True  # head on the right


def test_a_long_verdict_keeps_off_the_views() -> None:
    from PIL import Image

    pen = Pen(Image.new("RGB", (10, 10)), SCALE)
    # The longest four sentences there are, one finding after the other, with two-digit numbers.
    said = (
        "Load along the bar: 36 % front, 37 % middle, 27 % rear. The front right tip lifts 23 mm. "
        "45 % of the load is on the shoulder blades. The right bar bridges: a gap 12 mm deep in "
        "its middle."
    )
    size, lines = broken(pen, said, VERDICT_ROOM, VERDICT_SIZES)
    assert " ".join(lines) == said
    assert len(lines) == 2
    assert all(pen.width(line, size) <= VERDICT_ROOM for line in lines)
    assert broken(pen, "Neither end lifts.", VERDICT_ROOM, VERDICT_SIZES)[0] == VERDICT_SIZES[0]
