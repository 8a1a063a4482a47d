"""Mixtures of two lights on the u'v' diagram.

Tristimulus values add (CIE 15, Grassmann's laws), and X + 15 Y + 3 Z = 9 Y / v'. So the chromaticity of a
mixture lies on the straight line between those of its parts, at the mean weighted by luminance over v'.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from glowkin.base.uncertainty import Array


def share_on_line(light_fraction: ArrayLike, v_a: float, v_b: float) -> Array:
    """How near to a the mixture lies on the line from b (0) to a (1), whose v' are these.

    ``light_fraction`` (any shape) is the share of the luminance that comes from a.

    >>> share_on_line([0.0, 0.5, 1.0], 0.5, 0.25).round(4).tolist()
    [0.0, 0.3333, 1.0]
    """
    f = np.asarray(light_fraction, dtype=float)
    return np.asarray(f / v_a / (f / v_a + (1 - f) / v_b))


def light_fraction(share: ArrayLike, v_a: float, v_b: float) -> Array:
    """The share of the luminance that comes from a, from the place on the line: undoes ``share_on_line``.

    >>> light_fraction(1 / 3, 0.5, 0.25).round(4).item()
    0.5
    """
    g = np.asarray(share, dtype=float)
    return np.asarray(g * v_a / (g * v_a + (1 - g) * v_b))


def mixed_uv_prime(uv_a: ArrayLike, uv_b: ArrayLike, fraction: ArrayLike) -> Array:
    """U'v' (..., 2) of mixtures of a and b (2 each), of which this share of the luminance (...) is a's.

    >>> mixed_uv_prime([0.4, 0.5], [0.1, 0.25], 0.5).round(4).tolist()
    [0.2, 0.3333]
    """
    a, b = np.asarray(uv_a, dtype=float), np.asarray(uv_b, dtype=float)
    g = share_on_line(fraction, float(a[1]), float(b[1]))[..., np.newaxis]
    return np.asarray(g * a + (1 - g) * b)


def jacobians_of_mixture(uv_a: Array, uv_b: Array, fraction: Array) -> tuple[Array, Array]:
    """d(u', v') of mixtures (n x 2 x 2 each) by u'v' of a and of b (2 each), at fractions of light (n)."""
    g = share_on_line(fraction, float(uv_a[1]), float(uv_b[1]))[:, np.newaxis, np.newaxis]
    away = np.outer(uv_a - uv_b, (0.0, 1.0))
    return (
        g * np.eye(2) - g * (1 - g) / uv_a[1] * away,
        (1 - g) * np.eye(2) + g * (1 - g) / uv_b[1] * away,
    )
