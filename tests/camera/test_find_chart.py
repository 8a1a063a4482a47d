"""Finding the chart: turned, small, unevenly lit, and not where there is none."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from glowkin.camera.find_chart import find_corners
from glowkin.light.decode import open_photo
from glowkin.light.linear import reduced
from glowkin.scene.cameras import default_camera
from glowkin.scene.chart import ChartStand, photograph_chart
from glowkin.scene.dng import write_dng

SIZE = (864, 576)


def standing(turn_deg, size, lean=0.0):
    """Corners of a chart turned about the middle, its far side shorter by the lean."""
    square = np.array([(-1 + lean, -2 / 3), (1 - lean, -2 / 3), (1, 2 / 3), (-1, 2 / 3)]) * size * SIZE[0]
    a = np.deg2rad(turn_deg)
    R = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    return square @ R.T + np.array(SIZE) / 2


@pytest.mark.parametrize(
    ("turn", "size", "lean", "cct", "brightest"),
    [
        (0, 0.36, 0.0, 5600, 0.75),
        (25, 0.27, 0.08, 7500, 0.5),
        (-40, 0.22, 0.0, 4800, 0.9),
        (90, 0.2, 0.05, 6500, 0.3),
        (180, 0.34, -0.08, 5600, 0.7),
        (-95, 0.2, 0.0, 5000, 0.75),
    ],
)
def test_a_chart_is_found_however_it_stands(tmp_path, turn, size, lean, cct, brightest):
    corners = standing(turn, size, lean)
    stand = ChartStand(SIZE, cct, gradient=(0.12, -0.1), corners_px=tuple(map(tuple, corners)))
    shot = photograph_chart(default_camera(), np.random.default_rng(2), stand, brightest=brightest)
    found = find_corners(reduced(open_photo(write_dng(shot, tmp_path / "chart.dng"))))
    cell = np.linalg.norm(corners[1] - corners[0]) / 6
    assert np.abs(found - corners).max() < 0.12 * cell


def test_the_sample_chart_is_found_where_its_answers_say(root):
    import json

    known = json.loads((root / "sample_images" / "answers.json").read_text("utf-8"))["chart"]["corners_px"]
    found = find_corners(reduced(open_photo(root / "sample_images" / "chart.dng")))
    assert found == pytest.approx(np.array(known), abs=16)


def test_no_chart_is_seen_among_samples_or_in_noise(root):
    assert find_corners(reduced(open_photo(root / "sample_images" / "side_by_side.dng"))) is None


def test_a_real_photograph_of_a_chart_is_found_and_others_hold_none(shared_data):
    found = find_corners(reduced(open_photo(shared_data / "photos" / "chart24_camera_native_cast.png")))
    assert found is not None
    assert cv2.isContourConvex(found.astype(np.float32))
    for name in ("plastic_uv_light.jpg", "gel_blue_light_amber_filter.jpg"):
        assert find_corners(reduced(open_photo(shared_data / "photos" / Path(name)))) is None
