"""Differences of two samples in one photograph: what is common cancels, what differs is seen.

Spectra have tails (Pearson VII, in nm), a shape that none of the prior's families has.
"""

from __future__ import annotations

import numpy as np
import pytest

from glowkin.base.uncertainty import CHI2_95_2D, difference
from glowkin.camera.emission import Camera
from glowkin.camera.grid import WAVELENGTH_NM, observer
from glowkin.camera.maker import seen_through
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.spaces import RGB_TO_XYZ
from glowkin.scene.cameras import default_camera
from glowkin.scene.spectra import WAVELENGTH_NM as SCENE_NM

NOISE = 0.002


def pearson(peak, width, m):
    return (1 + ((WAVELENGTH_NM - peak) / (width / 2)) ** 2 * (2 ** (1 / m) - 1)) ** -m


SEEN = np.array([np.interp(WAVELENGTH_NM, SCENE_NM, c) for c in default_camera().sensitivities.T])
KNOWN = Camera.from_sensitivities(SCENE_NM, default_camera().sensitivities)
RAW = Camera("raw", "generic", seen_through([np.linalg.inv(M) for M in default_camera().color_matrices]))
JPEG = Camera("jpeg", "generic", space=RGB_TO_XYZ["sRGB"], balance=0.1)
BANDS = [(p, w, m) for p in (470, 500, 530, 560, 590, 620) for w, m in ((40, 4), (80, 2))]


def apart(camera, first, second, rng):
    """Squared distance of what is found of the difference from nothing, and from the truth."""
    E = np.array([first, second])
    rgb = E @ SEEN.T
    if camera is JPEG:
        shown = np.clip(rgb @ (np.linalg.inv(RGB_TO_XYZ["sRGB"]) @ KNOWN.to_xyz).T, 0, None)
        rgb = np.round(255 * (shown / shown.max()) ** (1 / 2.2)) / 255
        rgb = rgb**2.2
    sd = NOISE * rgb.max(axis=1)
    rgb = np.clip(rgb + sd[:, None] * rng.standard_normal((2, 3)), 0, None)
    found = camera.infer(rgb, np.square(sd)[:, None, None] * np.eye(3))
    d = difference(found.uncertain(1), found.uncertain(0))
    true = np.subtract(*XYZ_to_uv_prime(E @ observer(2))[::-1])
    return [v @ np.linalg.solve(d.covariance, v) for v in (d.value, d.value - true)]


@pytest.mark.parametrize("camera", [KNOWN, RAW, JPEG], ids=["known", "raw", "rendered"])
def test_one_emission_seen_twice_is_hardly_ever_different(camera):
    rng = np.random.default_rng(0)
    found = [apart(camera, pearson(*b), pearson(*b), rng)[0] for b in BANDS for _ in range(5)]
    assert np.mean(np.array(found) < CHI2_95_2D) > 0.9


@pytest.mark.parametrize("camera", [KNOWN, RAW, JPEG], ids=["known", "raw", "rendered"])
def test_differences_of_like_emissions_lie_in_their_regions(camera):
    rng = np.random.default_rng(1)
    bands = [(p, w, m) for p in range(465, 626, 10) for w, m in ((40, 4), (60, 3), (80, 2))]
    found = [apart(camera, pearson(p, w, m), pearson(p + 6, 1.05 * w, m), rng)[1] for p, w, m in bands]
    assert np.mean(np.array(found) < CHI2_95_2D) > 0.9


@pytest.mark.parametrize(("peak", "shift"), [(480, 5), (500, 9), (520, 18)])
def test_two_emissions_0_05_apart_are_different_to_a_known_camera(peak, shift):
    first, second = pearson(peak, 50, 3), pearson(peak + shift, 50, 3)
    uv = XYZ_to_uv_prime(np.array([first, second]) @ observer(2))
    assert 0.03 < np.hypot(*(uv[1] - uv[0])) < 0.06
    rng = np.random.default_rng(2)
    assert all(apart(KNOWN, first, second, rng)[0] > CHI2_95_2D for _ in range(5))
