"""Small ICC profiles for the JPEGs: three colorants adapted to D50, and a curve (ICC.1:2022, version 4.3)."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from glowkin.colour.spaces import bradford_adaptation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array: TypeAlias = "NDArray[np.float64]"

D50 = np.array([0.9642, 1.0, 0.8249])
"""The profile connection space's white (ICC.1:2022, 7.2.16)."""

SRGB_CURVE = (2.4, 1.0 / 1.055, 0.055 / 1.055, 1.0 / 12.92, 0.04045)
"""g, a, b, c, d of parametricCurveType 3: (a x + b)^g from d on, c x below (IEC 61966-2-1)."""


def matrix_profile(name: str, rgb_to_XYZ: Array, *, table: bool = False) -> bytes:
    """A display profile of this matrix and the sRGB curve; ``table``: the curve as 1024 points."""
    adapt = bradford_adaptation(rgb_to_XYZ.sum(axis=1), D50)
    colorants = adapt @ rgb_to_XYZ
    curve = _table_curve() if table else _parametric_curve()
    tags = {
        b"desc": _text(name), b"cprt": _text("No rights reserved"), b"wtpt": _xyz(D50),
        b"chad": b"sf32" + bytes(4) + _fixed(adapt.ravel()),
        b"rXYZ": _xyz(colorants[:, 0]), b"gXYZ": _xyz(colorants[:, 1]), b"bXYZ": _xyz(colorants[:, 2]),
        b"rTRC": curve, b"gTRC": curve, b"bTRC": curve,
    }  # fmt: skip
    return _assemble(tags)


def _assemble(tags: dict[bytes, bytes]) -> bytes:
    """Header, tag table, and data, each element starting on a multiple of four."""
    offset = 128 + 4 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for signature, data in tags.items():
        table += struct.pack(">4sII", signature, offset + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    return _header(offset + len(body)) + table + body


def _header(size: int) -> bytes:
    date = struct.pack(">6H", 2026, 1, 1, 0, 0, 0)
    start = struct.pack(">I4sI4s4s4s", size, bytes(4), 0x04300000, b"mntr", b"RGB ", b"XYZ ") + date
    rest = b"acsp" + bytes(28) + _fixed(D50)
    return (start + rest).ljust(128, b"\x00")


def _fixed(values: Array) -> bytes:
    return b"".join(struct.pack(">i", round(float(v) * 65536.0)) for v in values)


def _xyz(XYZ: Array) -> bytes:
    return b"XYZ " + bytes(4) + _fixed(XYZ)


def _text(text: str) -> bytes:
    coded = text.encode("utf-16-be")
    return b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(coded), 28) + coded


def _parametric_curve() -> bytes:
    return b"para" + bytes(4) + struct.pack(">HH", 3, 0) + _fixed(np.array(SRGB_CURVE))


def _table_curve() -> bytes:
    x = np.linspace(0.0, 1.0, 1024)
    g, a, b, c, d = SRGB_CURVE
    y = np.where(x >= d, (a * x + b) ** g, c * x)
    return b"curv" + bytes(4) + struct.pack(">I", 1024) + np.rint(y * 65535.0).astype(">u2").tobytes()
