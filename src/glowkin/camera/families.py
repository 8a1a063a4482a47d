"""Families of emission spectra: what luminescence looks like, before any photograph is seen.

Each family returns n spectra of relative power per nm on the grid. Bands have their shape in wavenumber as
photon spectra (vibrational broadening), turned into power per nm by nu^3: nu^2 from d(nu)/d(lambda), nu from
the photon's energy. Widths are common practice, no source; lines after Binnemans, Coord. Chem. Rev. 295, 1
(2015) (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from glowkin.camera.grid import WAVELENGTH_NM

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats: TypeAlias = "NDArray[np.float32]"
    Rng: TypeAlias = np.random.Generator

_WL = WAVELENGTH_NM.astype(np.float32)
_NU = np.float32(1e7) / _WL
_FWHM = np.float32(2.0 * np.sqrt(2.0 * np.log(2.0)))
PEAKS_NM = (400.0, 705.0)
IONS = (
    ((490.0, 0.4), (545.0, 1.0), (585.0, 0.25), (620.0, 0.15)),
    ((592.0, 0.3), (613.0, 1.0), (652.0, 0.06), (700.0, 0.35)),
    ((563.0, 0.5), (600.0, 1.0), (645.0, 0.8)),
    ((480.0, 0.8), (575.0, 1.0), (663.0, 0.1)),
    ((693.5, 1.0),),
)
"""Lines (nm, relative height) of Tb, Eu, Sm, Dy and of Cr in corundum."""


def bands(rng: Rng, n: int) -> Floats:
    """Molecular and d-d bands, 800-5500 cm-1 wide, half with a shoulder to the red, some with feet."""
    nu, blue, red = _shapes(rng, n, (800.0, 5500.0))
    photons = _footed(rng, nu, blue, red)
    height = np.where(rng.random(n) < 0.5, rng.uniform(0.1, 0.8, n), 0.0).astype(np.float32)
    photons += height[:, None] * _gauss(nu - _uniform(rng, n, 700.0, 3000.0), blue, red)
    return _power(photons)


def progressions(rng: Rng, n: int) -> Floats:
    """Vibronic progressions: Poisson weights of a Huang-Rhys factor, broadening towards the red."""
    origin = np.float32(1e7) / _uniform(rng, n, 390.0, 690.0)
    huang_rhys, spacing = _log_uniform(rng, n, 0.15, 2.5), _uniform(rng, n, 900.0, 1600.0)
    width = _log_uniform(rng, n, 300.0, 1600.0) / _FWHM
    photons, weight = np.zeros((n, _WL.size), np.float32), np.ones(n, np.float32)
    for quanta in range(7):
        sigma = width * np.float32((1.0 + 0.1 * quanta) ** 0.5)
        photons += weight[:, None] * _gauss(origin - quanta * spacing, sigma, sigma)
        weight = weight * huang_rhys / np.float32(quanta + 1)
    return _power(photons)


def narrow_bands(rng: Rng, n: int) -> Floats:
    """Nanocrystals and the like, 200-900 cm-1."""
    return _power(_footed(rng, *_shapes(rng, n, (200.0, 900.0))))


def ions(rng: Rng, n: int) -> Floats:
    """Known ions with sharp lines, of heights of their own."""
    return _unit(np.array([_ion(rng) for _ in range(n)], np.float32).reshape(-1, _WL.size))


def line_sets(rng: Rng, n: int) -> Floats:
    """Two to six sharp lines anywhere."""
    lines, count = np.zeros((n, _WL.size), np.float32), rng.integers(2, 7, n)
    for k in range(6):
        height = np.where(k < count, _log_uniform(rng, n, 0.05, 1.0), 0.0).astype(np.float32)
        place, width = _uniform(rng, n, 440.0, 720.0), _uniform(rng, n, 4.0, 16.0) / _FWHM
        lines += height[:, None] * np.exp(-0.5 * ((_WL - place[:, None]) / width[:, None]) ** 2)
    return _unit(lines)


def pairs(rng: Rng, n: int) -> Floats:
    """Two forms together, or one species with two bands."""
    share = _uniform(rng, n, 0.05, 0.95)[:, None]
    first = np.where(rng.random((n, 1)) < 0.3, narrow_bands(rng, n), bands(rng, n))
    return _unit(share * _of_unit_power(first) + (1 - share) * _of_unit_power(bands(rng, n)))


def phosphors(rng: Rng, n: int) -> Floats:
    """One or two phosphor bands with what they leave of the violet or blue diode that excites them."""
    diode = _power(_gauss(*_shapes(rng, n, (600.0, 1500.0), (425.0, 475.0))))
    out = _log_uniform(rng, n, 0.03, 1.0)[:, None] * _of_unit_power(diode)
    second = np.where(rng.random(n) < 0.5, _log_uniform(rng, n, 0.1, 1.0), 0.0).astype(np.float32)
    for share in (np.ones(n, np.float32), second):
        band = _power(_gauss(*_shapes(rng, n, (1500.0, 4500.0), (510.0, 650.0))))
        out += share[:, None] * _of_unit_power(band)
    return _unit(out)


def diodes(rng: Rng, n: int) -> Floats:
    """Blue, green and red of a diode's or nanocrystal's width, two in five with amber: mixed to white."""
    out = np.zeros((n, _WL.size), np.float32)
    for peaks, often in (
        ((440.0, 475.0), 1.0),
        ((505.0, 555.0), 1.0),
        ((570.0, 600.0), 0.4),
        ((600.0, 640.0), 1.0),
    ):
        one = _of_unit_power(_power(_gauss(*_shapes(rng, n, (500.0, 1500.0), peaks))))
        share = np.where(rng.random(n) < often, _log_uniform(rng, n, 0.15, 1.0), 0.0).astype(np.float32)
        out += share[:, None] * one
    return _unit(out)


FAMILIES: dict[str, tuple[Callable[[Rng, int], Floats], float]] = {
    "bands": (bands, 0.59),
    "progressions": (progressions, 0.05),
    "narrow bands": (narrow_bands, 0.05),
    "ions": (ions, 0.02),
    "line sets": (line_sets, 0.02),
    "pairs": (pairs, 0.04),
    "phosphors": (phosphors, 0.21),
    "diodes": (diodes, 0.02),
}
"""Each family with its share of the prior."""


def _ion(rng: Rng) -> Floats:
    ion, out = IONS[rng.integers(len(IONS))], np.zeros(_WL.size)
    width = rng.uniform(4.0, 14.0) / float(_FWHM)
    for place, usual in ion:
        height = usual * np.exp(0.5 * rng.standard_normal())
        out += height * np.exp(-0.5 * ((_WL - place - rng.normal(0.0, 2.0)) / width) ** 2)
    return out.astype(np.float32)


def _shapes(
    rng: Rng, n: int, fwhm_cm: tuple[float, float], peaks_nm: tuple[float, float] = PEAKS_NM
) -> tuple[Floats, Floats, Floats]:
    """Peaks in 1/cm and widths (standard deviation) to the blue and to the red, up to half as wide again."""
    width = _log_uniform(rng, n, *fwhm_cm) / _FWHM
    peak = np.float32(1e7) / _uniform(rng, n, *peaks_nm)
    return peak, width, width * (1 + _uniform(rng, n, 0.0, 0.5))


def _gauss(centre: Floats, blue: Floats, red: Floats) -> Floats:
    x = _NU - centre[:, None]
    sigma = np.where(x > 0, blue[:, None], red[:, None])
    return np.asarray(np.exp(np.float32(-0.5) * np.square(x / sigma)))


def _footed(rng: Rng, nu: Floats, blue: Floats, red: Floats) -> Floats:
    """Bands, two in five of them with feet wider than a Gaussian's, as homogeneous broadening makes them."""
    share = np.where(rng.random(nu.size) < 0.4, rng.uniform(0.02, 0.35, nu.size), 0.0).astype(np.float32)
    wider = _uniform(rng, nu.size, 1.8, 4.0)
    foot = share[:, None] * _gauss(nu, blue * wider, red * wider)
    return np.asarray((1 - share[:, None]) * _gauss(nu, blue, red) + foot)


def _power(photons: Floats) -> Floats:
    return _unit(photons * (_NU / _NU[0]) ** 3)


def _unit(spectra: Floats) -> Floats:
    """Highest value 1."""
    return np.asarray(spectra / spectra.max(axis=1, keepdims=True))


def _of_unit_power(spectra: Floats) -> Floats:
    return np.asarray(spectra / spectra.sum(axis=1, keepdims=True))


def _uniform(rng: Rng, n: int, low: float, high: float) -> Floats:
    return rng.uniform(low, high, n).astype(np.float32)


def _log_uniform(rng: Rng, n: int, low: float, high: float) -> Floats:
    return np.exp(rng.uniform(np.log(low), np.log(high), n)).astype(np.float32)
