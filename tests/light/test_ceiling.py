"""What clipped regions show: codes made by hand, so the answers are known."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from glowkin.light.ceiling import at_ceiling
from glowkin.light.decode import open_photo
from glowkin.light.metadata import Metadata
from glowkin.light.photo import Photograph

BAYER = np.array([[0, 1], [1, 2]])
SQUARE = np.array([(10, 10), (89, 10), (89, 89), (10, 89)], dtype=float)


def raw(channels, noise=0.0):
    """A mosaic of 1000 codes above a black level of 100, cut at 1100; the left half may differ."""
    rng, codes = np.random.default_rng(0), np.zeros((100, 100), np.uint16)
    for channel, level in enumerate(channels):
        for i, j in np.argwhere(channel == BAYER):
            plane = np.broadcast_to(np.asarray(level, dtype=float), (50, 50))
            plane = 100 + 1000 * (plane + noise * rng.standard_normal((50, 50)))
            codes[i::2, j::2] = np.clip(np.round(plane), 0, 1100)
    return Photograph(
        Path("a.dng"), "", "raw", codes, 1089, Metadata(), (np.eye(3),), "camera",
        channels=BAYER, black=np.full((2, 2), 100.0), white=1100.0,
    )  # fmt: skip


def test_channels_at_the_ceiling_are_told_and_the_others_measured():
    seen = at_ceiling(raw((0.3, 1.7, 0.05)), [SQUARE])
    assert seen.clipped.tolist() == [[False, True, False]]
    assert seen.mean[0] == pytest.approx([0.3, 1.0, 0.05])


def test_only_cells_clipped_as_most_are_count():
    red = np.where(np.arange(50) < 15, 1.4, 0.4)  # a corner where red is clipped too
    green = np.where(np.arange(50) > 40, 0.6, 2.0)  # one where nothing is
    seen = at_ceiling(raw((red, green, 0.05)), [SQUARE])
    assert seen.clipped.tolist() == [[False, True, False]]
    assert seen.mean[0] == pytest.approx([0.4, 1.0, 0.05])


def test_the_error_of_the_unclipped_means_is_that_of_noise():
    seen = at_ceiling(raw((0.3, 1.7, 0.05), noise=0.01), [SQUARE])
    sd = np.sqrt(np.diag(seen.covariance[0]))
    # noise of red and blue cells over the root of their number; the factor for few blocks widens it
    assert sd[[0, 2]] == pytest.approx(2 * [0.01 / 40], rel=0.35)
    assert sd[1] == 0.0


def test_channels_of_a_developed_file_are_told_apart(jpeg_of):
    codes = np.empty((100, 100, 3), np.uint8)
    codes[:] = (255, 255, 120)
    photo = replace(open_photo(jpeg_of(np.zeros((100, 100, 3), np.uint8))), codes=codes)
    seen = at_ceiling(photo, [SQUARE])
    assert seen.clipped.tolist() == [[True, True, False]]
    # IEC 61966-2-1: ((120 / 255 + 0.055) / 1.055) ** 2.4
    assert seen.mean[0] == pytest.approx([1.0, 1.0, 0.18782], abs=1e-4)


def test_where_nothing_is_clipped_there_is_no_number():
    assert np.isnan(at_ceiling(raw((0.3, 0.4, 0.05)), [SQUARE]).mean).all()


def test_no_outline_no_rows():
    assert at_ceiling(raw((0.3, 0.4, 0.05)), []).mean.shape == (0, 3)
