"""What a chromaticity with its error says: dominant wavelength, purity, hue, saturation, with intervals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.uncertainty import Array, Uncertain, interval_95, square_root
from glowkin.colour.chromaticity import (
    hue_angle_uv_deg,
    saturation_uv,
    uv_prime_to_xy,
    xy_to_uv_prime,
)
from glowkin.colour.dominant import dominant
from glowkin.colour.observer import locus_xy

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.records import Pair

DRAWS = 1000
_LEAST_INSIDE = 0.05
_SHORTEST_NM, _LONGEST_NM, _GREEN_NM = 400.0, 695.0, 550.0


@dataclass(frozen=True)
class Described:
    """The colour fields of a sample's record, in its names and units."""

    x: float
    y: float
    dominant_wavelength_nm: float | None
    dominant_wavelength_interval_nm: Pair | None
    complementary_wavelength_nm: float | None
    complementary_wavelength_interval_nm: Pair | None
    excitation_purity: float
    excitation_purity_interval: Pair
    hue_angle_uv_deg: float | None
    saturation_uv: float


def describe(colours: Sequence[Uncertain], white_xy: Array, observer: int) -> list[Described]:
    """Describe each chromaticity (u'v') against a white; intervals are 95 %, by draws (JCGM 101:2008).

    A region may reach beyond the spectrum locus and the purple line; no light has such a colour, so draws
    there tell no wavelength, and a purity of 1 at most.
    """
    if not colours:
        return []
    z = np.random.default_rng(0).standard_normal((DRAWS, 2))
    drawn = np.stack([c.value + z @ square_root(c.covariance).T for c in colours])
    at = dominant(uv_prime_to_xy(np.stack([c.value for c in colours])), white_xy, observer)
    spread = dominant(uv_prime_to_xy(drawn), white_xy, observer)
    beyond = _complement_beyond(spread.dominant_wavelength_nm, white_xy, observer)
    possible = _possible(spread.excitation_purity)
    white_uv = xy_to_uv_prime(white_xy)
    rows = []
    for i, colour in enumerate(colours):
        x, y = uv_prime_to_xy(colour.value)
        wavelength = _known(at.dominant_wavelength_nm[i])
        complement = _known(at.complementary_wavelength_nm[i])
        rows.append(
            Described(
                x=float(x),
                y=float(y),
                dominant_wavelength_nm=wavelength,
                dominant_wavelength_interval_nm=_interval(
                    wavelength, spread.dominant_wavelength_nm[i], possible[i], _end_of_spectrum(wavelength)
                ),
                complementary_wavelength_nm=complement,
                complementary_wavelength_interval_nm=_interval(
                    complement, spread.complementary_wavelength_nm[i], possible[i], beyond[i]
                ),
                excitation_purity=float(np.clip(at.excitation_purity[i], 0, 1)),
                excitation_purity_interval=interval_95(np.clip(spread.excitation_purity[i], 0, 1)),
                hue_angle_uv_deg=_known(float(hue_angle_uv_deg(colour.value, white_uv))),
                saturation_uv=float(saturation_uv(colour.value, white_uv)),
            )
        )
    return rows


def _known(figure: float) -> float | None:
    return float(figure) if np.isfinite(figure) else None


def _end_of_spectrum(wavelength: float | None) -> float:
    """The near end of the spectrum: what a draw beyond it, on the purple side, counts as."""
    return _LONGEST_NM if wavelength is not None and wavelength > _GREEN_NM else _SHORTEST_NM


def _complement_beyond(drawn_dominant: Array, white_xy: Array, observer: int) -> Array:
    """What a draw that left the purple side counts as: the complementary wavelength of the end it left by."""
    _, locus = locus_xy(observer)
    ends = 0.999 * locus[[0, -1]] + 0.001 * locus[[-1, 0]]
    violet, red = dominant(ends, white_xy, observer).complementary_wavelength_nm
    return np.asarray(np.where(drawn_dominant > _GREEN_NM, red, violet))


def _possible(purity: Array) -> NDArray[np.bool_]:
    """Which draws (n x draws) are colours that there are; all of a colour whose draws hardly hold any."""
    inside = purity <= 1.0
    return np.asarray(inside | (inside.mean(axis=1, keepdims=True) < _LEAST_INSIDE))


def _interval(
    wavelength: float | None, drawn: Array, possible: NDArray[np.bool_], beyond: float | Array
) -> Pair | None:
    """95 % of the possible draws' wavelengths, those that have none counting as the one at the end they are
    beyond; the wavelength told is always in it.
    """
    if wavelength is None:
        return None
    low, high = interval_95(np.where(np.isfinite(drawn), drawn, beyond)[possible])
    return min(low, wavelength), max(high, wavelength)
