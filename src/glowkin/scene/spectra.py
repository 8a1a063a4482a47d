"""Emission spectra to photograph: spectral radiant power per nm on 360-830 nm in steps of 1 nm.

Bands are Gaussian in wavenumber as photon spectra, as vibrational broadening makes them, and are converted
to power per nm: P(lambda) = N(nu) nu^3 up to a constant, nu^2 from d(nu)/d(lambda) and nu from the photon's
energy. All widths and peaks asked for are those of the finished spectrum per nm. Every spectrum has unit
sum, so a factor before it is its total power.
"""

from __future__ import annotations

from math import exp, factorial, log, sqrt
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from glowkin.base.errors import WrongUseError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Spectrum: TypeAlias = "NDArray[np.float64]"

WAVELENGTH_NM = np.arange(360.0, 831.0)
"""The grid of every spectrum here: 471 wavelengths, the range of the CIE tables."""

NM_CM = 1e7
"""Wavelength in nm times wavenumber in 1/cm."""

WAVENUMBER_CM = NM_CM / WAVELENGTH_NM
FWHM_PER_SIGMA = 2.0 * sqrt(2.0 * log(2.0))

TERBIUM = ((490.0, 10.0, 0.25), (545.0, 9.0, 0.50), (585.0, 11.0, 0.14), (620.0, 10.0, 0.11))
"""Tb(III): (wavelength, width, share of power); wavelengths after Binnemans 2015, shares invented."""

EUROPIUM = ((592.0, 8.0, 0.20), (613.0, 8.0, 0.68), (700.0, 12.0, 0.12))
"""Eu(III): (wavelength, width, share of power); wavelengths after Binnemans 2015, shares invented."""


def unit_power(spectrum: Spectrum) -> Spectrum:
    """The spectrum scaled to unit sum over 1 nm steps."""
    return np.asarray(spectrum / spectrum.sum())


def mixture(spectra: Sequence[Spectrum], powers: Sequence[float]) -> Spectrum:
    """The sum of unit spectra, each with its share of the total power."""
    return unit_power(sum((p * unit_power(s) for s, p in zip(spectra, powers, strict=True)), np.zeros(471)))


def band(peak_nm: float, fwhm_nm: float) -> Spectrum:
    """One emission band: its spectrum per nm peaks at ``peak_nm``, full width at half height ``fwhm_nm``."""
    sigma = _sigma_for(peak_nm, fwhm_nm)
    return unit_power(_power_per_nm(WAVENUMBER_CM, peak_nm, sigma, sigma))


def skewed_band(peak_nm: float, fwhm_nm: float, red_excess: float = 0.3) -> Spectrum:
    """A band whose red side is wider than its blue side by the share ``red_excess``; peak as asked for.

    ``fwhm_nm`` is that of the even band it is made from; the finished one is wider.
    """
    sigma = _sigma_for(peak_nm, fwhm_nm)
    return unit_power(_power_per_nm(WAVENUMBER_CM, peak_nm, sigma, sigma * (1.0 + red_excess)))


def progression(origin_nm: float, spacing_cm: float, huang_rhys: float, fwhm_cm: float) -> Spectrum:
    """A vibronic progression: Poisson weights of Huang-Rhys factor S, lines ``spacing_cm`` apart to the red.

    Franck-Condon intensities exp(-S) S^n / n!, each line a Gaussian of ``fwhm_cm`` in wavenumber.
    """
    sigma = fwhm_cm / FWHM_PER_SIGMA
    origin = NM_CM / origin_nm
    weights = [exp(-huang_rhys) * huang_rhys**n / factorial(n) for n in range(12)]
    photons = sum(
        (w * _gauss(WAVENUMBER_CM, origin - n * spacing_cm, sigma) for n, w in enumerate(weights)),
        np.zeros_like(WAVENUMBER_CM),
    )
    return unit_power(photons * WAVENUMBER_CM**3)


def lines(table: Sequence[tuple[float, float, float]]) -> Spectrum:
    """A line emitter from (wavelength nm, width nm, share of power), such as TERBIUM or EUROPIUM."""
    parts = [unit_power(_gauss(WAVELENGTH_NM, peak, width / FWHM_PER_SIGMA)) for peak, width, _ in table]
    return mixture(parts, [share for _, _, share in table])


def led(peak_nm: float, fwhm_nm: float = 20.0) -> Spectrum:
    """A light-emitting diode: a peak with a tail to the red twice as long as its blue side."""
    half = fwhm_nm / FWHM_PER_SIGMA
    sides = np.where(peak_nm > WAVELENGTH_NM, half * 2 / 3, half * 4 / 3)
    return unit_power(_gauss(WAVELENGTH_NM, peak_nm, sides))


def lamp_violet(peak_nm: float = 405.0, fwhm_nm: float = 18.0) -> Spectrum:
    """What a 365 nm torch leaks into the visible: a violet hump, its red side the longer one (invented)."""
    return led(peak_nm, fwhm_nm)


def planck(temperature_K: float) -> Spectrum:
    """A Planckian radiator's power per nm; c2 = 1.438776877e-2 m K (CODATA, exact constants of the SI)."""
    metres = WAVELENGTH_NM * 1e-9
    return unit_power(metres**-5 / np.expm1(1.438776877e-2 / (metres * temperature_K)))


def room_light() -> Spectrum:
    """A warm white room lamp: a blue diode and its phosphor (invented)."""
    return mixture([led(452.0, 22.0), skewed_band(600.0, 125.0)], [0.12, 0.88])


def emitters() -> dict[str, Spectrum]:
    """A shelf of invented emitters of every kind, for scenes that need variety."""
    return {
        "blue": skewed_band(450.0, 62.0),
        "cyan": progression(455.0, 1350.0, 1.1, 900.0),
        "narrow-green": band(520.0, 24.0),
        "green": band(520.0, 52.0),
        "terbium": lines(TERBIUM),
        "yellow": skewed_band(560.0, 95.0),
        "orange": band(595.0, 90.0),
        "europium": lines(EUROPIUM),
        "red": band(640.0, 85.0),
        "two-band": mixture([band(460.0, 60.0), band(600.0, 90.0)], [0.4, 0.6]),
    }


def _gauss(x: Spectrum, centre: float, sigma: float | Spectrum) -> Spectrum:
    return np.asarray(np.exp(-0.5 * ((x - centre) / sigma) ** 2))


def _power_per_nm(wavenumber: Spectrum, peak_nm: float, sigma_blue: float, sigma_red: float) -> Spectrum:
    """N(nu) nu^3 with its maximum 1 at the peak: d/dnu = 0 puts the photon band at nu_p - 3 s^2 / nu_p."""
    nu_peak = NM_CM / peak_nm
    sigma = np.where(wavenumber > nu_peak, sigma_blue, sigma_red)
    centre = nu_peak - 3.0 * sigma**2 / nu_peak
    log_power = -0.5 * ((wavenumber - centre) / sigma) ** 2 + 3.0 * np.log(wavenumber)
    log_peak = -0.5 * ((nu_peak - centre) / sigma) ** 2 + 3.0 * log(nu_peak)
    return np.asarray(np.exp(log_power - log_peak))


def _sigma_for(peak_nm: float, fwhm_nm: float) -> float:
    """The photon band's sigma in 1/cm that gives this width per nm, by bisection."""
    if not (300.0 < peak_nm < 900.0 and 1.0 <= fwhm_nm <= 250.0):
        raise WrongUseError(f"band {peak_nm}/{fwhm_nm} nm: give a peak of 300-900 nm and a width of 1-250 nm")
    low, high = 1.0, 6000.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _fwhm_nm(peak_nm, middle) < fwhm_nm else (low, middle)
    return 0.5 * (low + high)


def _fwhm_nm(peak_nm: float, sigma: float) -> float:
    blue, red = np.linspace(0.4 * peak_nm, peak_nm, 3001), np.linspace(2.5 * peak_nm, peak_nm, 6001)
    rise = np.interp(0.5, _power_per_nm(NM_CM / blue, peak_nm, sigma, sigma), blue)
    fall = np.interp(0.5, _power_per_nm(NM_CM / red, peak_nm, sigma, sigma), red)
    return float(fall - rise)
