"""Measured sensitivities from files: CSV of ``wavelength_nm,r,g,b``, or the Academy's JSON layout."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.errors import CannotReadError
from glowkin.base.files import named
from glowkin.base.versions import versions
from glowkin.camera.camera_file import NEEDED_NM, CameraFile, imported, read_json

if TYPE_CHECKING:
    from pathlib import Path

    from glowkin.base.uncertainty import Array

_LEAST, _COARSEST_NM = 15, 20.0
_MEND = "give lines of wavelength_nm,r,g,b, or the JSON layout of the Academy's camera data set"


def read_sensitivities(path: Path) -> CameraFile:
    """A camera from measured sensitivities.

    Raises ``CannotReadError`` where the file holds none, or covers too little of the spectrum.
    """
    if path.suffix.lower() == ".json":
        make, model, table = _academy(path, read_json(path, _MEND))
    else:
        make, model, table = "", path.stem, _csv(path)
    return CameraFile(
        imported(*_checked(path, table)),
        "sensitivities",
        make,
        model,
        obtained=named(path) | {"versions": versions()},
    )


def _checked(path: Path, table: Array) -> tuple[Array, Array]:
    table = table[np.argsort(table[:, 0])]
    nm, rgb = table[:, 0], table[:, 1:]
    if not np.isfinite(table).all():
        raise CannotReadError(f"{path}: holds values that are no numbers; take those lines out")
    if len(nm) < _LEAST or nm[0] > NEEDED_NM[0] or nm[-1] < NEEDED_NM[1]:
        raise CannotReadError(
            f"{path}: holds {len(nm)} wavelengths from {nm[0]:g} to {nm[-1]:g}; sensitivities must "
            f"reach from {NEEDED_NM[0]:g} to {NEEDED_NM[1]:g} nm at least"
        )
    if (np.diff(nm) <= 0).any() or np.diff(nm).max() > _COARSEST_NM:
        raise CannotReadError(
            f"{path}: wavelengths repeat or leave gaps of over {_COARSEST_NM:g} nm; correct them"
        )
    if rgb.min() < -0.02 * rgb.max() or (rgb.max(axis=0) <= 0).any():
        raise CannotReadError(f"{path}: a channel is empty or negative; sensitivities are positive responses")
    return nm, rgb


def _csv(path: Path) -> Array:
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except FileNotFoundError:
        raise CannotReadError(f"{path}: there is no such file; check the name") from None
    except (OSError, UnicodeDecodeError):
        raise CannotReadError(f"{path}: is no text file; {_MEND}") from None
    rows = []
    for number, line in enumerate(lines, 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        try:
            fields = next(csv.reader([line]))
            nm, r, g, b = (float(field) for field in fields[:4])
            rows.append([nm, r, g, b])
        except ValueError:
            if not rows:  # a line of names
                continue
            raise CannotReadError(f"{path}: line {number} is not wavelength_nm,r,g,b; correct it") from None
    if not rows:
        raise CannotReadError(f"{path}: holds no sensitivities; {_MEND}")
    return np.array(rows)


def _academy(path: Path, row: dict[str, Any]) -> tuple[str, str, Array]:
    try:
        header, main = row["header"], row["spectral_data"]["data"]["main"]
        table = np.array([[float(nm), float(r), float(g), float(b)] for nm, (r, g, b) in main.items()])
        return str(header.get("manufacturer", "")), str(header.get("model", "")), table
    except (KeyError, TypeError, ValueError, AttributeError, IndexError):
        raise CannotReadError(f"{path}: is not laid out as spectral data of R, G and B; {_MEND}") from None
