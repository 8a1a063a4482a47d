"""What the prior over emission holds: physics of its spectra, and that no table changes unseen."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest

from glowkin.camera.emission_prior import VERSION, bands_of, emission_prior
from glowkin.camera.families import FAMILIES, _gauss, _power
from glowkin.camera.grid import WAVELENGTH_NM
from glowkin.colour.photon import photon_to_power

PINNED = {"3": "43fd9844dbcffc50", "4": "f9012b0774e4e0d0"}
"""Digest of sample spectra, to three digits, by version of the prior."""


def test_a_change_of_the_prior_raises_its_version():
    """Tables kept on disk are named by the version: one that stays would hand out old ones."""
    some = np.round(emission_prior().spectra[:20, ::10].astype(float), 3) + 0.0
    assert hashlib.sha256(some.tobytes()).hexdigest()[:16] == PINNED[VERSION]


@pytest.mark.parametrize("name", FAMILIES)
def test_every_family_gives_finite_spectra_of_light(name):
    draw, share = FAMILIES[name]
    spectra = draw(np.random.default_rng(1), 200)
    assert spectra.shape == (200, WAVELENGTH_NM.size)
    assert np.isfinite(spectra).all()
    assert spectra.min() >= 0
    assert spectra.max(axis=1) == pytest.approx(1.0)
    assert 0 < share < 1


def test_the_shares_are_a_whole():
    assert sum(share for _, share in FAMILIES.values()) == pytest.approx(1.0)


@pytest.mark.parametrize(("name", "low", "high"), [("narrow bands", 398, 708), ("diodes", 436, 644)])
def test_peaks_lie_where_the_family_says(name, low, high):
    spectra = FAMILIES[name][0](np.random.default_rng(2), 400)
    peaks = WAVELENGTH_NM[spectra.argmax(axis=1)]
    assert low <= peaks.min()
    assert peaks.max() <= high


@pytest.mark.parametrize(("peak", "fwhm_cm"), [(450.0, 3000.0), (520.0, 2000.0), (640.0, 4500.0)])
def test_bands_are_power_per_nanometre(peak, fwhm_cm):
    """Photons per wavenumber become power per nm: d(nu)/d(lambda) goes with 1 / lambda^2, a photon's energy
    by ``colour.photon`` (exact constants of the SI)."""
    sigma = np.full(1, fwhm_cm / 2.35482, np.float32)
    photons = _gauss(np.full(1, 1e7 / peak, np.float32), sigma, sigma)
    power = photon_to_power(WAVELENGTH_NM, photons[0] / WAVELENGTH_NM**2)
    assert _power(photons)[0] == pytest.approx(power / power.max(), abs=2e-3)
    assert WAVELENGTH_NM[power.argmax()] < peak


def test_a_band_holds_most_of_its_light():
    """A Lorentzian band keeps (2 / pi) arctan 3 = 0.80 within a width and a half of its centre: it is one.
    A narrow one over a broad low foot, with as much light in the foot, is none.
    """
    lorentzian = 1 / (1 + ((WAVELENGTH_NM - 550.0) / 15.0) ** 2)
    foot = 0.18 * np.exp(-4 * np.log(2) * ((WAVELENGTH_NM - 560.0) / 150.0) ** 2)
    narrow = np.exp(-4 * np.log(2) * ((WAVELENGTH_NM - 616.0) / 10.0) ** 2)
    found = bands_of(np.array([lorentzian, np.maximum(narrow, foot)], dtype=np.float32))
    assert found[0] == pytest.approx([550, 30], abs=1)
    assert np.isnan(found[1]).all()


def test_the_band_of_a_gaussian_is_its_own():
    spectrum = np.exp(-4 * np.log(2) * ((WAVELENGTH_NM - 553.0) / 60.0) ** 2)[None]
    assert bands_of(spectrum.astype(np.float32))[0] == pytest.approx((553.0, 60.0), abs=0.2)


def test_two_bands_are_no_single_one():
    two = np.exp(-(((WAVELENGTH_NM - 460) / 20) ** 2)) + 0.5 * np.exp(-(((WAVELENGTH_NM - 620) / 20) ** 2))
    assert np.isnan(bands_of(two[None].astype(np.float32))).all()
