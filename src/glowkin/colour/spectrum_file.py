"""Spectra in files of two columns: wavelength in nm, and power per nm (or photons)."""

from __future__ import annotations

import codecs
import csv
import re
from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotReadError
from glowkin.base.wrong_keys import wrong_lines

if TYPE_CHECKING:
    from pathlib import Path

    from glowkin.base.uncertainty import Array

_SHORTEST_NM, _LONGEST_NM = 150.0, 4000.0
_LEAST = 5
_LARGEST_BYTES = 20_000_000
_NUMBER = re.compile(r"[+-]?(\d+[.,]?\d*|[.,]\d+)([eE][+-]?\d+)?")
_SPACED = re.compile(r"[+-]?\d*([.,]\d+)?([eE][+-]?\d+)?\s+[^\s,]")
_WAVENUMBER = re.compile(r"wave\s*_?-?number|1/cm|cm\s*\^?[-−⁻][1¹]|kayser", re.IGNORECASE)


@dataclass(frozen=True, eq=False)
class MeasuredSpectrum:
    """``value`` (n), per nm, at ascending ``wavelength_nm`` (n); ``wavenumbers``: it was per 1/cm.

    >>> MeasuredSpectrum(np.array([500.0, 510.0]), np.array([0.2, 1.0])).value.max().item()
    1.0
    """

    wavelength_nm: Array
    value: Array
    wavenumbers: bool = False


def read_spectrum(path: Path) -> MeasuredSpectrum:
    """Read ``wavelength_nm,value``, or ``wavenumber_cm,value`` where the line of names says so.

    Lines before the first numbers are names; those that start with # are left out. Commas, semicolons, tabs
    and spaces part the columns, further columns are not read; decimal commas are taken where commas do not
    part columns. Values per 1/cm become values per nm by the factor 1e7 / wavelength squared.
    Raises ``CannotReadError`` with the lines that are wrong and the mend.
    """
    lines = _lines(path)
    _check_commas(path, lines)
    names, rows, wrong = _rows(lines)
    wrong += _repeated(rows)
    if wrong:
        raise CannotReadError(f"{path}: {wrong_lines(wrong)}")
    if len(rows) < _LEAST:
        raise CannotReadError(
            f"{path}: holds {len(rows)} wavelengths; give lines of wavelength_nm,intensity, at least {_LEAST}"
        )
    x, value = np.array(sorted(rows.values())).T
    if _WAVENUMBER.search(names):
        return _from_wavenumbers(path, x, value)
    _check_range(path, x)
    return MeasuredSpectrum(x, value)


def _from_wavenumbers(path: Path, per_cm: Array, value: Array) -> MeasuredSpectrum:
    if per_cm[0] <= 0:
        raise CannotReadError(f"{path}: holds wavenumbers of 0 or below; give them in 1/cm")
    nm = 1e7 / per_cm[::-1]
    _check_range(path, nm)
    return MeasuredSpectrum(nm, value[::-1] * 1e7 / nm**2, wavenumbers=True)


def _check_range(path: Path, nm: Array) -> None:
    if nm[0] >= _SHORTEST_NM and nm[-1] <= _LONGEST_NM:
        return
    if nm[0] > 2000.0:
        raise CannotReadError(
            f"{path}: goes from {nm[0]:g} to {nm[-1]:g}, as wavenumbers do; begin it with the line "
            "wavenumber_cm,intensity, or give wavelengths in nm"
        )
    raise CannotReadError(f"{path}: goes from {nm[0]:g} to {nm[-1]:g}; give wavelengths in nm")


def _lines(path: Path) -> list[tuple[int, str]]:
    """Lines that hold something, with their numbers."""
    try:
        if path.is_file() and path.stat().st_size > _LARGEST_BYTES:
            raise CannotReadError(f"{path}: is too large for one spectrum; give wavelength_nm,intensity only")
        content = path.read_bytes()
    except FileNotFoundError:
        raise CannotReadError(f"{path}: there is no such file; check the name") from None
    except OSError:
        raise CannotReadError(f"{path}: cannot be read as a file; check the name") from None
    text = _text(content)
    if "\0" in text:
        raise CannotReadError(f"{path}: is no text file; give lines of wavelength_nm,intensity")
    lines = [line.strip() for line in text.splitlines()]
    return [(n, line) for n, line in enumerate(lines, 1) if line and line[0] != "#"]


def _text(content: bytes) -> str:
    """UTF-8, or UTF-16 where its mark says so, else Latin-1, as instruments write."""
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return content.decode("utf-16", errors="replace")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def _rows(lines: list[tuple[int, str]]) -> tuple[str, dict[int, tuple[float, float]], list[tuple[int, str]]]:
    """The lines of names as one text, the rows of numbers by their lines, and what is wrong with others."""
    names: list[str] = []
    rows: dict[int, tuple[float, float]] = {}
    wrong: list[tuple[int, str]] = []
    mark = _separator([line for _, line in lines])
    for number, line in lines:
        fields = _fields(line, mark)
        try:
            row = _number(fields[0]), _number(fields[1])
        except (IndexError, ValueError):
            if not rows and re.search(r"[^\W\d_]", line):
                names.append(line)
            else:
                wrong.append((number, f", {line[:40]!r}, is not wavelength_nm,intensity"))
            continue
        if all(map(isfinite, row)):
            rows[number] = row
        else:
            wrong.append((number, f", {line[:40]!r}, holds values that are no numbers"))
    return "\n".join(names), rows, wrong


def _repeated(rows: dict[int, tuple[float, float]]) -> list[tuple[int, str]]:
    """Lines of a wavelength that was there before."""
    first = {x: number for number, (x, _) in reversed(rows.items())}
    again = [(number, x) for number, (x, _) in rows.items() if number != first[x]]
    return [(number, f": {x:g} is there more than once; keep one line of it") for number, x in again]


def _separator(lines: list[str]) -> str:
    """What parts the columns: the first of semicolon and tab in the lines of numbers, else comma or space."""
    numeric = [line for line in lines if _NUMBER.match(line)]
    for mark in (";", "\t"):
        if numeric and all(mark in line for line in numeric):
            return mark
    spaced = numeric and all(_SPACED.match(line) for line in numeric)
    return " " if spaced else ","


def _fields(line: str, mark: str) -> list[str]:
    if mark == " ":
        return line.split()
    return [field.strip() for field in next(csv.reader([line], delimiter=mark))]


def _number(text: str) -> float:
    """A number with a decimal point or comma; also nan, to be told of by name."""
    return float(text.replace(",", ".", 1))


def _check_commas(path: Path, lines: list[tuple[int, str]]) -> None:
    """Commas for both columns and decimals: 450,5,0,12 could be read as 450 and 5."""
    mark = _separator([line for _, line in lines])
    numeric = [line for _, line in lines if _NUMBER.match(line)]
    fields = [line.split(",") for line in numeric]
    if mark != "," or any("." in line or len(f) != 4 for line, f in zip(numeric, fields, strict=True)):
        return
    if len({len(f[1].strip()) for f in fields}) == 1 and len(fields[0][1].strip()) < 3:
        raise CannotReadError(
            f"{path}: has commas between columns and in numbers; save it with semicolons between columns"
        )
