"""Cameras unlike those of the prior: wider regions, no less covered, and a flag.

Sensitivities of measured cameras, all shifted by so much that no glass or sensor would do it.
"""

from __future__ import annotations

import numpy as np
import pytest

from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.camera import calibrate as room
from glowkin.camera.answers import seen_by
from glowkin.camera.calibrate import UNLIKELY, ChartSeen, calibrate
from glowkin.camera.chart_file import iso_17321
from glowkin.camera.daylight import chart_light
from glowkin.camera.emission import Camera
from glowkin.camera.emission_prior import EmissionPrior, emission_prior
from glowkin.camera.grid import WAVELENGTH_NM
from glowkin.camera.sensitivity_file import read_sensitivities
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.scene.spectra import WAVELENGTH_NM as SCENE_NM
from glowkin.scene.spectra import band, emitters

PLACE = np.array([((c - 2.5) / 5, (r - 1.5) / 3) for r in range(4) for c in range(6)])
SPECTRA = np.array([*emitters().values(), *(band(p, w) for p in range(450, 660, 15) for w in (45, 80, 115))])


def chart_of(mean):
    rng = np.random.default_rng(7)
    lit = iso_17321() * chart_light("5600K").spectrum(1e6 / 5600)
    return ChartSeen(lit @ mean.T * np.exp(0.02 * rng.standard_normal((24, 3))), iso_17321(), PLACE)


def few():
    """A fifth of the prior's spectra: enough here, and quick."""
    prior = emission_prior()
    uv = {degrees: values[::5] for degrees, values in prior.uv_prime.items()}
    return EmissionPrior(prior.spectra[::5], uv, prior.band[::5], prior.family[::5])


def regions(found, mean, true):
    """Squared distances from the truth and 95 % semi-axes of noiseless emissions by this calibration."""
    known = found.sensitivities
    camera = Camera("x", "chart", known, _tables={2: seen_by(few(), known, 2)})
    rgb = np.array([np.interp(WAVELENGTH_NM, SCENE_NM, s) for s in SPECTRA]) @ mean.T
    seen = camera.infer(rgb, np.zeros((len(rgb), 3, 3)))
    C = np.array([seen.uncertain(i).covariance for i in range(len(rgb))])
    e = true - seen.uv_prime
    d2 = np.einsum("ni,nij,nj->n", e, np.linalg.inv(C), e)
    return d2, np.sqrt(CHI2_95_2D * np.linalg.eigvalsh(C)[:, 1])


@pytest.fixture(scope="module")
def usual(shared_data):
    """Shapes of two measured cameras."""
    files = sorted((shared_data / "cameras").glob("*.json"))[3::13]
    return [read_sensitivities(file).sensitivities.mean for file in files]


def shifted(mean, nm):
    return np.stack([np.interp(WAVELENGTH_NM - nm, WAVELENGTH_NM, row, 0, 0) for row in mean])


def test_a_camera_far_outside_gets_wider_regions_that_cover_no_less(usual, oracle_XYZ, monkeypatch):
    true = np.array([XYZ_to_uv_prime(oracle_XYZ(s)) for s in SPECTRA])
    plain, wide, held = [], [], []
    for mean, nm in zip(usual, (-40, 40), strict=True):
        far = shifted(mean, nm)
        ordinary, found = (calibrate(chart_of(m), chart_light("daylight")) for m in (mean, far))
        with monkeypatch.context() as patch:
            patch.setattr(room._Problem, "unlikely", lambda *_: 1.0)
            kept = calibrate(chart_of(far), chart_light("daylight"))
        assert ordinary.unlikely < UNLIKELY < found.unlikely
        assert ordinary.stretched < 1.3 < found.stretched
        assert kept.stretched == 1.0
        plain.append(np.median(regions(ordinary, mean, true)[1]))
        (before, narrow), (after, axis) = regions(kept, far, true), regions(found, far, true)
        held.append([(before <= CHI2_95_2D).mean(), (after <= CHI2_95_2D).mean()])
        wide.append([np.median(narrow), np.median(axis)])
    (narrow, axis), (before, after) = np.mean(wide, axis=0), np.mean(held, axis=0)
    assert axis > 1.03 * narrow
    assert axis > 2.0 * np.mean(plain)
    assert after >= max(before, 0.9)


def test_swapped_channels_are_wider_too_or_do_not_fit(usual):
    """Red's and green's filters exchanged: no sensor is made so."""
    for mean in usual:
        found = calibrate(chart_of(mean[[1, 0, 2]]), chart_light("daylight"))
        assert found.unlikely > UNLIKELY
        assert found.stretched > 1.5
