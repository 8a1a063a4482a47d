from __future__ import annotations

import numpy as np
import pytest

from glowkin.light.linear import Frame
from glowkin.light.region import Signals
from glowkin.samples.stray import KINDS, remove, surroundings

SCATTERED, THROWN = KINDS.index("scattered"), KINDS.index("thrown")
VIOLET = np.array([0.004, 0.001, 0.010])


def disc(x, y, r):
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    return np.array([x, y]) + r * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def frame(*spots, background=VIOLET, size=(240, 320)):
    """Even discs (x, y, radius, rgb) on an even background."""
    y, x = np.mgrid[: size[0], : size[1]]
    linear = np.broadcast_to(background, (*size, 3)).astype(np.float32).copy()
    for cx, cy, r, rgb in spots:
        linear[np.hypot(x - cx, y - cy) < r] = rgb
    return Frame(linear, 1)


def signals(*means):
    n = len(means)
    zero = np.zeros((n, 3, 3))
    return Signals(
        np.array(means), zero, zero, np.zeros(n), np.zeros((n, 3)), np.full(n, 40), np.full(n, 9.0)
    )


def test_the_colour_taken_off_is_that_of_the_dark_surroundings():
    picture = frame((100, 100, 20, (0.5, 0.3, 0.1)))
    stray = surroundings(picture, [disc(100, 100, 17)])
    level = stray.level[0]
    assert level / np.linalg.norm(level) == pytest.approx(VIOLET / np.linalg.norm(VIOLET), abs=1e-6)
    # the amount is left open: nothing at all and twice what is taken off are within a standard deviation
    assert stray.loadings[:, :, 0] == pytest.approx(stray.level)
    assert stray.loadings[:, :, 1:] == pytest.approx(np.zeros((1, 3, 3)), abs=1e-9)


def test_a_neighbour_throws_light_of_its_colour_that_falls_as_distance_squared():
    green = (0.1, 0.4, 0.1)
    near, far = (
        surroundings(
            frame((100, 100, 20, (0.5, 0.3, 0.1)), (x, 100, 20, green)),
            [disc(100, 100, 17), disc(x, 100, 17)],
        )
        for x in (180, 260)
    )
    thrown = near.loadings[0, :, THROWN]
    assert thrown / np.linalg.norm(thrown) == pytest.approx(np.array(green) / np.linalg.norm(green), abs=1e-2)
    assert thrown / far.loadings[0, :, THROWN] == pytest.approx(np.full(3, 4.0), rel=0.02)


def test_removal_takes_off_the_level_and_leaves_the_error_apart():
    picture = frame((100, 100, 20, (0.5, 0.3, 0.1)))
    stray = surroundings(picture, [disc(100, 100, 17)])
    seen = signals((0.5, 0.3, 0.1))
    emitted = remove(seen, stray)
    assert emitted.mean[0] == pytest.approx(np.array([0.5, 0.3, 0.1]) - stray.level[0])
    assert np.array_equal(emitted.covariance, seen.covariance)


def test_black_below_zero_adds_no_light():
    picture = frame((100, 100, 20, (0.5, 0.3, 0.1)), background=np.array([-1e-4, -1e-4, -1e-4]))
    assert (surroundings(picture, [disc(100, 100, 17)]).level >= 0).all()


def test_the_light_around_one_sample_is_its_own_affair():
    picture = frame(
        (100, 100, 60, VIOLET + 0.02), (100, 100, 20, (0.5, 0.3, 0.1)), (260, 100, 20, (0.5, 0.3, 0.1))
    )
    near, far = surroundings(picture, [disc(100, 100, 17), disc(260, 100, 17)]).loadings[:, :, SCATTERED]
    assert near == pytest.approx(np.full(3, 0.02), abs=2e-3)
    assert far == pytest.approx(np.zeros(3), abs=1e-8)


def test_an_outline_within_a_sample_keeps_its_light():
    picture = frame((150, 120, 60, (0.5, 0.3, 0.1)))
    whole, part = disc(150, 120, 54), disc(150, 120, 15)
    alone = surroundings(picture, [part], [whole])
    assert alone.loadings[0, :, SCATTERED] == pytest.approx(np.zeros(3), abs=1e-9)
    assert alone.level[0].max() < 0.05


@pytest.mark.parametrize("n", [0, 1])
def test_a_frame_full_of_sample_or_without_any_is_no_trouble(n):
    picture = frame((160, 120, 300, (0.2, 0.2, 0.2)))
    stray = surroundings(picture, [disc(160, 120, 110)] * n)
    assert stray.level.shape == (n, 3)
    assert np.isfinite(stray.level).all()
