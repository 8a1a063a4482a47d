from __future__ import annotations

import cv2
import numpy as np
import pytest

from glowkin.light.linear import Frame
from glowkin.light.region import Signals
from glowkin.samples.slope import amount
from glowkin.samples.stray import remove, surroundings

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
    assert stray.loadings[:, :, 1:] == pytest.approx(np.zeros((1, 3, 6)), abs=1e-9)


def veiled(*spots, share=0.01, width=25.0, **options):
    """The same with a share of its light spread over it."""
    picture = frame(*spots, **options)
    spread = cv2.GaussianBlur(picture.linear, (0, 0), width, borderType=cv2.BORDER_CONSTANT)
    return Frame(picture.linear + np.float32(share) * spread, 1)


def test_a_neighbours_veil_is_taken_off_in_the_neighbours_colour():
    green, size = (0.1, 0.4, 0.1), (240, 320)
    picture = veiled((100, 120, 25, (0.02, 0.01, 0.002)), (190, 120, 25, green), background=0 * VIOLET)
    alone = cv2.GaussianBlur(frame((190, 120, 25, green), background=0 * VIOLET).linear, (0, 0), 25.0)
    truly = 0.01 * cv2.mean(alone, frame().mask([disc(100, 120, 22)]))[1]
    assert picture.linear.shape[:2] == size
    level = surroundings(picture, [disc(100, 120, 22), disc(190, 120, 22)]).level[0]
    assert level[1] == pytest.approx(truly, rel=0.5)
    assert level / np.linalg.norm(level) == pytest.approx(np.array(green) / np.linalg.norm(green), abs=0.05)


def test_the_amount_of_a_neighbours_light_is_told_by_the_samples_own_gradient():
    """Powder that sends back 12 times what the ground shows: its blocks tell, the ground cannot."""
    own, green = np.array([0.02, 0.01, 0.002]), np.array([0.1, 0.4, 0.1])
    x, y = (v.ravel() for v in np.meshgrid(np.arange(7.0), np.arange(7.0)))
    pattern = np.exp(-(6 - x) / 3)[:, None] * 1e-4 * green
    rng = np.random.default_rng(1)
    brightness = 1 + 0.1 * rng.standard_normal((49, 1))
    seen = brightness * own + 12 * pattern + 2e-6 * rng.standard_normal((49, 3))
    q, error = amount(np.column_stack([x, y, np.full(49, 100.0), seen]), pattern, 1.0, 8.0)
    assert q == pytest.approx(12.0, abs=3 * error)
    assert error < 1.0


def blocks_of(picture, outline, size=6):
    """Blocks of a sample: x, y, cells, RGB."""
    inside, rows = picture.mask([outline]), []
    for y in range(0, inside.shape[0], size):
        for x in range(0, inside.shape[1], size):
            box = np.s_[y : y + size, x : x + size]
            if inside[box].all():
                middle = (x + (size - 1) / 2, y + (size - 1) / 2)
                rows.append((*middle, size**2, *picture.linear[box].mean(axis=(0, 1))))
    return np.array(rows)


def test_a_reflection_in_the_lens_on_half_of_a_sample_is_taken_off():
    """A share of 0.002 of a bright sample, turned about the middle of the frame, meets half of a dim one."""
    dim, green = np.array([0.02, 0.01, 0.002]), np.array([0.1, 0.4, 0.1])
    picture = veiled((100, 120, 25, dim), (245, 120, 25, green), background=0 * VIOLET, share=0.01)
    bright = frame((245, 120, 25, green), background=0 * VIOLET).linear
    ghost = 0.002 * cv2.GaussianBlur(bright[::-1, ::-1], (0, 0), 6.0)
    picture = Frame(picture.linear + ghost.astype(np.float32), 1)
    outlines = [disc(100, 120, 22), disc(245, 120, 22)]
    stray = surroundings(picture, outlines, patches=[blocks_of(picture, o) for o in outlines])
    truly = cv2.mean(ghost + 0.01 * cv2.GaussianBlur(bright, (0, 0), 25.0), picture.mask(outlines[:1]))[:3]
    assert truly[1] > 0.2 * 0.002 * green[1]
    assert stray.level[0] == pytest.approx(truly, rel=0.25)


def test_a_pattern_that_tells_nothing_leaves_the_amount_as_it_was_believed():
    x, y = (v.ravel() for v in np.meshgrid(np.arange(7.0), np.arange(7.0)))
    seen = np.tile([0.02, 0.01, 0.002], (49, 1)) * (1 + 0.1 * np.sin(x + y))[:, None]
    blocks = np.column_stack([x, y, np.full(49, 100.0), seen])
    even = np.full((49, 3), 1e-12)
    q, error = amount(blocks, even, 1.0, 8.0)
    assert (q, error) == pytest.approx((1.0, 8.0), rel=0.05)
    assert amount(blocks[:3], even[:3], 1.0, 8.0) == (1.0, 8.0)


WHITE = np.array([0.8, 1.0, 0.7])
PAPER = np.array([0.06, 0.26, 1.0])  # of white, an invented camera's answer to a glow near 440 nm
LAMP = np.array([0.14, 0.11, 1.0])  # of white, median of 26 measured cameras at 405 nm
GEL = np.array([0.8, 1.0, 0.02])  # of white, green light behind an amber filter (invented)
ROOM = np.array([1.9, 1.0, 0.72])  # of white, median of the same for a warm white lamp


@pytest.mark.parametrize(
    ("light", "room"), [(LAMP, False), (PAPER, False), (GEL, False), (ROOM, True), (LAMP + 0.3 * ROOM, True)]
)
def test_room_light_is_told_from_lamp_violet_and_from_ground_that_glows(light, room):
    picture = frame((100, 100, 20, (0.5, 0.3, 0.1)), background=0.003 * WHITE * light)
    stray = surroundings(picture, [disc(100, 100, 17)], white=WHITE)
    found = stray.of("room")[0, :, 0]
    assert bool(found.max() > 0) is room
    if room:
        share = light - (LAMP if light is not ROOM else 0)
        ratio = found / WHITE / share
        assert ratio[0] == pytest.approx(ratio[1], rel=0.35)


def test_a_channel_cut_at_zero_in_the_dark_ground_is_an_error_of_its_own():
    """Lamp violet lies outside sRGB: its green is negative there, and the file holds zero."""
    violet = np.array([0.0012, 0.0, 0.008])
    picture = frame((100, 100, 20, (0.5, 0.3, 0.1)), background=violet)
    rendered = Frame(picture.linear, 1, faintest=0.0018)
    stray = surroundings(rendered, [disc(100, 100, 17)])
    assert stray.of("cut")[0, :, 0] == pytest.approx([0, stray.of("cut")[0, 1, 0], 0])
    assert stray.of("cut")[0, 1, 0] > 0
    assert stray.level[0, 1] < 0
    assert not surroundings(picture, [disc(100, 100, 17)]).of("cut").any()


def test_black_ground_in_a_long_exposure_bounds_what_neighbours_throw():
    """White powder sends back 0.4-0.9 of light, black cloth 0.02-0.06 (common practice, no source): at most
    some 20 times the half code that the ground does not show, whatever the pattern's own error of 0.6 adds.
    """
    picture = frame(
        (100, 120, 25, (4e-4, 2e-4, 1e-4)), (190, 120, 25, (0.8, 0.5, 0.1)), background=0 * VIOLET
    )
    outlines = [disc(100, 120, 22), disc(190, 120, 22)]
    wide, narrow = (
        surroundings(Frame(picture.linear, 1, faintest=f), outlines).of("neighbours")[0].max()
        for f in (1.8e-3, 1.8e-3 / 256)
    )
    assert 0 < narrow <= 20 * 1.8e-3 / 256 / 12 * np.hypot(1.0, 0.6)
    assert wide > 10 * narrow


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
    near, far = surroundings(picture, [disc(100, 100, 17), disc(260, 100, 17)]).of("around")[:, :, 0]
    assert near == pytest.approx(np.full(3, 0.02), abs=5e-3)
    assert far == pytest.approx(np.zeros(3), abs=1e-3)


def test_an_outline_within_a_sample_keeps_its_light():
    picture = frame((150, 120, 60, (0.5, 0.3, 0.1)))
    whole, part = disc(150, 120, 54), disc(150, 120, 15)
    alone = surroundings(picture, [part], [whole])
    assert alone.of("neighbours")[0, :, 0] == pytest.approx(np.zeros(3), abs=1e-9)
    assert alone.level[0].max() < 0.05


@pytest.mark.parametrize("n", [0, 1])
def test_a_frame_full_of_sample_or_without_any_is_no_trouble(n):
    picture = frame((160, 120, 300, (0.2, 0.2, 0.2)))
    stray = surroundings(picture, [disc(160, 120, 110)] * n)
    assert stray.level.shape == (n, 3)
    assert np.isfinite(stray.level).all()
