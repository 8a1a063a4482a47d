"""Colour by code points (ITU-T H.273), as PNG, HEIC and AVIF files carry them, and by PNG's gamma chunk."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotReadError
from glowkin.colour.spaces import RGB_TO_XYZ, primaries_to_XYZ, srgb_decode
from glowkin.light.profile import ColourSpace, Curve

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array

UNSPECIFIED = 2
_PRIMARIES = {1: "sRGB", 9: "BT.2020", 12: "Display P3"}


def _bt709(V: Array) -> Array:
    """Scene light of the camera curve of ITU-R BT.709."""
    return np.where(V < 0.081, V / 4.5, ((np.maximum(V, 0.081) + 0.099) / 1.099) ** (1 / 0.45))


def _power(gamma: float) -> Curve:
    return lambda V: np.asarray(V, dtype=float) ** gamma


_TRANSFERS: dict[int, Curve] = {
    **dict.fromkeys((1, 6, 14, 15), _bt709),
    4: _power(2.2),
    5: _power(2.8),
    8: _power(1.0),
    13: srgb_decode,
}
_HDR = {16: "PQ", 18: "HLG"}


def coded_space(primaries: int, transfer: int) -> ColourSpace | None:
    """The space of two code points; None where the file leaves them unspecified.

    CannotReadError for PQ, HLG and what no camera writes.
    """
    if transfer in _HDR:
        raise CannotReadError(f"its levels are coded for HDR screens ({_HDR[transfer]}); save it as SDR")
    if primaries == transfer == UNSPECIFIED:
        return None
    primaries = 1 if primaries == UNSPECIFIED else primaries
    transfer = 13 if transfer == UNSPECIFIED else transfer
    if primaries not in _PRIMARIES or transfer not in _TRANSFERS:
        raise CannotReadError(f"its colour coding ({primaries}, {transfer}) is unknown here; save it as sRGB")
    name = _PRIMARIES[primaries]
    return ColourSpace(name, RGB_TO_XYZ[name], (_TRANSFERS[transfer],) * 3)


def gamma_space(gamma: float | None, corners_xy: Sequence[float] | None) -> ColourSpace:
    """A power law and white, red, green, blue (x, y each), as PNG's gAMA and cHRM; sRGB where one is missing.

    ``gamma`` is that of encoding: light = code ** (1 / gamma).
    """
    curve = srgb_decode if gamma is None else _power(1 / gamma)
    matrix = RGB_TO_XYZ["sRGB"]
    if corners_xy is not None:
        white, *primaries = np.reshape(corners_xy, (4, 2))
        try:
            matrix = primaries_to_XYZ(primaries, white)
        except (np.linalg.LinAlgError, FloatingPointError):
            matrix = np.full((3, 3), np.nan)
        if not np.isfinite(matrix).all() or np.linalg.det(matrix) <= 0:
            raise CannotReadError("its primaries are no colours; save it as sRGB")
    return ColourSpace("its own primaries and gamma", matrix, (curve,) * 3)
