"""Photographs with one thing wrong: that the wrong thing is in them, and by the amount asked for."""

from __future__ import annotations

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from glowkin.base.errors import WrongUseError
from glowkin.scene.blur import banded, defocused, fogged, light_planes, sampled, shaken
from glowkin.scene.cameras import default_camera
from glowkin.scene.faults import (
    FAULTS,
    competent,
    lamp_off_of,
    sent_by_messenger,
    series_with_fault,
    with_fault,
)
from glowkin.scene.render import light_mosaic

SIZE = (300, 200)


@pytest.fixture
def rng():
    return np.random.default_rng(7)


@pytest.fixture
def good(rng):
    return competent(rng, 3, SIZE)


def point(size=81):
    planes = np.zeros((size, size, 3), np.float32)
    planes[size // 2, size // 2] = 1.0
    return planes


def moments(planes):
    y, x = np.mgrid[: planes.shape[0], : planes.shape[1]] - planes.shape[0] // 2
    p = planes[..., 1] / planes[..., 1].sum()
    return np.array([[(p * x * x).sum(), (p * x * y).sum()], [(p * x * y).sum(), (p * y * y).sum()]])


def test_the_mosaic_of_the_planes_is_the_mosaic_rendered_directly(good):
    camera = default_camera()
    planes = sampled(light_planes(good.scene, camera), camera.cfa_index)
    direct = light_mosaic(good.scene, camera)
    np.testing.assert_allclose(planes, direct, rtol=0.02, atol=0.002 * direct.max())


def test_defocus_spreads_a_point_over_a_disc():
    """Second moment of an even disc along an axis: r^2 / 4."""
    spread = defocused(point(), 9.0)
    assert spread[..., 1].sum() == pytest.approx(1.0, rel=1e-4)
    assert moments(spread) == pytest.approx(np.diag([81 / 4, 81 / 4]), rel=0.03, abs=0.1)


def test_shake_spreads_a_point_along_its_direction():
    """Second moment of an even line of length L along itself: L^2 / 12."""
    angle = 0.7
    spread = moments(shaken(point(), 24.0, angle))
    along = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-along[1], along[0]])
    assert along @ spread @ along == pytest.approx(24**2 / 12, rel=0.1)
    assert across @ spread @ across < 1.0


def test_bands_lie_along_the_rows_and_have_the_depth_asked_for():
    planes = banded(np.ones((400, 50, 3), np.float32), 0.3, 5.0, 0.0)
    rows = planes[..., 0].mean(axis=1)
    assert np.ptp(rows) == pytest.approx(0.3, abs=0.002)
    assert np.argmax(np.abs(np.fft.rfft(rows - rows.mean()))) == 5
    assert np.ptp(planes, axis=1).max() == 0.0


def test_fog_stays_on_its_vial_and_lights_its_glass(good, rng):
    planes = light_planes(good.scene, default_camera())
    x, y = good.scene.samples[0].shape.centre_px
    r = good.scene.samples[0].shape.radius_px
    misty = fogged(planes, [(x, y, 1.2 * r)], 0.8, rng)
    yy, xx = np.mgrid[: SIZE[1], : SIZE[0]]
    away = np.hypot(xx - x, yy - y)
    assert np.array_equal(misty[away > 1.2 * r + 4], planes[away > 1.2 * r + 4])
    glass = (away > 1.08 * r) & (away < 1.15 * r)
    assert misty[glass].mean() > 1.5 * planes[glass].mean()


def test_a_competent_photograph_is_neither_clipped_nor_dim(good, rng):
    codes, camera = good.shoot(rng).codes, good.camera
    share = (np.quantile(codes, 0.9995) - camera.black) / (camera.white - camera.black)
    assert 0.2 < share < 0.9


@pytest.mark.parametrize("fault", FAULTS)
def test_every_fault_makes_another_photograph(good, fault):
    bad = with_fault(good, fault, "medium", np.random.default_rng(1))
    before, after = (s.shoot(np.random.default_rng(2)) for s in (good, bad))
    told = (bad.exposure, bad.development) != (good.exposure, good.development)
    assert told or not np.array_equal(before.codes, after.codes)


def test_an_unknown_fault_is_refused(good, rng):
    with pytest.raises(WrongUseError, match="'gremlins'"):
        with_fault(good, "gremlins", "weak", rng)


def test_exposure_changes_within_a_series_and_its_metadata_tell(good, rng):
    times = [s.exposure.exposure_s for s in series_with_fault(good, "exposure changed", "medium", rng)]
    assert times[-1] == pytest.approx(times[0] / 2, rel=0.01)
    assert len({s.exposure.exposure_s for s in series_with_fault(good, None, "medium", rng)}) == 1


def test_the_lamp_off_frame_shows_the_room_only(good, rng):
    off = lamp_off_of(with_fault(good, "room light", "strong", rng), None, "weak")
    assert off.scene.lamp == 0.0
    assert off.exposure.exposure_s == good.exposure.exposure_s
    assert lamp_off_of(good, "exposure", "strong").exposure.exposure_s > 7 * good.exposure.exposure_s


def test_a_messenger_leaves_neither_metadata_nor_profile(good, rng):
    with Image.open(BytesIO(sent_by_messenger(good.shoot(rng), good.development))) as image:
        assert (len(image.getexif()), image.info.get("icc_profile")) == (0, None)
        assert image.size == (240, 160)
