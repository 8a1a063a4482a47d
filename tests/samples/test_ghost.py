"""Reflections in the lens: put on by hand, of any size, turned about the middle of the frame."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from glowkin.light.linear import Frame
from glowkin.samples.veil import fit_veil

H, W = 240, 320
BRIGHT, DIM = (1.0, 0.6, 0.2), (0.01, 0.02, 0.004)


def disc(x, y, r):
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    return np.array([x, y]) + r * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def pictured(size, share, dim_at):
    """A bright disc left of the middle, a dim one, and the bright one's ghost (also alone) of this size."""
    y, x = np.mgrid[:H, :W]
    linear = np.zeros((H, W, 3), np.float32)
    linear[np.hypot(x - 80, y - 110) < 24] = BRIGHT
    turn = np.array([[-size, 0, (1 + size) * (W - 1) / 2], [0, -size, (1 + size) * (H - 1) / 2]])
    ghost = share * cv2.GaussianBlur(cv2.warpAffine(linear, turn, (W, H)), (0, 0), 6.0)
    linear[np.hypot(x - dim_at[0], y - dim_at[1]) < 16] = DIM
    noise = 2e-5 * np.random.default_rng(1).standard_normal(linear.shape)
    return Frame((linear + ghost + noise).astype(np.float32), 1), ghost


@pytest.mark.parametrize("size", [1.0, 0.8, 1.15])
def test_a_ghost_is_taken_off_at_its_own_size_where_the_ground_shows_it(size):
    dim_at = (159.5 + size * 79.5 + 16, 119.5 + size * 9.5)  # the ghost's rim lies on it, the rest beside it
    frame, ghost = pictured(size, 0.004, dim_at)
    outlines = [disc(80, 110, 22), disc(*dim_at, 14)]
    truly = np.array(cv2.mean(ghost, frame.mask(outlines[1:]))[:3])
    taken, error = fit_veil(frame, outlines, outlines).ghost_on(1)
    assert taken == pytest.approx(truly, rel=0.5)
    assert (np.abs(taken - truly) < 2 * error).all()


@pytest.mark.parametrize("size", [1.0, 0.8, 0.65])
def test_a_ghost_that_lies_on_a_sample_only_is_carried_as_error(size):
    dim_at = (159.5 + size * 79.5, 119.5 + size * 9.5)
    frame, ghost = pictured(size, 0.0012, dim_at)
    outlines = [disc(80, 110, 22), disc(*dim_at, 26)]
    truly = np.array(cv2.mean(ghost, frame.mask(outlines[1:]))[:3])
    taken, error = fit_veil(frame, outlines, outlines).ghost_on(1)
    assert (np.abs(taken - truly) < 2 * error).all()


def test_where_the_ground_shows_that_there_is_none_little_is_carried():
    frame, _ = pictured(1.0, 0.0, (239, 40))
    outlines = [disc(80, 110, 22), disc(239, 40, 14)]
    taken, error = fit_veil(frame, outlines, outlines).ghost_on(1)
    assert taken.max() < 1e-5
    assert error.max() < 2e-5
