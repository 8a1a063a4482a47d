"""Linear RGB spaces as matrices, the sRGB curve, chromatic adaptation, and colours for a screen.

Matrices act on column vectors: ``XYZ = M @ rgb``. They carry each space's own white, unadapted, so that
rgb (1, 1, 1) is D65 with Y = 1.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.colour.chromaticity import xyY_to_XYZ
from glowkin.colour.observer import WHITE_POINTS_XY

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from glowkin.base.uncertainty import Array

PRIMARIES_XY: dict[str, tuple[tuple[float, float], ...]] = {
    "sRGB": ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060)),
    "Display P3": ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)),
    "Adobe RGB (1998)": ((0.640, 0.330), (0.210, 0.710), (0.150, 0.060)),
    "BT.2020": ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)),
}
"""Red, green, blue, all with white D65: IEC 61966-2-1; SMPTE EG 432-1; Adobe RGB (1998) Color Image Encoding;
ITU-R BT.2020."""

BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
"""XYZ to the sharpened cone responses of the linear Bradford transform (ICC.1, annex E)."""

_ROUNDING = 1e-9
"""How far a channel may leave 0..1 by rounding alone."""


def primaries_to_XYZ(primaries_xy: ArrayLike, white_xy: ArrayLike) -> Array:
    """Build the matrix (3, 3) from rgb to XYZ out of primaries (3, 2) and the white (2,) of rgb (1, 1, 1)."""
    per_luminance = xyY_to_XYZ(np.column_stack([primaries_xy, np.ones(3)])).T
    white_XYZ = xyY_to_XYZ([*np.asarray(white_xy, dtype=float), 1.0])
    return np.asarray(per_luminance * np.linalg.solve(per_luminance, white_XYZ))


RGB_TO_XYZ: dict[str, Array] = {
    name: primaries_to_XYZ(primaries, WHITE_POINTS_XY["D65"]) for name, primaries in PRIMARIES_XY.items()
}
"""From linear rgb of the named space to XYZ."""


def srgb_decode(code: ArrayLike) -> Array:
    """Turn sRGB code values 0..1 into linear light, any shape (IEC 61966-2-1).

    >>> srgb_decode([0.0, 0.5, 1.0]).round(4).tolist()
    [0.0, 0.214, 1.0]
    """
    c = np.asarray(code, dtype=float)
    return np.where(c <= 0.04045, c / 12.92, ((np.maximum(c, 0.04045) + 0.055) / 1.055) ** 2.4)


def srgb_encode(linear: ArrayLike) -> Array:
    """Turn linear light 0..1 into sRGB code values, any shape (IEC 61966-2-1)."""
    c = np.asarray(linear, dtype=float)
    return np.where(c <= 0.0031308, 12.92 * c, 1.055 * np.maximum(c, 0.0031308) ** (1 / 2.4) - 0.055)


def bradford_adaptation(white_from_XYZ: ArrayLike, white_to_XYZ: ArrayLike) -> Array:
    """Build the matrix (3, 3) that takes XYZ seen under one white (3,) to the other (linear Bradford)."""
    gains = (BRADFORD @ np.asarray(white_to_XYZ)) / (BRADFORD @ np.asarray(white_from_XYZ))
    return np.asarray(np.linalg.solve(BRADFORD, gains[:, np.newaxis] * BRADFORD))


def XYZ_to_srgb_display(XYZ: ArrayLike) -> tuple[Array, NDArray[np.bool_]]:
    """Encoded sRGB (..., 3) in 0..1 to paint XYZ (..., 3) with, and whether the screen can show it (...).

    The screen's white is Y = 1. A colour too saturated is mixed with white at equal luminance until no
    channel is negative, one too bright is dimmed; both keep the hue's direction and answer False.
    """
    light = np.asarray(XYZ, dtype=float)
    rgb = light @ np.linalg.inv(RGB_TO_XYZ["sRGB"]).T
    in_gamut = np.all((rgb >= -_ROUNDING) & (rgb <= 1 + _ROUNDING), axis=-1)
    grey = np.maximum(light[..., 1:2], 0.0)
    lowest = rgb.min(axis=-1, keepdims=True)
    kept = np.where(lowest < 0, grey / np.where(lowest < 0, grey - lowest, 1.0), 1.0)
    shown = grey + kept * (rgb - grey)
    shown = shown / np.maximum(shown.max(axis=-1, keepdims=True), 1.0)
    return srgb_encode(np.clip(shown, 0.0, 1.0)), np.asarray(in_gamut)
