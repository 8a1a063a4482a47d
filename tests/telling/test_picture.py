"""The annotated photograph and the swatches."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from glowkin.telling.drawing import png
from glowkin.telling.picture import annotated_photograph, screen_colour, swatches, to_preview


def test_outlines_land_on_the_samples_of_a_smaller_picture(photos, picture):
    """The third sample is centred at (3100, 900) of 4000 x 3000, its glow at (620, 180) of 800 x 600."""
    fig = annotated_photograph(photos[0], picture)
    white = [k for k in fig.axes[0].lines if k.get_color() == "white"][2]
    assert white.get_xydata()[:-1].mean(axis=0) == pytest.approx((619.6, 179.6), abs=0.01)


def test_pixel_centres_map_to_pixel_centres():
    # Four pixels become one: the centre of 0..3 is 1.5, the centre of the one pixel is 0.
    assert to_preview(np.array([[1.5, 1.5]]), 0.25) == pytest.approx(np.zeros((1, 2)))


def test_the_picture_itself_is_what_is_shown(photos, picture):
    bare = replace(photos[0], samples=())
    shown = np.asarray(Image.open(io.BytesIO(png(annotated_photograph(bare, picture), 100))).convert("RGB"))
    assert shown.shape[1] / shown.shape[0] == pytest.approx(4 / 3, rel=0.03)
    assert shown.mean() == pytest.approx(picture.mean(), rel=0.1)


def test_names_in_the_picture_do_not_overlap(photos, picture):
    fig = annotated_photograph(photos[0], picture)
    fig.draw_without_rendering()
    boxes = [t.get_window_extent() for t in fig.axes[0].texts]
    assert len(boxes) == 7
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[:i])


@pytest.mark.parametrize(
    ("xy", "inside"),
    [
        ((0.3127, 0.3290), True),  # the white of IEC 61966-2-1
        ((0.62, 0.335), True),
        ((0.16, 0.075), True),
        ((0.30, 0.59), True),
        ((0.7080, 0.2920), False),  # ITU-R BT.2020 primaries lie outside the sRGB triangle
        ((0.1700, 0.7970), False),
        ((0.1310, 0.0460), False),
    ],
)
def test_the_gamut_is_the_triangle_of_srgb(xy, inside):
    rgb, shown = screen_colour(*xy)
    assert shown is inside
    assert 0.98 <= max(rgb) <= 1
    assert min(rgb) >= 0


def test_white_is_shown_white():
    assert screen_colour(0.3127, 0.3290)[0] == pytest.approx((0.991,) * 3, abs=0.01)


def test_swatches_say_where_they_are_not_true(photos):
    inside = replace(photos[0].samples[0], name="pale", x=0.35, y=0.36)
    fig = swatches(replace(photos[0], samples=(*photos[0].samples[2:3], inside)))
    words = [t.get_text() for t in fig.axes[0].texts]
    hatched = [p for p in fig.axes[0].patches if p.get_hatch()]
    assert words == [
        "green form",
        "outside this screen's gamut:\nshown desaturated",
        "pale",
        "inside this screen's gamut (sRGB)",
    ]
    assert len(hatched) == 1


def test_samples_without_a_colour_have_no_swatch(photos):
    fig = swatches(replace(photos[0], samples=photos[0].samples[-1:]))
    assert [t.get_text() for t in fig.axes[0].texts] == ["No sample has a colour to show."]
