"""Filters before the lens: what they let through, by wavelength."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotReadError
from glowkin.camera.grid import on_grid
from glowkin.colour.spectrum_file import read_spectrum

if TYPE_CHECKING:
    from pathlib import Path

    from glowkin.base.uncertainty import Array


@dataclass(frozen=True, eq=False)
class Filter:
    """A filter by ``name`` with its ``transmittance`` (201,) on the grid, 0 to 1."""

    name: str
    transmittance: Array


def read_filter(path: Path) -> Filter:
    """A filter from ``wavelength_nm,transmittance``, from 0 to 1 or in per cent; constant beyond the ends.

    Raises ``CannotReadError`` where the values are no transmittances.
    """
    measured = read_spectrum(path)
    value = measured.value / (100.0 if measured.value.max() > 2.0 else 1.0)
    if value.min() < -0.02 or value.max() > 1.05 or value.max() < 0.01:
        raise CannotReadError(f"{path}: holds values that are no transmittances; give them from 0 to 1")
    nm = np.concatenate([[1.0], measured.wavelength_nm, [1e4]])
    through = on_grid(nm, np.concatenate([value[:1], value, value[-1:]]))
    return Filter(path.stem, np.clip(through, 0.0, 1.0))
