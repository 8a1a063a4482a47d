"""Peak, middle and width of an emission spectrum, in power per nm, and how far the spectrum may be wrong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.observer import cmfs, spectrum_to_XYZ
from glowkin.colour.photon import photon_energy_eV

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array

WAVELENGTH_SD_NM = 1.0
"""Error of a spectrometer's wavelengths (common practice, no source)."""
TILT_SD, BOW_SD = 0.05, 0.03
"""Error of its sensitivity, relative for each 100 nm, and its square (common practice, no source)."""
_NEAR_PEAK = 0.95
_TAIL_NM = 20.0
"""A spectrum cut off is taken to fall to 1/e in 20 nm, give or take as much."""
_ENDS = 3


@dataclass(frozen=True)
class Shape:
    """In nm: the peak in power per nm and in photons per nm, the middle of the power, and where it falls to
    half the peak's height on both sides (NaN where it does not).
    """

    peak_nm: float
    photon_peak_nm: float
    centroid_nm: float
    half_height_nm: tuple[float, float]


def shape_of(wavelength_nm: Array, power: Array) -> Shape:
    """The shape of power per nm (n) at ascending wavelengths (n).

    >>> nm = np.arange(400.0, 701.0)
    >>> shape = shape_of(nm, np.exp(-4 * np.log(2) * ((nm - 550) / 60) ** 2))
    >>> round(shape.peak_nm), tuple(round(end) for end in shape.half_height_nm)
    (550, (520, 580))
    """
    return Shape(
        peak_nm=_peak(wavelength_nm, power),
        photon_peak_nm=_peak(wavelength_nm, power / photon_energy_eV(wavelength_nm)),
        centroid_nm=float(
            np.trapezoid(power * wavelength_nm, wavelength_nm) / np.trapezoid(power, wavelength_nm)
        ),
        half_height_nm=_half_height(wavelength_nm, power),
    )


def _peak(nm: Array, height: Array) -> float:
    """The top of the parabola through the points next to the highest above 0.95 of it, three at least."""
    top = int(np.argmax(height))
    low = high = top
    while low > 0 and height[low - 1] > _NEAR_PEAK * height[top]:
        low -= 1
    while high < nm.size - 1 and height[high + 1] > _NEAR_PEAK * height[top]:
        high += 1
    if high - low < 2:
        low, high = top - 1, top + 1
    if low < 0 or high >= nm.size:
        return float(nm[top])
    part = slice(low, high + 1)
    bend, slope, _ = np.polyfit(nm[part] - nm[top], height[part] / height[top], 2)
    if bend >= 0:
        return float(nm[top])
    return float(np.clip(nm[top] - slope / (2 * bend), nm[low], nm[high]))


def _half_height(nm: Array, power: Array) -> tuple[float, float]:
    """Where the spectrum first falls below half on either side of its highest point, interpolated."""
    top, half = int(np.argmax(power)), power.max() / 2
    below = power <= half
    left, right = np.flatnonzero(below[:top]), top + np.flatnonzero(below[top:])
    out = []
    for k, step in ((left[-1] if left.size else None, 1), (right[0] if right.size else None, -1)):
        if k is None:
            out.append(np.nan)
            continue
        share = (half - power[k]) / (power[k + step] - power[k])
        out.append(nm[k] + share * (nm[k + step] - nm[k]))
    return float(out[0]), float(out[1])


def cut_off(wavelength_nm: Array, power: Array) -> tuple[float, float]:
    """Height at both ends over the peak's, where the eye would see what lies beyond; else 0."""
    height = power / power.max()
    low, high = float(height[:_ENDS].mean()), float(height[-_ENDS:].mean())
    return (low if wavelength_nm[0] > 390.0 else 0.0), (high if wavelength_nm[-1] < 750.0 else 0.0)


@dataclass(frozen=True, eq=False)
class Known:
    """An emission known but for an error: power per nm ``mean`` (471) at the observers' whole nanometres, and
    ``modes`` (k x 471), what may be added to it, one standard deviation each.
    """

    mean: Array
    modes: Array

    def uv_prime(self, degrees: int = 2) -> tuple[Array, Array]:
        """Chromaticity (2) and its covariance (2 x 2), by differences."""
        bar = cmfs(degrees)[1]
        here = XYZ_to_uv_prime(self.mean @ bar)
        moved = XYZ_to_uv_prime((self.mean + self.modes) @ bar) - here
        return here, moved.T @ moved


def measured(wavelength_nm: Array, power: Array) -> Known:
    """A measured spectrum (n at n ascending wavelengths) with the usual errors of spectrometers.

    Off by a nanometre; sensitivity tilted and bowed; light missing beyond a range that cuts it off; and a
    zero off by what is below nothing.
    """
    nm, _ = cmfs()
    mean = whole_nm(wavelength_nm, power)
    middle = (np.sum(nm * np.abs(mean)) / np.sum(np.abs(mean))) if np.any(mean) else 560.0
    hundreds = (nm - middle) / 100.0
    modes = [
        whole_nm(wavelength_nm + WAVELENGTH_SD_NM, power) - mean,
        TILT_SD * hundreds * mean,
        BOW_SD * hundreds**2 * mean,
        *_tails(nm, wavelength_nm, power),
        np.where((nm >= wavelength_nm[0]) & (nm <= wavelength_nm[-1]), _below_zero(power), 0.0),
    ]
    return Known(mean, np.array(modes))


def _below_zero(power: Array) -> float:
    """How far below nothing the lowest tenth of a spectrum lies."""
    return max(-float(np.quantile(power, 0.1)), 0.0)


def _tails(nm: Array, wavelength_nm: Array, power: Array) -> list[Array]:
    first, last = wavelength_nm[0], wavelength_nm[-1]
    low, high = cut_off(wavelength_nm, power)
    before = np.where(nm < first, np.exp(np.minimum(nm - first, 0.0) / _TAIL_NM), 0.0)
    after = np.where(nm > last, np.exp(np.minimum(last - nm, 0.0) / _TAIL_NM), 0.0)
    return [max(share, 0.0) * power.max() * tail for share, tail in ((low, before), (high, after))]


def whole_nm(wavelength_nm: Array, power: Array) -> Array:
    """Power (n) as means over each whole nanometre of the observers, so that no narrow line is lost."""
    nm, _ = cmfs()
    inner = np.diff(wavelength_nm) * (power[1:] + power[:-1]) / 2
    edges = np.append(nm - 0.5, nm[-1] + 0.5)
    return np.diff(_integral(wavelength_nm, power, np.concatenate([[0.0], np.cumsum(inner)]), edges))


def _integral(nm: Array, power: Array, whole: Array, at: Array) -> Array:
    """The integral of straight lines between points up to each place, zero outside them."""
    x = np.clip(at, nm[0], nm[-1])
    k = np.clip(np.searchsorted(nm, x, side="right") - 1, 0, nm.size - 2)
    here = power[k] + (power[k + 1] - power[k]) * (x - nm[k]) / (nm[k + 1] - nm[k])
    return np.asarray(whole[k] + (x - nm[k]) * (power[k] + here) / 2)


def chromaticity(wavelength_nm: Array, power: Array, degrees: int = 2) -> Array:
    """The u'v' (2) of a spectrum on its own points."""
    return XYZ_to_uv_prime(spectrum_to_XYZ(wavelength_nm, power, degrees))
