"""The prior over emission: some forty thousand spectra drawn from the families, with their colours.

A band's centre and width are the middle and the distance of the points at half its height, in power per nm;
a spectrum is a single band where no second part of it rises above 0.2 of its height, and no low foot
or rest of other light holds much of its power.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from glowkin.camera.families import FAMILIES
from glowkin.camera.grid import WAVELENGTH_NM, observer
from glowkin.colour.chromaticity import XYZ_to_uv_prime

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array

VERSION = "4"
"""To be raised with every change of the families: caches are keyed by it."""
SIZE = 40_000
_SEED = 20
_ONE_BAND = 0.2
_POWER, _WIDTHS = 0.78, 1.5
"""The share of a single band's power within so many widths of its centre; a Lorentzian band has 0.795."""


@dataclass(frozen=True, eq=False)
class EmissionPrior:
    """N spectra (N x 201, equal luminance), their ``uv_prime`` for 2 and 10 degrees (N x 2 each), the
    ``band`` (N x 2: centre and width in nm, NaN where there is no single one), and ``family`` numbers (N).
    """

    spectra: NDArray[np.float32]
    uv_prime: dict[int, Array]
    band: Array
    family: NDArray[np.int8]

    @property
    def ions(self) -> NDArray[np.bool_]:
        """Which spectra (N) are those of known ions with sharp lines."""
        return np.asarray(self.family == list(FAMILIES).index("ions"))


@lru_cache(maxsize=1)
def emission_prior() -> EmissionPrior:
    """The prior, the same on every machine to rounding; takes about a second."""
    rng = np.random.default_rng(_SEED)
    parts = [draw(rng, round(share * SIZE)) for draw, share in FAMILIES.values()]
    family = np.repeat(np.arange(len(parts), dtype=np.int8), [len(p) for p in parts])
    spectra = np.concatenate(parts)
    order = rng.permutation(len(spectra))
    spectra, family = spectra[order], family[order]
    XYZ = {degrees: spectra @ observer(degrees).astype(np.float32) for degrees in (2, 10)}
    uv = {degrees: XYZ_to_uv_prime(values.astype(float)) for degrees, values in XYZ.items()}
    return EmissionPrior(spectra / XYZ[2][:, 1:2], uv, bands_of(spectra), family)


def bands_of(spectra: NDArray[np.float32]) -> Array:
    """Centre and width (n x 2, nm) of single bands, from points at half height; NaN for other spectra."""
    height = spectra / spectra.max(axis=1, keepdims=True)
    ends = np.stack([_first_above(height, 0.5), _last_above(height, 0.5)], axis=1)
    parts = np.diff(height > _ONE_BAND, axis=1, prepend=False).sum(axis=1)
    single = parts + (height[:, 0] > _ONE_BAND) <= 2
    band = np.stack([ends.mean(axis=1), ends[:, 1] - ends[:, 0]], axis=1)
    near = np.abs(WAVELENGTH_NM - band[:, :1]) < _WIDTHS * band[:, 1:]
    single &= (height * near).sum(axis=1) > _POWER * height.sum(axis=1)
    return np.where(single[:, None], band, np.nan)


def _first_above(height: NDArray[np.float32], level: float) -> Array:
    """Where each spectrum first rises through this level, in nm, interpolated."""
    k = np.maximum((height > level).argmax(axis=1), 1)
    rows = np.arange(len(height))
    low, high = height[rows, k - 1], height[rows, k]
    share = np.clip((level - low) / np.maximum(high - low, 1e-9), 0.0, 1.0)
    return np.asarray(WAVELENGTH_NM[k - 1] + share * (WAVELENGTH_NM[k] - WAVELENGTH_NM[k - 1]))


def _last_above(height: NDArray[np.float32], level: float) -> Array:
    ends = WAVELENGTH_NM[0] + WAVELENGTH_NM[-1]
    return np.asarray(ends - _first_above(height[:, ::-1], level))
