"""Reflectances of a chart's 24 patches: a file's, or the ISO 17321-1 set."""

from __future__ import annotations

import csv
import re
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotReadError
from glowkin.camera.grid import STEP_NM, WAVELENGTH_NM

if TYPE_CHECKING:
    from pathlib import Path

    from glowkin.base.uncertainty import Array

PATCHES = 24
PATCH_RGB = np.array([
    (0.176, 0.078, 0.05), (0.559, 0.309, 0.223), (0.113, 0.199, 0.336), (0.095, 0.148, 0.05),
    (0.236, 0.226, 0.444), (0.134, 0.517, 0.403), (0.701, 0.199, 0.023), (0.068, 0.106, 0.377),
    (0.558, 0.091, 0.122), (0.108, 0.044, 0.147), (0.349, 0.502, 0.048), (0.792, 0.365, 0.027),
    (0.027, 0.048, 0.309), (0.06, 0.306, 0.061), (0.446, 0.028, 0.042), (0.852, 0.58, 0.011),
    (0.506, 0.089, 0.297), (0.005, 0.249, 0.385), (0.887, 0.889, 0.875), (0.586, 0.583, 0.582),
    (0.358, 0.358, 0.359), (0.203, 0.203, 0.204), (0.091, 0.093, 0.094), (0.033, 0.034, 0.035),
])  # fmt: skip
"""Linear sRGB of the patches of ISO 17321-1 in D65 (by colour-science), to tell a chart and how it stands."""
_MEND = (
    "give a CSV file with a first line of a name and the wavelengths in nm and then 24 lines, a patch each, "
    "or CGATS.17 text with fields such as SPECTRAL_NM400"
)


def iso_17321() -> Array:
    """Reflectances of the 24 patches of ISO 17321-1 on the grid (24 x 201), as colour-science holds them."""
    import colour

    shape = colour.SpectralShape(WAVELENGTH_NM[0], WAVELENGTH_NM[-1], STEP_NM)
    patches = colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()
    return np.array([patch.copy().align(shape).values for patch in patches])


def read_chart(path: Path) -> Array:
    """Reflectances (24 x 201) from CSV or CGATS.17 (ISO 28178) text, along the rows of the chart.

    Raises ``CannotReadError`` with what is wrong and the mend.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise CannotReadError(f"{path}: there is no such file; check the name") from None
    except (OSError, UnicodeDecodeError):
        raise CannotReadError(f"{path}: is no text file; {_MEND}") from None
    nm, values = _cgats(path, text) if "BEGIN_DATA_FORMAT" in text else _csv(path, text)
    if len(values) != PATCHES or len(nm) < 10 or nm.min() > 420 or nm.max() < 680:
        raise CannotReadError(
            f"{path}: holds {len(values)} patches at {len(nm)} wavelengths, 24 at 420 to 680 nm or more are "
            f"needed; {_MEND}"
        )
    if not np.isfinite(values).all() or values.min() < -0.02 or values.max() > 120:
        raise CannotReadError(
            f"{path}: holds values that are no reflectances; give them from 0 to 1, or in per cent"
        )
    values = values / 100.0 if values.max() > 2.0 else values
    order = np.argsort(nm)
    return np.array([np.interp(WAVELENGTH_NM, nm[order], row[order]) for row in values])


def _csv(path: Path, text: str) -> tuple[Array, Array]:
    try:
        rows = [row for row in csv.reader(text.splitlines()) if row and not row[0].startswith("#")]
        nm = np.array([float(field) for field in rows[0][1:]])
        return nm, np.array([[float(field) for field in row[1:]] for row in rows[1:]])
    except (ValueError, IndexError, csv.Error):
        raise CannotReadError(f"{path}: cannot be read as reflectances; {_MEND}") from None


def _cgats(path: Path, text: str) -> tuple[Array, Array]:
    try:
        fields = text.split("BEGIN_DATA_FORMAT")[1].split("END_DATA_FORMAT", maxsplit=1)[0].split()
        body = re.split(r"BEGIN_DATA\s", text)[1].split("END_DATA")[0]
        rows = [line.replace("\t", " ").split() for line in body.splitlines() if line.strip()]
        which = [(k, re.search(r"(\d{3,4}(?:\.\d+)?)$", name)) for k, name in enumerate(fields)]
        spectral = [
            (k, float(m[1])) for k, m in which if m and fields[k].upper().startswith(("SPECTRAL", "NM", "R_"))
        ]
        values = np.array([[float(row[k]) for k, _ in spectral] for row in rows])
        return np.array([nm for _, nm in spectral]), values
    except (IndexError, ValueError):
        raise CannotReadError(f"{path}: cannot be read as CGATS.17; {_MEND}") from None
