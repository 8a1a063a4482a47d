"""Measured sensitivities from files: CSV of ``wavelength_nm,r,g,b``, or the Academy's JSON layout."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.columns import LARGEST, read_columns
from glowkin.base.errors import CannotReadError
from glowkin.base.files import named
from glowkin.base.versions import versions
from glowkin.base.wrong_keys import wrong_lines
from glowkin.camera.camera_file import NEEDED_NM, CameraFile, imported, read_json

if TYPE_CHECKING:
    from pathlib import Path

    from glowkin.base.uncertainty import Array

_LEAST, _COARSEST_NM = 15, 20.0
_SHORTEST_NM, _LONGEST_NM = 200.0, 1200.0
"""Where neither end lies between, the numbers are no nanometres."""
_MIXED_NM, _APART_NM = 10.0, 5.0
"""So far may middles lie in wrong order, as behind long-pass filters; so far must red and blue lie apart."""
_MEND = "give lines of wavelength_nm,r,g,b, or the JSON layout of the Academy's camera data set"


def read_sensitivities(path: Path) -> CameraFile:
    """A camera from measured sensitivities: a table as in ``base.columns``, or JSON.

    Raises ``CannotReadError`` where the file holds none, or covers too little of the spectrum.
    """
    if path.suffix.lower() == ".json":
        make, model, table = _academy(path, read_json(path, _MEND))
    else:
        make, model, table = "", path.stem, _columns(path)
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
    if np.abs(table).max() > LARGEST:
        raise CannotReadError(f"{path}: holds values that are far too large; correct them")
    if nm[0] > NEEDED_NM[0] or nm[-1] < NEEDED_NM[1]:
        no_nm = nm[-1] < _SHORTEST_NM or nm[0] > _LONGEST_NM
        raise CannotReadError(
            f"{path}: holds {len(nm)} wavelengths from {nm[0]:g} to {nm[-1]:g}; sensitivities must "
            f"reach from {NEEDED_NM[0]:g} to {NEEDED_NM[1]:g} nm at least"
            + ("; give wavelengths in nm" if no_nm else "")
        )
    if len(nm) < _LEAST or (np.diff(nm) <= 0).any() or np.diff(nm).max() > _COARSEST_NM:
        raise CannotReadError(
            f"{path}: wavelengths repeat or leave gaps of over {_COARSEST_NM:g} nm, or are fewer than "
            f"{_LEAST}; correct them"
        )
    if rgb.min() < -0.02 * rgb.max() or (rgb.max(axis=0) <= 0).any():
        raise CannotReadError(f"{path}: a channel is empty or negative; sensitivities are positive responses")
    _check_order(path, nm, rgb)
    return nm, rgb


def _check_order(path: Path, nm: Array, rgb: Array) -> None:
    """Channels must come as red, green, blue: of measured cameras' middles, 400 to 700 nm, red's lies 44 to
    75 nm above green's, and that 50 to 67 nm above blue's.
    """
    visible = (nm >= 400.0) & (nm <= 700.0)
    total = np.maximum(rgb[visible].sum(axis=0), 1e-300)
    red, green, blue = (nm[visible] @ rgb[visible]) / total
    if min(red - green, green - blue) < -_MIXED_NM or red - blue < _APART_NM:
        raise CannotReadError(
            f"{path}: the columns do not look like red, green and blue, which lie about {red:.0f}, "
            f"{green:.0f} and {blue:.0f} nm in them; put them in the order wavelength_nm,r,g,b"
        )


def _columns(path: Path) -> Array:
    _, rows, wrong = read_columns(path, "wavelength_nm,r,g,b")
    if wrong:
        raise CannotReadError(f"{path}: {wrong_lines(wrong)}")
    if not rows:
        raise CannotReadError(f"{path}: holds no sensitivities; {_MEND}")
    return np.array(list(rows.values()))


def _academy(path: Path, row: dict[str, Any]) -> tuple[str, str, Array]:
    try:
        header, main = row["header"], row["spectral_data"]["data"]["main"]
        table = np.array([[float(nm), float(r), float(g), float(b)] for nm, (r, g, b) in main.items()])
        return str(header.get("manufacturer", "")), str(header.get("model", "")), table
    except (KeyError, TypeError, ValueError, AttributeError, IndexError):
        raise CannotReadError(f"{path}: is not laid out as spectral data of R, G and B; {_MEND}") from None
