"""Spectra in files of two columns: wavelength in nm, and power per nm (or photons)."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotReadError

if TYPE_CHECKING:
    from pathlib import Path

    from glowkin.base.uncertainty import Array

_SHORTEST_NM, _LONGEST_NM = 150.0, 4000.0
_LEAST = 5


@dataclass(frozen=True, eq=False)
class MeasuredSpectrum:
    """``value`` (n) at ascending ``wavelength_nm`` (n).

    >>> MeasuredSpectrum(np.array([500.0, 510.0]), np.array([0.2, 1.0])).value.max().item()
    1.0
    """

    wavelength_nm: Array
    value: Array


def read_spectrum(path: Path) -> MeasuredSpectrum:
    """Read ``wavelength_nm,value`` with or without a line of names; lines that start with # are left out.

    Commas, semicolons, tabs and spaces part the columns; further columns are not read.
    Raises ``CannotReadError`` with the line that is wrong and the mend.
    """
    rows = _rows(path)
    if len(rows) < _LEAST:
        raise CannotReadError(
            f"{path}: holds {len(rows)} wavelengths; give lines of wavelength_nm,intensity, at least {_LEAST}"
        )
    table = np.array(sorted(rows))
    nm, value = table.T
    if not (np.diff(nm) > 0).all():
        twice = float(nm[1:][np.diff(nm) <= 0][0])
        raise CannotReadError(f"{path}: {twice:g} nm is there more than once; keep one line of it")
    if nm[0] < _SHORTEST_NM or nm[-1] > _LONGEST_NM:
        raise CannotReadError(f"{path}: goes from {nm[0]:g} to {nm[-1]:g}; give wavelengths in nm")
    return MeasuredSpectrum(nm, value)


def _rows(path: Path) -> list[tuple[float, float]]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise CannotReadError(f"{path}: there is no such file; check the name") from None
    except (OSError, UnicodeDecodeError):
        raise CannotReadError(f"{path}: is no text file; give lines of wavelength_nm,intensity") from None
    lines = [
        (n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and line.strip()[0] != "#"
    ]
    rows = []
    for place, (number, line) in enumerate(lines):
        fields = _fields(line)
        try:
            rows.append((float(fields[0]), float(fields[1])))
        except (IndexError, ValueError):
            if place == 0 and len(fields) > 1:
                continue
            raise CannotReadError(
                f"{path}: line {number}, {line.strip()[:40]!r}, is not wavelength_nm,intensity; correct it"
            ) from None
    if not np.isfinite(np.array(rows)).all():
        raise CannotReadError(f"{path}: holds values that are no numbers; take those lines out")
    return rows


def _fields(line: str) -> list[str]:
    for mark in (";", "\t", ","):
        if mark in line:
            return [field.strip() for field in next(csv.reader([line], delimiter=mark))]
    return line.split()
