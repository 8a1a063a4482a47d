"""Rendered files of an unknown camera: regions that hold, and sizes that say how little such a file supports.

The developments here are written apart from those of the prior: another camera, patches in other light (ISO
17321-1 in D50 and FL11, by colour-science), its own curves for gamma and contrast, gamut cut or not. White
balance is off by 10 % a channel.
"""

from __future__ import annotations

import numpy as np
import pytest

from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.camera.development import BALANCE
from glowkin.camera.emission import Camera
from glowkin.camera.grid import WAVELENGTH_NM, observer
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.spaces import RGB_TO_XYZ
from glowkin.scene.cameras import default_camera
from glowkin.scene.spectra import WAVELENGTH_NM as SCENE_NM


def pearson(peak, width, m):
    """A band with tails, in power per nm: none of the prior's families."""
    return (1 + ((WAVELENGTH_NM - peak) / (width / 2)) ** 2 * (2 ** (1 / m) - 1)) ** -m


EMITTERS = np.array([pearson(p, w, m) for p in range(460, 651, 10) for w, m in ((45, 4), (85, 2))])
TRUE = XYZ_to_uv_prime(EMITTERS @ observer(2))


def rendered_as(space, balance=0.1):
    return Camera("unknown", "generic", space=RGB_TO_XYZ[space], balance=balance)


@pytest.fixture(scope="module")
def to_xyz(colour_science):
    """Balanced channels to XYZ of D65, as two makers might fit them, and the gains of their white."""
    shape = colour_science.SpectralShape(380, 780, 2)
    patches = colour_science.SDS_COLOURCHECKERS["ISO 17321-1"].values()
    surfaces = np.array([sd.copy().align(shape).values for sd in patches])
    S = np.array([np.interp(WAVELENGTH_NM, SCENE_NM, c) for c in default_camera().sensitivities.T]).T
    out = []
    for name in ("D50", "FL11"):
        light = colour_science.SDS_ILLUMINANTS[name].copy().align(shape).values
        gains = 1 / (light @ S)
        white = light @ observer(2)
        adapted = surfaces * light @ observer(2) / white * [0.9505, 1.0, 1.0891]
        out.append((S * gains, np.linalg.lstsq(surfaces * light @ S * gains, adapted, rcond=None)[0].T))
    return out


def files(to_xyz, space, seed=0):
    """Linear channels read back from developed files, for each maker and curve: k x n x 3."""
    rng, out = np.random.default_rng(seed), []
    for S, M in to_xyz:
        for contrast in (0.0, 0.35):
            off = np.exp(rng.normal(0, 0.1, (len(EMITTERS), 3)))
            linear = (EMITTERS @ S * off) @ (np.linalg.inv(RGB_TO_XYZ[space]) @ M).T
            code = np.clip(linear / linear.max(axis=1, keepdims=True) * 0.7, 0, 1) ** (1 / 2.2)
            code = (1 - contrast) * code + contrast * code**2 * (3 - 2 * code)
            out.append((np.round(code * 255) / 255) ** 2.2)
    return np.array(out)


@pytest.mark.parametrize("space", ["sRGB", "Display P3", "Adobe RGB (1998)"])
def test_regions_hold_and_colours_err_less_than_at_face_value(to_xyz, space):
    rgb = files(to_xyz, space).reshape(-1, 3)
    true = np.tile(TRUE, (len(rgb) // len(TRUE), 1))
    found = rendered_as(space).infer(rgb, 1e-7 * np.eye(3) * np.ones((len(rgb), 1, 1)))
    covariance = np.array([found.uncertain(i).covariance for i in range(len(rgb))])
    error = true - found.uv_prime
    inside = np.einsum("ni,nij,nj->n", error, np.linalg.inv(covariance), error) <= CHI2_95_2D
    axis = np.sqrt(CHI2_95_2D * np.linalg.eigvalsh(covariance)[:, 1])
    face = XYZ_to_uv_prime(np.maximum(rgb, 1e-6) @ RGB_TO_XYZ[space].T) - true
    assert inside.mean() > 0.9
    assert np.median(axis) < 0.125
    assert np.quantile(np.hypot(*error.T), 0.9) < np.quantile(np.hypot(*face.T), 0.9)


def test_an_automatic_white_balance_leaves_more_open():
    rgb, C = np.array([[0.3, 0.25, 0.1]]), 1e-7 * np.eye(3)[None]
    sizes = [np.trace(rendered_as("sRGB", b).infer(rgb, C).uncertain(0).covariance) for b in BALANCE.values()]
    assert sizes[1] > 1.5 * sizes[0]


def test_colours_cut_off_at_the_edge_of_the_colour_space_are_finite():
    rgb = np.array([[0, 0.62, 0], [0, 0, 0.38], [0.5, 0, 0], [0, 0.2, 0.2], [0.3, 0.3, 0.3]])
    for noise in (0.0, 2.5e-7, 1e-4):
        found = rendered_as("sRGB").infer(rgb, noise * np.eye(3) * np.ones((5, 1, 1)))
        assert np.isfinite(found.uv_prime).all()
        assert np.isfinite(found.own).all()
