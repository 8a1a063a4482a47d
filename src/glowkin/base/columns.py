"""Tables of numbers as instruments and spreadsheets write them.

Commas, semicolons, tabs and spaces part the columns, further columns than asked for are not read; decimal
commas are taken where commas do not part columns. Whether they do, the number of names tells. Lines before
the first numbers are names; those that start with # are left out.
"""

from __future__ import annotations

import codecs
import csv
import re
from itertools import takewhile
from math import isfinite
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotReadError

if TYPE_CHECKING:
    from pathlib import Path

_LARGEST_BYTES = 20_000_000
LARGEST = 1e30
"""Larger numbers are no measured values, and arithmetic with the largest ones fails."""
_NUMBER = re.compile(r"[+-]?(\d+[.,]?\d*|[.,]\d+)([eE][+-]?\d+)?")
_WHOLE = re.compile(r"[+-]?\d+([eE][+-]?\d+)?")
_SPACED = re.compile(r"[+-]?\d*([.,]\d+)?([eE][+-]?\d+)?\s+[^\s,]")
Rows = dict[int, tuple[float, ...]]


def read_columns(path: Path, layout: str) -> tuple[str, Rows, list[tuple[int, str]]]:
    """The lines of names as one text, the rows of numbers by their lines, and what is wrong with other lines.

    ``layout`` names the columns, such as ``wavelength_nm,intensity``.
    Raises ``CannotReadError`` for what is no table at all, or may be read in two ways.
    """
    lines, columns = _lines(path, layout), layout.count(",") + 1
    mark = _separator([line for _, line in lines])
    if mark == ",":
        _check_commas(path, lines, columns)
    names: list[str] = []
    rows: Rows = {}
    wrong: list[tuple[int, str]] = []
    for number, line in lines:
        fields = _fields(path, number, line, mark)
        try:
            row = tuple(_number(fields[k]) for k in range(columns))
        except (IndexError, ValueError):
            if not rows and re.search(r"[^\W\d_]", line):
                names.append(line)
            else:
                wrong.append((number, f", {line[:40]!r}, is not {layout}"))
            continue
        if not all(map(isfinite, row)):
            wrong.append((number, f", {line[:40]!r}, holds values that are no numbers"))
        elif max(map(abs, row)) > LARGEST:
            wrong.append((number, f", {line[:40]!r}, holds values that are far too large"))
        else:
            rows[number] = row
    return "\n".join(names), rows, wrong


def _lines(path: Path, layout: str) -> list[tuple[int, str]]:
    """Lines that hold something, with their numbers."""
    try:
        if path.is_file() and path.stat().st_size > _LARGEST_BYTES:
            raise CannotReadError(f"{path}: is too large for one table; give lines of {layout} only")
        content = path.read_bytes()
    except FileNotFoundError:
        raise CannotReadError(f"{path}: there is no such file; check the name") from None
    except OSError:
        raise CannotReadError(f"{path}: cannot be read as a file; check the name") from None
    text = _text(content)
    if "\0" in text:
        raise CannotReadError(f"{path}: is no text file; give lines of {layout}")
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


def _separator(lines: list[str]) -> str:
    """What parts the columns: the first of semicolon and tab in the lines of numbers, else comma or space."""
    numeric = [line for line in lines if _NUMBER.match(line)]
    for mark in (";", "\t"):
        if numeric and all(mark in line for line in numeric):
            return mark
    spaced = numeric and all(_SPACED.match(line) for line in numeric)
    return " " if spaced else ","


def _fields(path: Path, number: int, line: str, mark: str) -> list[str]:
    if mark == " ":
        return line.split()
    try:
        return [field.strip() for field in next(csv.reader([line], delimiter=mark))]
    except csv.Error:  # a field of more than 131072 characters
        raise CannotReadError(
            f"{path}: line {number}, {line[:40]!r}, is too long for a line of a table; take it out"
        ) from None


def _number(text: str) -> float:
    """A number with a decimal point or comma; also nan, to be told of by name."""
    return float(text.replace(",", ".", 1))


def _check_commas(path: Path, lines: list[tuple[int, str]], columns: int) -> None:
    """Commas for both columns and decimals: 450,5,0,12 could be read as 450 and 5.

    Lines of no more numbers than names have further columns; without names, whole numbers may be meant too.
    """
    numeric = [line for _, line in lines if _NUMBER.match(line)]
    width = max((_leading(line) for line in numeric), default=0)
    if width <= columns or any("." in line for line in numeric):
        return
    names = _names_above(path, lines, columns)
    if names >= width:
        return
    if names:
        raise CannotReadError(
            f"{path}: has {width} numbers in a line under {names} names, as with commas between columns and "
            "in numbers; save it with semicolons between columns, or name every column"
        )
    raise CannotReadError(
        f"{path}: may be read in two ways, with further columns or with commas in numbers; save it with "
        "semicolons between columns, or begin it with a line that names every column"
    )


def _leading(line: str) -> int:
    """How many whole numbers between commas a line begins with."""
    return sum(1 for _ in takewhile(_WHOLE.fullmatch, map(str.strip, line.split(","))))


def _names_above(path: Path, lines: list[tuple[int, str]], columns: int) -> int:
    """How many columns are named: by the last line above the numbers that names all asked for; 0 if none."""
    above = takewhile(lambda line: not _NUMBER.match(line[1]), lines)
    counts = [len(_fields(path, number, line.rstrip(", "), ",")) for number, line in above]
    return next((count for count in reversed(counts) if count >= columns), 0)
