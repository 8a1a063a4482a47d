"""Spectra in files of two columns: wavelength in nm, and power per nm (or photons)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.columns import read_columns
from glowkin.base.errors import CannotReadError
from glowkin.base.wrong_keys import wrong_lines

if TYPE_CHECKING:
    from pathlib import Path

    from glowkin.base.columns import Rows
    from glowkin.base.uncertainty import Array

_SHORTEST_NM, _LONGEST_NM = 150.0, 4000.0
_LEAST = 5
_WAVENUMBER = re.compile(r"wave\s*_?-?number|1/cm|cm\s*\^?[-−⁻][1¹]|kayser", re.IGNORECASE)


@dataclass(frozen=True, eq=False)
class MeasuredSpectrum:
    """``value`` (n), per nm, at ascending ``wavelength_nm`` (n); ``wavenumbers``: it was per 1/cm; ``names``:
    the lines above the numbers.

    >>> MeasuredSpectrum(np.array([500.0, 510.0]), np.array([0.2, 1.0])).value.max().item()
    1.0
    """

    wavelength_nm: Array
    value: Array
    wavenumbers: bool = False
    names: str = ""


def read_spectrum(path: Path) -> MeasuredSpectrum:
    """Read ``wavelength_nm,value``, or ``wavenumber_cm,value`` where the line of names says so.

    The table is read as in ``base.columns``. Values per 1/cm become values per nm by the factor
    1e7 / wavelength squared.
    Raises ``CannotReadError`` with the lines that are wrong and the mend.
    """
    names, rows, wrong = read_columns(path, "wavelength_nm,intensity")
    wrong += _repeated(rows)
    if wrong:
        raise CannotReadError(f"{path}: {wrong_lines(wrong)}")
    if len(rows) < _LEAST:
        raise CannotReadError(
            f"{path}: holds {len(rows)} wavelengths; give lines of wavelength_nm,intensity, at least {_LEAST}"
        )
    x, value = np.array(sorted(rows.values())).T
    if _WAVENUMBER.search(names):
        return _from_wavenumbers(path, x, value, names)
    _check_range(path, x)
    return MeasuredSpectrum(x, value, names=names)


def _from_wavenumbers(path: Path, per_cm: Array, value: Array, names: str) -> MeasuredSpectrum:
    if per_cm[0] <= 0:
        raise CannotReadError(f"{path}: holds wavenumbers of 0 or below; give them in 1/cm")
    nm = 1e7 / per_cm[::-1]
    _check_range(path, nm)
    return MeasuredSpectrum(nm, value[::-1] * 1e7 / nm**2, wavenumbers=True, names=names)


def _check_range(path: Path, nm: Array) -> None:
    if nm[0] >= _SHORTEST_NM and nm[-1] <= _LONGEST_NM:
        return
    if nm[0] > 2000.0:
        raise CannotReadError(
            f"{path}: goes from {nm[0]:g} to {nm[-1]:g}, as wavenumbers do; begin it with the line "
            "wavenumber_cm,intensity, or give wavelengths in nm"
        )
    raise CannotReadError(f"{path}: goes from {nm[0]:g} to {nm[-1]:g}; give wavelengths in nm")


def _repeated(rows: Rows) -> list[tuple[int, str]]:
    """Lines of a wavelength that was there before."""
    first = {row[0]: number for number, row in reversed(rows.items())}
    again = [(number, row[0]) for number, row in rows.items() if number != first[row[0]]]
    return [(number, f": {x:g} is there more than once; keep one line of it") for number, x in again]
