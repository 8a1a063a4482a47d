"""Clipping and headroom, from codes set by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from glowkin.light.exposure import scale_use
from glowkin.light.metadata import Metadata
from glowkin.light.photo import Photograph

SQUARE = np.array([(10.0, 10.0), (89.0, 10.0), (89.0, 89.0), (10.0, 89.0)])
BAYER = np.array([[0, 1], [1, 2]])


def raw(red, green, blue):
    """A mosaic of 1000 codes above a black level of 100, each channel a number or an array of its places."""
    codes = np.zeros((100, 100), np.uint16)
    for channel, values in enumerate((red, green, blue)):
        for i, j in np.argwhere(channel == BAYER):
            codes[i::2, j::2] = np.minimum(np.round(100 + 1000 * np.asarray(values)), 1100)
    return Photograph(
        Path("a.dng"), "", "raw", codes, 1089, Metadata(), (np.eye(3),), "camera",
        channels=BAYER, black=np.full((2, 2), 100.0), white=1100.0,
    )  # fmt: skip


def test_headroom_is_the_stops_up_to_the_top():
    use = scale_use(raw(0.5, 0.25, 0.125), [SQUARE])
    assert use.peak[0] == pytest.approx([0.5, 0.25, 0.125])
    assert use.headroom_stops == pytest.approx([1, 2, 3], abs=0.03)


def test_each_channel_is_clipped_by_itself():
    use = scale_use(raw(0.5, 1.3, 0.2), [SQUARE])
    assert use.clipped[0].tolist() == [0.0, 1.0, 0.0]
    assert use.headroom_stops[1] == 0.0
    assert use.over_stops[0].tolist() == [0.0, np.inf, 0.0]


def test_how_far_the_brightest_pixels_pass_the_top_is_judged_from_the_rest():
    """Normal grain about 0.9: its quantile 0.999 lies 3.09 sigmas above."""
    grain = 0.9 + 0.1 * np.random.default_rng(1).standard_normal((50, 50))
    use = scale_use(raw(0.2, grain, 0.2), [SQUARE])
    assert 0.1 < use.clipped[0, 1] < 0.3
    assert use.over_stops[0, 1] == pytest.approx(np.log2((0.9 + 0.309) / 0.99), abs=0.05)


def test_no_sample_has_no_headroom():
    assert np.isnan(scale_use(raw(0.1, 0.1, 0.1), []).headroom_stops).all()
