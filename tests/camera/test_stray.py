"""The part of a chromaticity's error that comes from stray light of unknown amount."""

from __future__ import annotations

import numpy as np
import pytest

from cameras import exact_camera
from glowkin.scene.cameras import LUTHER

EXACT = exact_camera(np.linalg.inv(LUTHER))
MEAN = np.array([[0.3, 0.5, 0.1]])


def spread(column, scale=1.0):
    stray = scale * np.array(column).reshape(1, 3, 1)
    return EXACT.infer(MEAN, np.zeros((1, 3, 3)), stray=stray).own[0]


def test_small_stray_light_is_carried_to_first_order():
    found = EXACT.infer(MEAN, np.zeros((1, 3, 3)))
    J = EXACT.jacobian(MEAN)[0] @ np.array([0.0, 0.0, 3e-3])
    assert np.trace(spread([0, 0, 3e-3]) - found.own[0]) == pytest.approx(J @ J, rel=0.25)


def test_stray_light_of_the_sample_s_own_colour_changes_nothing():
    assert spread(0.1 * MEAN[0]) == pytest.approx(spread(0 * MEAN[0]), rel=0.02)


def test_much_stray_light_reaches_as_far_as_adding_it_moves_the_colour():
    none, more = np.zeros((1, 3, 3)), MEAN + np.array([0, 0, 0.05])
    added = EXACT.infer(more, none).uv_prime - EXACT.infer(MEAN, none).uv_prime
    assert np.trace(spread([0, 0, 0.05])) > 0.5 * np.sum(added**2)


def test_more_stray_light_than_there_is_light_still_gives_a_finite_error():
    own = spread([0, 0, 1.0], 50.0)
    assert np.isfinite(own).all()
    assert np.linalg.eigvalsh(own).min() >= -1e-12
