"""The wavelengths on which cameras, lights and emissions meet, and the observers there."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from glowkin.colour.observer import cmfs

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array

STEP_NM = 2.0
WAVELENGTH_NM = np.arange(380.0, 780.0 + STEP_NM, STEP_NM)
"""201 wavelengths; consumer cameras see nothing beyond them."""


@lru_cache(maxsize=2)
def observer(degrees: int = 2) -> Array:
    """Colour-matching functions on the grid, 201 x 3."""
    nm, bar = cmfs(degrees)
    return np.stack([np.interp(WAVELENGTH_NM, nm, column) for column in bar.T], axis=1)


def on_grid(wavelength_nm: Array, values: Array) -> Array:
    """Values (n, or n x k) at ascending wavelengths, interpolated to the grid, zero beyond their range."""
    columns = np.atleast_2d(np.asarray(values, dtype=float).T)
    out = [np.interp(WAVELENGTH_NM, wavelength_nm, column, left=0.0, right=0.0) for column in columns]
    return np.asarray(out[0] if np.ndim(values) == 1 else np.stack(out, axis=1))
