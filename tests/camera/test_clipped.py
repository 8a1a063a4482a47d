"""Clipped channels taken as bounds: regions hold, errors are smaller than those of clipped values.

Emissions are Pearson VII bands, none of the prior's families; the camera is the scene's own; developed files
are made here, apart from the prior's developments.
"""

from __future__ import annotations

import numpy as np
import pytest

from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.camera.emission import Camera
from glowkin.camera.grid import WAVELENGTH_NM, observer
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.spaces import RGB_TO_XYZ
from glowkin.scene.cameras import default_camera
from glowkin.scene.spectra import WAVELENGTH_NM as SCENE_NM

NOISE = 0.002


def pearson(peak, width, m):
    return (1 + ((WAVELENGTH_NM - peak) / (width / 2)) ** 2 * (2 ** (1 / m) - 1)) ** -m


EMITTERS = np.array([pearson(p, w, m) for p in range(445, 661, 3) for w, m in ((45, 4), (65, 3), (95, 2))])
TRUE = XYZ_to_uv_prime(EMITTERS @ observer(2))
DEVELOPED = 4
"""Times that each emission is developed, the balance another each time."""
CHANNELS = {"red": 0, "green": 1, "blue": 2}


@pytest.fixture(scope="module")
def raw_camera():
    return Camera.from_sensitivities(SCENE_NM, default_camera().sensitivities)


def answered(E):
    S = [np.interp(WAVELENGTH_NM, SCENE_NM, c) for c in default_camera().sensitivities.T]
    return E @ np.array(S).T


def overexposed(E, stops, seed=0):
    """Raw channels, full scale 1, not yet cut; their highest passes it by up to so many stops."""
    rng, rgb = np.random.default_rng(seed), answered(E)
    level = 2.0 ** rng.uniform(0, stops, (len(E), 1)) / rgb.max(axis=1, keepdims=True)
    return rgb * level + NOISE * rng.standard_normal(rgb.shape), level[:, 0]


def developed(E, seed=0):
    """Linear sRGB of overexposed files: the sensor clips after balance, 10 % off, then the file."""
    rng = np.random.default_rng(seed)
    M = default_camera().color_matrices[1] @ RGB_TO_XYZ["sRGB"]
    M = np.linalg.inv(M / M.sum(axis=1, keepdims=True))
    balanced = answered(E) / default_camera().neutral(np.ones(SCENE_NM.size))
    balanced = balanced * np.exp(rng.normal(0, 0.1, (len(E), 3)))
    level = 2.0 ** rng.uniform(0, 2, (len(E), 1)) / (balanced @ M.T).max(axis=1, keepdims=True)
    code = np.clip(np.minimum(balanced * level, 1) @ M.T, 0, 1) ** (1 / 2.2)
    return np.round(code * 255) / 255


def decoded(code):
    """IEC 61966-2-1."""
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def in_region(found, rows, true=TRUE):
    e = true[rows] - found.uv_prime[rows]
    C = np.array([found.uncertain(int(i)).covariance for i in rows])
    return np.einsum("ni,nij,nj->n", e, np.linalg.inv(C), e) < CHI2_95_2D


@pytest.mark.parametrize("channel", CHANNELS)
@pytest.mark.parametrize("kind", ["raw", "rendered"])
def test_regions_of_samples_clipped_in_one_channel_hold(raw_camera, kind, channel):
    if kind == "raw":
        camera, (seen, _) = raw_camera, overexposed(EMITTERS, 2.0)
        C = np.full((len(seen), 1, 1), NOISE**2) * np.eye(3)
    else:
        camera = Camera("unknown", "generic", space=RGB_TO_XYZ["sRGB"], balance=0.1)
        seen = decoded(np.concatenate([developed(EMITTERS, seed) for seed in range(DEVELOPED)]))
        C = np.full((len(seen), 1, 1), 1e-6) * np.eye(3)
    clipped = seen >= (1.0 if kind == "raw" else decoded(250 / 255))  # where a JPEG counts as clipped
    found = camera.infer_clipped(np.minimum(seen, 1.0), C, clipped)
    rows = np.flatnonzero(clipped[:, CHANNELS[channel]] & (clipped.sum(axis=1) == 1))
    assert rows.size > 10
    true = np.tile(TRUE, (len(seen) // len(TRUE), 1))
    assert in_region(found, rows, true).mean() >= 0.9
    face = camera.infer(np.minimum(seen, 1.0), C).uv_prime
    error, as_values = (np.hypot(*(uv - true)[rows].T) for uv in (found.uv_prime, face))
    assert np.quantile(error, 0.9) < np.quantile(as_values, 0.9)


@pytest.mark.parametrize("observer_", [2, 10])
def test_a_bound_just_reached_leaves_the_colour_of_the_value_in_the_region(raw_camera, observer_):
    true = XYZ_to_uv_prime(EMITTERS @ observer(observer_))
    seen, _ = overexposed(EMITTERS, 0.0)
    clipped = seen >= seen.max(axis=1, keepdims=True)
    C = np.full((len(seen), 1, 1), NOISE**2) * np.eye(3)
    found = raw_camera.infer_clipped(np.minimum(seen, 1.0), C, clipped, observer_)
    assert in_region(found, np.arange(len(seen)), true).mean() > 0.92


def test_bounds_tell_less_than_values(raw_camera):
    rgb = answered(EMITTERS)
    rgb = rgb / rgb.max(axis=1, keepdims=True)
    C = np.full((len(rgb), 1, 1), NOISE**2) * np.eye(3)
    values = raw_camera.infer(rgb, C)
    bounds = raw_camera.infer_clipped(rgb, C, rgb >= 1.0)
    area = [
        np.array([np.linalg.det(seen.uncertain(i).covariance) for i in range(len(rgb))])
        for seen in (values, bounds)
    ]
    assert np.median(area[1] / area[0]) > 10


def test_the_luminance_is_at_least_what_is_told(raw_camera):
    seen, level = overexposed(EMITTERS, 2.0)
    luminance = level * (EMITTERS @ observer(2))[:, 1]
    clipped = seen >= 1.0
    C = np.full((len(seen), 1, 1), NOISE**2) * np.eye(3)
    told = raw_camera.infer_clipped(np.minimum(seen, 1.0), C, clipped).luminance
    # in units of the camera's own readings of emissions that are not clipped
    unit = raw_camera.infer(answered(EMITTERS), C).luminance / (EMITTERS @ observer(2))[:, 1]
    known = np.isfinite(told)
    assert (told[known] <= luminance[known] * np.median(unit)).mean() > 0.92
    assert np.median(told[known] / luminance[known] / np.median(unit)) > 0.3


def test_the_unit_of_full_scale_is_that_of_the_bound(raw_camera):
    seen, _ = overexposed(EMITTERS, 1.0)
    clipped = seen >= 1.0
    once, half = (
        raw_camera.infer_clipped(
            s * np.minimum(seen, 1), s * s * 1e-6 * np.tile(np.eye(3), (len(seen), 1, 1)), clipped
        )
        for s in (1.0, 0.5)
    )
    assert half.uv_prime == pytest.approx(once.uv_prime, nan_ok=True)
    assert half.luminance == pytest.approx(0.5 * once.luminance, nan_ok=True)


def test_where_all_channels_are_clipped_or_none_no_colour_is_told(raw_camera):
    seen, C = np.array([[1.0, 1.0, 1.0], [0.5, 0.4, 0.3]]), np.tile(1e-6 * np.eye(3), (2, 1, 1))
    found = raw_camera.infer_clipped(seen, C, np.array([[True] * 3, [False] * 3]))
    assert np.isnan(found.uv_prime).all()
    assert found.shared == ({}, {})
