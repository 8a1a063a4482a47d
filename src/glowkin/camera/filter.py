"""Filters before the lens: what they let through, by wavelength, or the name alone."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotReadError, WrongUseError
from glowkin.base.wrong_keys import few_told
from glowkin.camera.grid import on_grid
from glowkin.colour.spectrum_file import read_spectrum

if TYPE_CHECKING:
    from pathlib import Path

    from glowkin.base.uncertainty import Array

_PER_CENT = re.compile(r"%|per\s?cent", re.IGNORECASE)
_SAME = 0.02
"""Transmittances that differ by less are one filter's, measured or rounded twice (common practice)."""


@dataclass(frozen=True, eq=False)
class Filter:
    """A filter by ``name`` with its ``transmittance`` (201,) on the grid, 0 to 1; None where only the name is
    known.
    """

    name: str
    transmittance: Array | None = None

    @property
    def known(self) -> Array:
        """The transmittance; ``WrongUseError`` where only the name is known."""
        if self.transmittance is None:
            raise WrongUseError(
                f"--filter {self.name}: what it lets through is not known; give a file of "
                "wavelength_nm,transmittance, or a camera file that was made behind it"
            )
        return self.transmittance

    def same(self, other: Filter) -> bool:
        """Whether this is the other filter: by what both let through where that is known, else by name."""
        if self.transmittance is None or other.transmittance is None:
            return self.name.strip().lower() == other.name.strip().lower()
        return bool(np.abs(self.transmittance - other.transmittance).max() < _SAME)


def given_filter(given: Path) -> Filter:
    """A filter as a user gives it: a file of its transmittance, or, of a bare word, its name.

    Raises ``CannotReadError`` for a file that is missing or holds no transmittances.
    """
    if given.suffix or given.parent.name or given.exists():
        return read_filter(given)
    return Filter(str(given))


def read_filter(path: Path) -> Filter:
    """A filter from ``wavelength_nm,transmittance``, from 0 to 1 or in per cent; constant beyond the ends.

    Per cent are told by the line of names, else by values above 2, of which a single one may be a slip.
    Raises ``CannotReadError`` where the values are no transmittances.
    """
    measured = read_spectrum(path)
    named = bool(_PER_CENT.search(measured.names.rpartition("\n")[2]))
    high = measured.wavelength_nm[measured.value > 2.0]
    if high.size == 1 and not named:
        raise CannotReadError(
            f"{path}: holds a single value above 2, at {high[0]:g} nm; correct it, or, if the table is in "
            "per cent, name its column T_percent or list more wavelengths"
        )
    value = measured.value / (100.0 if named or high.size else 1.0)
    wrong = measured.wavelength_nm[(value < -0.02) | (value > 1.05)]
    if wrong.size or value.max() < 0.01:
        at = f", at {few_told([f'{nm:g} nm' for nm in wrong])}" if wrong.size else ""
        raise CannotReadError(
            f"{path}: holds values that are no transmittances{at}; give all from 0 to 1, or in per cent"
        )
    nm = np.concatenate([[1.0], measured.wavelength_nm, [1e4]])
    through = on_grid(nm, np.concatenate([value[:1], value, value[-1:]]))
    return Filter(path.stem, np.clip(through, 0.0, 1.0))
