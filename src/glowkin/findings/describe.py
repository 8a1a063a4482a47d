"""What a chromaticity with its error says: dominant wavelength, purity, hue, saturation, with intervals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.uncertainty import Array, Uncertain, interval_95, joint_draws
from glowkin.colour.chromaticity import (
    hue_angle_uv_deg,
    saturation_uv,
    uv_prime_to_xy,
    xy_to_uv_prime,
)
from glowkin.colour.dominant import dominant

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.records import Pair

DRAWS = 2000
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
    hue_angle_uv_deg: float
    saturation_uv: float


def describe(colours: Sequence[Uncertain], white_xy: Array, observer: int) -> list[Described]:
    """Describe each chromaticity (u'v') against a white; intervals are 95 %, by draws (JCGM 101:2008)."""
    if not colours:
        return []
    drawn = np.stack([joint_draws([c], DRAWS)[0] for c in colours])
    at = dominant(uv_prime_to_xy(np.stack([c.value for c in colours])), white_xy, observer)
    spread = dominant(uv_prime_to_xy(drawn), white_xy, observer)
    rows = []
    for i, colour in enumerate(colours):
        x, y = uv_prime_to_xy(colour.value)
        white_uv = xy_to_uv_prime(white_xy)
        wavelength = _known(at.dominant_wavelength_nm[i])
        complement = _known(at.complementary_wavelength_nm[i])
        rows.append(
            Described(
                x=float(x),
                y=float(y),
                dominant_wavelength_nm=wavelength,
                dominant_wavelength_interval_nm=_interval(wavelength, spread.dominant_wavelength_nm[i]),
                complementary_wavelength_nm=complement,
                complementary_wavelength_interval_nm=_interval(
                    complement, spread.complementary_wavelength_nm[i]
                ),
                excitation_purity=float(np.clip(at.excitation_purity[i], 0, 1)),
                excitation_purity_interval=interval_95(np.clip(spread.excitation_purity[i], 0, 1)),
                hue_angle_uv_deg=float(hue_angle_uv_deg(colour.value, white_uv)),
                saturation_uv=float(saturation_uv(colour.value, white_uv)),
            )
        )
    return rows


def _known(wavelength: float) -> float | None:
    return float(wavelength) if np.isfinite(wavelength) else None


def _interval(wavelength: float | None, drawn: Array) -> Pair | None:
    """95 % of the drawn wavelengths; a draw beyond the purple line counts as the near end of the spectrum."""
    if wavelength is None:
        return None
    end = _LONGEST_NM if wavelength > _GREEN_NM else _SHORTEST_NM
    return interval_95(np.where(np.isfinite(drawn), drawn, end))
