from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowkin.light.decode import open_photo
from glowkin.light.noise import Noise, estimate_noise
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.render import expose


@pytest.mark.parametrize("iso", [100, 400])
def test_gain_and_floor_are_those_of_photon_transfer(tmp_path, shot, iso):
    # EMVA 1288: variance = K (mean - dark) + K^2 read^2 + 1/12; green is the mean of two pixels of a cell.
    # Eight flat steps of light, as in a photon transfer measurement.
    camera, found = default_camera(), []
    steps = np.linspace(0.0, 0.8, 8) * camera.full_well_e * 100 / iso
    electrons = np.repeat(np.repeat(steps, 100)[None], 600, axis=0)
    photo = open_photo(write_dng(shot, tmp_path / "a.dng"))
    for seed in range(5):
        codes = expose(electrons, camera, np.random.default_rng(seed), iso)
        noise = estimate_noise(replace(photo, codes=codes))
        found.append([noise.gain, noise.floor])
    K, full, share = camera.codes_per_electron(iso), camera.white - camera.black, np.array([1.0, 0.5, 1.0])
    gain, floor = np.mean(found, axis=0)
    assert gain / (K / full * share) == pytest.approx(np.ones(3), abs=0.15)
    expected = (K**2 * camera.read_noise_e**2 + 1 / 12) / full**2 * share
    assert floor / expected == pytest.approx(np.ones(3), abs=0.15)


def test_what_is_clipped_scatters_less_and_does_not_count(tmp_path, shot):
    """As above, half of the steps far over full scale, as the bright samples of a bracket's long exposure;
    and what two exposures show together is one line (EMVA 1288).
    """
    camera, found = default_camera(), []
    photo = open_photo(write_dng(shot, tmp_path / "a.dng"))
    steps = np.array([0.0, 0.05, 0.2, 0.5, 2.0, 3.0, 4.0, 6.0]) * camera.full_well_e
    for seed in range(3):
        rng = np.random.default_rng(seed)
        pair = [np.repeat(np.repeat(f * steps, 100)[None], 600, axis=0) for f in (1.0, 0.2)]
        photos = [replace(photo, codes=expose(electrons, camera, rng)) for electrons in pair]
        found.append([estimate_noise(photos[0]).gain, estimate_noise(*photos).gain])
    expected = camera.codes_per_electron(100) / (camera.white - camera.black) * np.array([1.0, 0.5, 1.0])
    assert np.mean(found, axis=0) / expected == pytest.approx(np.ones((2, 3)), abs=0.15)


def test_lamp_gradients_do_not_count_as_noise(tmp_path, jpeg_of):
    ramp = np.repeat(np.linspace(20, 220, 400).astype(np.uint8)[None, :, None], 200, axis=0)
    in_colour = (ramp * np.array([1.0, 0.9, 0.8])).round().astype(np.uint8)
    noise = estimate_noise(open_photo(jpeg_of(in_colour, quality=100)))
    sd = np.sqrt(noise.variance(np.full(3, 0.2)))
    assert (sd < 0.004).all()  # one code is 0.004 there


def test_variance_does_not_fall_below_the_floor():
    noise = Noise(np.full(3, 1e-5), np.full(3, 1e-7))
    assert noise.variance(np.array([-0.1, 0.0, 0.5])) == pytest.approx([1e-7, 1e-7, 5.1e-6])


def test_the_smallest_picture_has_a_noise_too(jpeg_of):
    noise = estimate_noise(open_photo(jpeg_of(np.zeros((16, 16, 3), np.uint8))))
    assert np.isfinite(noise.gain).all()
    assert (noise.floor > 0).all()
