"""Outlines drawn by hand, and outlines of other pictures."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from glowkin.base.errors import CannotMeasureError
from glowkin.light.metadata import Metadata
from glowkin.light.photo import Photograph
from glowkin.samples.drawn import drawn

PHOTO = Photograph(
    Path("a.png"), "", "rendered", np.zeros((300, 450, 3), np.uint8), 254, Metadata(), (np.eye(3),), "sRGB"
)
SQUARE = [(100, 100), (200, 100), (200, 200), (100, 200)]


def moved(ring, x, y, scale=1.0):
    return [(scale * (a + x), scale * (b + y)) for a, b in ring]


def test_outlines_are_taken_in_their_order():
    found = drawn([moved(SQUARE, 50, 0), SQUARE], PHOTO)
    assert [f.centre_px for f in found] == [(200.0, 150.0), (150.0, 150.0)]
    assert [f.area_px for f in found] == [10_000.0] * 2
    assert not any(f.at_edge for f in found)


def test_one_drawn_a_little_beyond_the_frame_is_of_a_sample_at_its_edge():
    (found,) = drawn([moved(SQUARE, -130, 0)], PHOTO)
    assert found.at_edge


@pytest.mark.parametrize(
    ("outline", "words"),
    [
        (
            moved(SQUARE, 500, 0),
            "outline 1 lies outside the photograph of 450 x 300 pixels, or half of",
        ),
        (moved(SQUARE, 310, 0), "lies outside .* pixels, x right, y down"),
        (moved(SQUARE, 0, 0, 4.0), "lies outside the photograph"),
        (moved(SQUARE, -170, -180), "lies outside the photograph"),
        (moved(SQUARE, 0, 0, 0.001), "outline 1 is only 0.1 x 0.1 pixels large; outlines are in pixels"),
        ([SQUARE[i] for i in (0, 2, 1, 3)], "outline 1 crosses itself; put its corners in order"),
    ],
)
def test_outlines_of_another_picture_or_scale_are_told(outline, words):
    with pytest.raises(CannotMeasureError, match=words):
        drawn([outline], PHOTO)


@pytest.mark.parametrize("n", [3, 5, 90, 2000])
def test_no_plain_ring_is_taken_for_one_that_crosses_itself(n):
    """Circles, stars and thin slivers, each its area by the plane's geometry."""
    angle = np.linspace(0, 2 * np.pi, n, endpoint=False)
    star = 60 * (1.0 + 0.5 * np.cos(5 * angle))
    for radius_x, radius_y in ((80, 80), (200, 2.5), (star, star), (3, 3)):
        ring = np.column_stack([220 + radius_x * np.cos(angle), 150 + radius_y * np.sin(angle)])
        assert len(drawn([ring.tolist()], PHOTO)) == 1
