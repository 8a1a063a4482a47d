from __future__ import annotations

import numpy as np
import pytest
from scipy import constants

from glowkin.colour.photon import HC_EV_NM, photon_energy_eV, photon_to_power


def test_photon_energy_constant() -> None:
    # SI, exact constants since 2019 (CODATA); scipy carries them independently.
    assert pytest.approx(1239.842, abs=5e-4) == HC_EV_NM
    assert pytest.approx(constants.h * constants.c / constants.e * 1e9, rel=1e-14) == HC_EV_NM


def test_green_photon_and_nan() -> None:
    # 1239.842 / 546.07 nm, the mercury line (NIST ASD): 2.2705 eV.
    np.testing.assert_allclose(photon_energy_eV([546.07, np.nan]), [2.27048, np.nan], atol=1e-4)


def test_power_peaks_to_the_blue_of_photons() -> None:
    # For n(nm) gaussian with sigma, the maximum of n / nm solves nm (nm - mu) = -sigma^2 (calculus).
    mu, sigma = 640.0, 40.0
    nm = np.arange(500.0, 800.0, 0.01)
    power = photon_to_power(nm, np.exp(-0.5 * ((nm - mu) / sigma) ** 2))
    expected = (mu + np.sqrt(mu**2 - 4 * sigma**2)) / 2
    assert nm[np.argmax(power)] == pytest.approx(expected, abs=0.01)


def test_rows_of_spectra_keep_their_shape() -> None:
    assert photon_to_power([400.0, 500.0], np.ones((4, 3, 2))).shape == (4, 3, 2)
