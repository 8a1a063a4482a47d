from __future__ import annotations

import cv2
import numpy as np
import pytest

from glowkin.light.decode import open_photo
from glowkin.light.linear import reduced
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph


@pytest.fixture
def photo_of(tmp_path):
    """A scene's photograph opened, and its known answers."""

    def make(scene, seed=0, suffix=".dng", exposure=None, brightest=0.6):
        shot = photograph(scene, default_camera(), np.random.default_rng(seed), exposure, brightest=brightest)
        write = write_dng if suffix == ".dng" else write_jpeg
        return open_photo(write(shot, tmp_path / f"shot{suffix}")), shot.truths

    return make


@pytest.fixture
def frame_of(photo_of):
    """The same, reduced."""

    def make(*args, **options):
        photo, truths = photo_of(*args, **options)
        return reduced(photo), truths

    return make


def mask(outline, size):
    out = np.zeros((size[1], size[0]), np.uint8)
    cv2.fillPoly(out, [np.round(np.asarray(outline)).astype(np.int32)], 1)
    return out
