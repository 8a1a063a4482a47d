"""Chromaticity: XYZ, xy, u'v' and their derivatives, hue, saturation and Lab (CIE 15; ISO/CIE 11664-5, -4).

The last axis holds the components, any axes may lead, NaN comes out as NaN, and so does a chromaticity
of no light at all.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from glowkin.base.uncertainty import Array

WHITE_UV_PRIME, WHITISH = (4 / 19, 9 / 19), 0.08
"""u'v' of the equal-energy white, and how far from it room light may lie: lamps of 2700-6500 K do not reach
farther (CIE 15)."""


def XYZ_to_xy(XYZ: ArrayLike) -> Array:
    """Turn XYZ (..., 3) into xy (..., 2).

    >>> XYZ_to_xy([1.0, 1.0, 2.0]).tolist()
    [0.25, 0.25]
    """
    values = np.asarray(XYZ, dtype=float)
    return np.asarray(values[..., :2] / _nan_for_zero(values.sum(axis=-1))[..., np.newaxis])


def xyY_to_XYZ(xyY: ArrayLike) -> Array:
    """Turn chromaticity and luminance xyY (..., 3) into XYZ (..., 3)."""
    x, y, Y = _components(xyY)
    scale = Y / _nan_for_zero(y)
    return np.stack([x * scale, Y + 0 * scale, (1 - x - y) * scale], axis=-1)


def xy_to_uv_prime(xy: ArrayLike) -> Array:
    """Turn xy (..., 2) into u'v' (..., 2), the CIE 1976 uniform chromaticity scale.

    >>> xy_to_uv_prime([1 / 3, 1 / 3]).round(4).tolist()
    [0.2105, 0.4737]
    """
    x, y = _components(xy)
    D = _nan_for_zero(-2 * x + 12 * y + 3)
    return np.stack([4 * x / D, 9 * y / D], axis=-1)


def uv_prime_to_xy(uv: ArrayLike) -> Array:
    """Turn u'v' (..., 2) into xy (..., 2)."""
    u, v = _components(uv)
    D = _nan_for_zero(6 * u - 16 * v + 12)
    return np.stack([9 * u / D, 4 * v / D], axis=-1)


def XYZ_to_uv_prime(XYZ: ArrayLike) -> Array:
    """Turn XYZ (..., 3) into u'v' (..., 2)."""
    X, Y, Z = _components(XYZ)
    D = _nan_for_zero(X + 15 * Y + 3 * Z)
    return np.stack([4 * X / D, 9 * Y / D], axis=-1)


def jacobian_uv_prime_XYZ(XYZ: ArrayLike) -> Array:
    """d(u', v') / d(X, Y, Z), (..., 2, 3), at XYZ (..., 3)."""
    X, Y, Z = _components(XYZ)
    weights = np.array([1.0, 15.0, 3.0])
    D = _nan_for_zero(X + 15 * Y + 3 * Z)[..., np.newaxis]
    du = 4 * (np.array([1.0, 0.0, 0.0]) - X[..., np.newaxis] / D * weights) / D
    dv = 9 * (np.array([0.0, 1.0, 0.0]) - Y[..., np.newaxis] / D * weights) / D
    return np.stack([du, dv], axis=-2)


def jacobian_xy_uv_prime(uv: ArrayLike) -> Array:
    """d(x, y) / d(u', v'), (..., 2, 2), at u'v' (..., 2)."""
    u, v = _components(uv)
    weights = np.array([6.0, -16.0])
    D = _nan_for_zero(6 * u - 16 * v + 12)[..., np.newaxis]
    dx = 9 * (np.array([1.0, 0.0]) - u[..., np.newaxis] / D * weights) / D
    dy = 4 * (np.array([0.0, 1.0]) - v[..., np.newaxis] / D * weights) / D
    return np.stack([dx, dy], axis=-2)


def hue_angle_uv_deg(uv: ArrayLike, white_uv: ArrayLike) -> Array:
    """CIE 1976 u'v' hue angle h_uv in degrees, [0, 360), of u'v' (..., 2); NaN at the white itself.

    >>> hue_angle_uv_deg([0.2, 0.6], [0.2, 0.5]).item()
    90.0
    """
    du, dv = _components(np.asarray(uv, dtype=float) - np.asarray(white_uv, dtype=float))
    angle = np.degrees(np.arctan2(dv, du)) % 360
    angle = np.where(angle == 360, 0.0, angle)  # the remainder of a tiny negative angle rounds up to 360
    return np.where((du == 0) & (dv == 0), np.nan, angle)


def saturation_uv(uv: ArrayLike, white_uv: ArrayLike) -> Array:
    """CIE 1976 u'v' saturation s_uv = 13 x distance from the white, of u'v' (..., 2)."""
    du, dv = _components(np.asarray(uv, dtype=float) - np.asarray(white_uv, dtype=float))
    return np.asarray(13 * np.hypot(du, dv))


def XYZ_to_Lab(XYZ: ArrayLike, white_XYZ: ArrayLike) -> Array:
    """CIE 1976 L*a*b* (..., 3) of XYZ (..., 3) against a white of the same units (ISO/CIE 11664-4).

    Made for surfaces seen beside that white; for something that glows it is a figure without that meaning.
    """
    ratio = np.asarray(XYZ, dtype=float) / np.asarray(white_XYZ, dtype=float)
    f = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    fx, fy, fz = _components(f)
    return np.stack([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)], axis=-1)


def _components(values: ArrayLike) -> tuple[Array, ...]:
    array = np.asarray(values, dtype=float)
    return tuple(array[..., i] for i in range(array.shape[-1]))


def _nan_for_zero(denominator: Array) -> Array:
    """The denominator with zeros as NaN, so that no light has no colour instead of a warning."""
    return np.where(denominator == 0, np.nan, denominator)
