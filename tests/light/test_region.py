from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.light.decode import open_photo
from glowkin.light.linear import Window
from glowkin.light.region import few_blocks_factor, outline_mask, region_means
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph


def square(left, top, right, bottom):
    return np.array([(left, top), (right, top), (right, bottom), (left, bottom)], dtype=float)


@pytest.fixture
def raw(tmp_path, shot):
    """A raw photograph whose codes can be replaced."""
    return open_photo(write_dng(shot, tmp_path / "a.dng"))


@pytest.fixture
def rendered(jpeg_of):
    """A rendered photograph whose codes can be replaced."""
    return open_photo(jpeg_of(np.zeros((200, 300, 3), np.uint8)))


def with_codes(photo, codes):
    return replace(photo, codes=np.ascontiguousarray(codes))


def test_an_outline_covers_the_pixels_whose_centres_it_holds(rendered):
    mask, window = outline_mask(rendered, square(10, 20, 14, 22))
    assert (window, mask.shape) == (Window(10, 20, 15, 23), (3, 5))
    assert mask.all()


def test_an_outline_on_a_raw_file_is_in_pixels_of_the_mosaic(raw):
    mask, window = outline_mask(raw, square(20, 40, 29, 45))
    assert (window.left, window.top) == (9, 19)
    inside = np.argwhere(mask) + np.array([window.top, window.left])
    assert inside.min(axis=0) == pytest.approx([20, 10], abs=1)
    assert inside.max(axis=0) == pytest.approx([22, 14], abs=1)


def test_an_outline_reaching_out_of_the_frame_is_cut(rendered):
    mask, window = outline_mask(rendered, square(-50, -50, 9, 9))
    assert window == Window(0, 0, 10, 10)
    assert mask.all()


def test_the_mean_is_that_of_linear_light_not_of_codes(rendered):
    codes = np.zeros((200, 300, 3), np.uint8)
    codes[:, ::2] = 200
    mean = region_means(with_codes(rendered, codes), [square(0, 0, 299, 199)]).mean[0]
    # half the pixels at code 200: sRGB (IEC 61966-2-1) gives ((200/255 + 0.055) / 1.055)^2.4
    assert mean == pytest.approx(np.full(3, 0.5 * ((200 / 255 + 0.055) / 1.055) ** 2.4), rel=1e-5)


def test_clipped_pixels_and_their_neighbours_never_enter_a_mean(rendered, scatter_alone):
    codes = np.full((200, 300, 3), 100, np.uint8)
    codes[50:60, 50:60] = 255
    codes[48:62, 48:62][codes[48:62, 48:62] == 100] = 180  # what demosaicing and compression bend
    signals = region_means(with_codes(rendered, codes), [square(20, 20, 120, 120)])
    assert signals.mean[0] == pytest.approx(rendered.curves[100].astype(float), rel=1e-6)
    assert signals.clipped[0] == pytest.approx(14**2 / 101**2)


def test_the_error_of_an_even_rendered_region_is_that_of_coding(rendered):
    """No scatter at all, and yet eight bits leave the sd of rounding: 1/sqrt(12) code (GUM 4.3.7)."""
    codes = np.full((200, 300, 3), 100, np.uint8)
    signals = region_means(with_codes(rendered, codes), [square(20, 20, 120, 120)])
    step = np.diff(rendered.curves[99:102].astype(float), axis=0).mean(axis=0)
    sd = np.sqrt(np.diag(signals.covariance[0])) / step
    assert (sd >= 1 / np.sqrt(12)).all()
    assert (sd <= 0.5).all()


@pytest.mark.parametrize("channel", [0, 1, 2])
def test_one_clipped_channel_excludes_the_pixel_in_all(rendered, channel):
    codes = np.full((200, 300, 3), 100, np.uint8)
    codes[:, 100:, channel] = 252
    signals = region_means(with_codes(rendered, codes), [square(20, 20, 180, 180)])
    assert signals.mean[0] == pytest.approx(rendered.curves[100].astype(float), rel=1e-6)
    assert 0.4 < signals.clipped[0] < 0.6


def test_a_clipped_raw_cell_is_left_out(raw):
    codes = np.full(raw.codes.shape, 3000, np.uint16)
    codes[40:60, 40:60] = raw.clip
    signals = region_means(with_codes(raw, codes), [square(20, 20, 120, 120)])
    expected = (3000 - raw.black[0, 0]) / (raw.white - raw.black[0, 0])
    assert signals.mean[0] == pytest.approx(np.full(3, expected), rel=1e-6)


@pytest.mark.parametrize("left", [0, 3, 6])
def test_where_too_little_is_left_the_answer_is_not_a_number(rendered, left):
    """A corner of the sample within one block tells no scatter, so no covariance: no colour either."""
    codes = np.full((200, 300, 3), 255, np.uint8)
    codes[100 : 100 + left, 100 : 100 + left] = 90
    signals = region_means(with_codes(rendered, codes), [square(20, 20, 280, 180)])
    assert np.isnan(signals.mean).all()
    assert np.isnan(signals.covariance).all()
    assert signals.clipped[0] > 0.99


def test_no_outline_no_rows(rendered):
    signals = region_means(rendered, [])
    assert signals.mean.shape == (0, 3)
    assert signals.covariance.shape == (0, 3, 3)


def test_channels_at_zero_are_counted(rendered):
    codes = np.full((200, 300, 3), 100, np.uint8)
    codes[:, :150, 2] = 0
    signals = region_means(with_codes(rendered, codes), [square(100, 20, 199, 179)])
    assert signals.at_zero[0] == pytest.approx([0, 0, 0.5], abs=0.06)


def test_the_factor_for_few_blocks_is_hotellings():
    # scipy's F distribution as reference; T-squared of Hotelling 1931 tends to chi-square
    from scipy.stats import f

    for n in (4, 10, 48):
        expected = 2 * (n - 1) / (n - 2) * f.ppf(0.95, 2, n - 2) / CHI2_95_2D
        assert few_blocks_factor(n) == pytest.approx(expected)
    assert few_blocks_factor(100_000) == pytest.approx(1, abs=1e-3)


def coverage(draw, outline, truth, n, project):
    """Share of n photographs whose 95 % region, after projection to two components, holds the truth."""
    held = 0
    for seed in range(n):
        signals = region_means(draw(np.random.default_rng(seed)), [outline])
        error = project @ (signals.mean[0] - truth)
        held += error @ np.linalg.solve(project @ signals.covariance[0] @ project.T, error) <= CHI2_95_2D
    return held / n


@pytest.fixture
def scatter_alone(monkeypatch):
    """The error of coding left out, to look at block variance by itself."""
    monkeypatch.setattr("glowkin.light.region._CODE_SD", 0.0)


TWO = np.array([[1.0, -0.6, 0.1], [0.2, 0.5, -1.0]])
"""Any two components will do: u'v' are two."""


@pytest.mark.parametrize("side", [24, 60, 150], ids=["few cells", "some", "many"])
def test_95_percent_regions_of_a_noisy_raw_mean_hold_the_truth(raw, side):
    """Between 92 and 98 % of 400: four standard deviations of the count are 4.4 %."""
    level = np.array([[1200.0, 2500.0], [2500.0, 900.0]])
    shape = raw.codes.shape
    mean = np.tile(level, (shape[0] // 2, shape[1] // 2))

    def draw(rng):
        return with_codes(raw, np.rint(mean + 12 * rng.standard_normal(shape)).astype(np.uint16))

    black, full = raw.black[0, 0], raw.white - raw.black[0, 0]
    truth = (np.array([1200.0, 2500.0, 900.0]) - black) / full
    assert 0.92 <= coverage(draw, square(5, 5, 5 + side, 5 + min(side, 140)), truth, 400, TWO) <= 0.985


def test_95_percent_regions_hold_where_neighbouring_pixels_are_correlated(rendered, scatter_alone):
    """Noise smoothed as demosaicing does it, and rounded codes far apart, so that rounding averages out."""
    import cv2

    truth = rendered.curves[(90, 140, 60), (0, 1, 2)].astype(float)
    inverse = np.interp

    def draw(rng):
        noise = cv2.GaussianBlur(rng.standard_normal((200, 300, 3)).astype(np.float32), (0, 0), 1.2)
        light = truth * (1 + 0.25 * noise)
        codes = np.stack(
            [inverse(light[..., c], rendered.curves[:, c], np.arange(256.0)) for c in range(3)], axis=2
        )
        return with_codes(rendered, np.rint(codes).astype(np.uint8))

    assert 0.92 <= coverage(draw, square(20, 20, 180, 180), truth, 200, TWO) <= 0.985


def test_95_percent_regions_hold_through_chroma_subsampling(tmp_path, scatter_alone):
    """JPEG 4:2:0 of broad noise; the truth is what a long average over many files tends to."""
    rng = np.random.default_rng(11)
    outline = square(20, 20, 180, 180)
    signals = []
    for _ in range(150):
        codes = np.clip(np.rint((90, 140, 60) + 18 * rng.standard_normal((200, 200, 3))), 0, 255)
        Image.fromarray(codes.astype(np.uint8)).save(tmp_path / "a.jpg", quality=92, subsampling=2)
        signals.append(region_means(open_photo(tmp_path / "a.jpg"), [outline]))
    truth = np.mean([s.mean[0] for s in signals], axis=0)
    m2 = []
    for s in signals:
        error = TWO @ (s.mean[0] - truth)
        m2.append(error @ np.linalg.solve(TWO @ s.covariance[0] @ TWO.T, error))
    assert 0.90 <= np.mean(np.array(m2) <= CHI2_95_2D) <= 0.995


def test_strips_make_no_difference(rendered, monkeypatch):
    rng = np.random.default_rng(2)
    photo = with_codes(rendered, rng.integers(20, 200, (200, 300, 3)).astype(np.uint8))
    whole = region_means(photo, [square(5, 5, 290, 190)])
    monkeypatch.setattr("glowkin.light.region._STRIP", 16)
    strips = region_means(photo, [square(5, 5, 290, 190)])
    assert strips.mean == pytest.approx(whole.mean, rel=1e-9)
    assert strips.covariance == pytest.approx(whole.covariance, rel=1e-6)


def test_the_scene_of_a_known_camera_comes_back(tmp_path, scene):
    camera = default_camera()
    shot = photograph(scene, camera, np.random.default_rng(1), brightest=0.6)
    photo = open_photo(write_dng(shot, tmp_path / "a.dng"))
    outlines = [0.6 * (np.array(t.outline_px) - t.centre_px) + t.centre_px for t in shot.truths]
    signals = region_means(photo, outlines)
    exposure = camera.throughput_e * shot.exposure.relative / camera.full_well_e
    expected = np.array([camera.response(t.spectrum) * exposure for t in shot.truths])
    sigma = np.sqrt(np.einsum("nii->ni", signals.covariance))
    assert (np.abs(signals.mean - expected) < 5 * sigma + 1e-5).all()
