from __future__ import annotations

import numpy as np
import pytest

from glowkin.base.errors import WrongUseError
from glowkin.scene import spectra as s


@pytest.mark.parametrize(("peak", "fwhm"), [(520.0, 52.0), (640.0, 85.0), (637.0, 85.0), (450.0, 30.0)])
def test_a_band_has_the_peak_and_width_it_was_asked_for_per_nm(peak: float, fwhm: float) -> None:
    fine = np.linspace(380.0, 820.0, 44001)
    band = np.interp(fine, s.WAVELENGTH_NM, s.band(peak, fwhm))
    high = fine[band >= 0.5 * band.max()]
    assert s.WAVELENGTH_NM[s.band(peak, fwhm).argmax()] == peak
    assert high[-1] - high[0] == pytest.approx(fwhm, abs=0.1)


def test_the_photon_spectrum_of_a_band_lies_redder_by_the_factor_of_the_photon_energy() -> None:
    # N per nm = P per nm times lambda / (h c): photons carry 1239.842 eV nm / lambda (CODATA). For a Gaussian
    # of sigma in nm the peak then moves by about sigma^2 / lambda (arithmetic).
    power = s.band(640.0, 85.0)
    photons = power * s.WAVELENGTH_NM / 1239.842
    fine = np.linspace(600.0, 700.0, 10001)
    moved = fine[np.interp(fine, s.WAVELENGTH_NM, photons).argmax()] - 640.0
    assert moved == pytest.approx((85.0 / 2.3548) ** 2 / 640.0, abs=1.0)


def test_lines_lie_where_the_literature_puts_them() -> None:
    # Binnemans, Coord. Chem. Rev. 295, 1 (2015), from memory
    for table, expected in ((s.TERBIUM, (490, 545, 585, 620)), (s.EUROPIUM, (592, 613, 700))):
        power = s.lines(table)
        inner = (power[1:-1] > power[:-2]) & (power[1:-1] > power[2:]) & (power[1:-1] > 1e-4)
        assert tuple(s.WAVELENGTH_NM[1:-1][inner]) == pytest.approx(expected, abs=1.0)


def test_a_planckian_radiator_peaks_after_wien() -> None:
    # Wien's displacement law, b = 2.897771955e-3 m K (CODATA)
    assert s.WAVELENGTH_NM[s.planck(5000.0).argmax()] == pytest.approx(2.897771955e6 / 5000.0, abs=0.6)


def test_a_vibronic_progression_shows_lines_at_its_spacing() -> None:
    power = s.progression(470.0, 1400.0, 0.8, 500.0)
    inner = (power[1:-1] > power[:-2]) & (power[1:-1] > power[2:]) & (power[1:-1] > 0.05 * power.max())
    wavenumbers = 1e7 / s.WAVELENGTH_NM[1:-1][inner]
    assert np.diff(wavenumbers) == pytest.approx(-1400.0, abs=60.0)


def test_lights_peak_where_they_are_known_to() -> None:
    assert s.WAVELENGTH_NM[s.led(525.0).argmax()] == 525.0
    assert s.WAVELENGTH_NM[s.lamp_violet().argmax()] == 405.0


@pytest.mark.parametrize("name", sorted(s.emitters()))
def test_every_emitter_is_a_spectrum_of_unit_power(name: str) -> None:
    power = s.emitters()[name]
    assert power.shape == (471,)
    assert power.min() >= 0.0
    assert power.sum() == pytest.approx(1.0)


def test_an_impossible_band_is_refused() -> None:
    with pytest.raises(WrongUseError, match="give a peak of 300-900 nm"):
        s.band(1200.0, 50.0)
