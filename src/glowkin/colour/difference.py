"""Differences between two colours: of chromaticity for what glows, CIEDE2000 for surfaces.

Only u'v', hue and saturation apply to lights seen as such (ISO/CIE 11664-5, scope), so the difference in
u'v' comes first, and CIEDE2000 is for those who state the white they assume.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from glowkin.base.uncertainty import Array

ONE_STEP_UV_PRIME = 0.0011
"""Radius of the 1-step u'v' circle; drawn up for lights near white (CIE TN 001:2014)."""


def delta_uv_prime(uv_a: ArrayLike, uv_b: ArrayLike) -> Array:
    """Distance in u'v' between chromaticities (..., 2).

    >>> delta_uv_prime([0.20, 0.50], [0.23, 0.54]).round(3).item()
    0.05
    """
    difference = np.asarray(uv_a, dtype=float) - np.asarray(uv_b, dtype=float)
    return np.asarray(np.hypot(difference[..., 0], difference[..., 1]))


def n_step(delta: ArrayLike) -> Array:
    """How many 1-step circles a u'v' distance spans, any shape; meant for lights near white."""
    return np.asarray(np.asarray(delta, dtype=float) / ONE_STEP_UV_PRIME)


def delta_e_2000(Lab_a: ArrayLike, Lab_b: ArrayLike) -> Array:
    """CIEDE2000 difference (ISO/CIE 11664-6, unit weights) between Lab (..., 3); shapes broadcast."""
    from skimage.color import deltaE_ciede2000

    a, b = np.broadcast_arrays(np.asarray(Lab_a, dtype=float), np.asarray(Lab_b, dtype=float))
    return np.asarray(deltaE_ciede2000(a, b), dtype=float)
