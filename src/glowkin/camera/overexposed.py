"""What clipped samples tell: channels at the ceiling are bounds, the others values.

The prior's spectra are seen once more, so brightly that something clips, and a clipped sample is read from
those that clip in the same channels and show the same in the others. So a clipped channel holds what lies
beyond the ceiling as far as the other channels allow; and of a rendered file, whose sensor clips before the
matrix, the other channels are no values either, but what such clipping makes of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.camera.answers import Answers, Neighbours, channels_seen
from glowkin.camera.development import DEVELOPMENTS, PARAMETERS, develop_over, draw_development
from glowkin.camera.rays import NEIGHBOURS, WITHIN
from glowkin.camera.weighted import quantile
from glowkin.colour.spaces import srgb_decode
from glowkin.light.rendered import LOSSY_CLIP

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.camera.emission_prior import EmissionPrior
    from glowkin.camera.sensitivities import Sensitivities

VERSION = "2"
"""To be raised with every change of the exposures: caches are keyed by it."""
CEILING = 3.375
"""What stands for a channel at the ceiling: well above 1, so that no other lies near."""
_STOPS, _LEAST_STOPS = 0.85, -0.5
"""How far the highest channel would pass the ceiling: exponential from the least on, with this mean (common
practice, no source)."""
_FLOOR = 5e-4
_THINNEST = 0.05
"""Width of a region by its length, at least."""
_AT_LEAST = 0.025


@dataclass(frozen=True, eq=False)
class Overexposed(Answers):
    """Answers whose channels are in units of the ceiling, ``CEILING`` where they reach it."""

    def place(self, rgb: Array) -> Array:
        """Where channel means (..., 3), in units of the ceiling, lie among the points."""
        return place(rgb)

    def neighbours(self, rgb: Array, covariance: Array) -> Neighbours:
        """The points that answer like channel means (n x 3) with covariance (n x 3 x 3), at that level."""
        y, by_channels, C = self.placed(rgb, covariance)
        width = self.nearest(y)[1]
        K = np.linalg.inv(C + np.square(width)[:, None, None] * np.eye(3))
        near = np.array([self._first(*one) for one in zip(y, K, strict=True)], dtype=np.intp)
        return self.around(y, near.reshape(len(y), NEIGHBOURS), width, C, by_channels, rgb)

    def _first(self, y: Array, K: Array) -> NDArray[np.intp]:
        """Of the points within a kernel around y the first; they are in no order."""
        away = self.at - y
        return np.resize(np.flatnonzero(((away @ K) * away).sum(axis=1) < WITHIN), NEIGHBOURS)

    def log_luminance_told(self, w: Array, neighbours: Array) -> Array:
        """The least that it may be: below it are 2.5 %."""
        return quantile(neighbours, w, _AT_LEAST)

    def least_variance(self, total: Array) -> Array:
        """Long regions are bent, and tails that the prior has not push colours sideways."""
        return np.asarray(super().least_variance(total) + _THINNEST**2 * np.trace(total, axis1=1, axis2=2))

    def holds(self, rgb: Array) -> NDArray[np.bool_]:
        """Whether the prior often enough clips in these channels and in no other (n)."""
        pattern = (rgb >= CEILING) @ (1, 2, 4)
        mine = (self.at > np.cbrt(0.5 * CEILING)) @ (1, 2, 4)
        return np.asarray(np.bincount(mine, minlength=8)[pattern] >= NEIGHBOURS)


def seen_over(prior: EmissionPrior, camera: Sensitivities, observer: int, seed: int = 0) -> Overexposed:
    """Raw channels of a camera, each clipped by itself."""
    rng = np.random.default_rng((seed, 1))
    rgb, drawn = channels_seen(prior, camera, seed)
    level = _over(rng, len(rgb)) / np.maximum(rgb.max(axis=1), 1e-12)
    return _answers(prior, rgb * level[:, None], 1.0, level, drawn, observer)


def developed_over(
    prior: EmissionPrior, rgb_to_xyz: Array, balance: float, observer: int, seed: int = 0
) -> Overexposed:
    """Rendered files in a colour space (3 x 3 to XYZ) whose camera is not known."""
    rng = np.random.default_rng((seed, 1))
    n = len(prior.spectra)
    rgb, level, z = np.empty((n, 3)), np.empty(n), np.empty((n, PARAMETERS))
    over = _over(rng, n)
    for k in range(DEVELOPMENTS):
        mine = slice(k, None, DEVELOPMENTS)
        z[mine] = draw_development(rng)
        rgb[mine], level[mine] = develop_over(prior.spectra[mine], over[mine], z[k], rgb_to_xyz, balance, rng)
    return _answers(prior, rgb, float(srgb_decode(LOSSY_CLIP)), level, z, observer)


def _over(rng: np.random.Generator, n: int) -> Array:
    return np.asarray(2.0 ** (_LEAST_STOPS + rng.exponential(_STOPS, n)))


def _answers(
    prior: EmissionPrior, rgb: Array, ceiling: float, level: Array, drawn: Array, observer: int
) -> Overexposed:
    """The points of spectra that clip in one or two channels."""
    at_ceiling = rgb >= ceiling
    k = np.flatnonzero(np.isin(at_ceiling.sum(axis=1), (1, 2)))
    seen = np.where(at_ceiling, CEILING, rgb)[k]
    log_luminance = np.log(level[k]) - np.log(np.clip(seen, 0.0, None).sum(axis=1))
    return Overexposed(place(seen), drawn[k], prior.uv_prime[observer][k], log_luminance, prior.band[k])


def ceiling_of(rgb: Array, clipped: NDArray[np.bool_]) -> Array:
    """The lowest of each answer's clipped channels (n x 1, from n x 3 each); NaN where none is clipped."""
    lowest = np.where(clipped, rgb, np.inf).min(axis=1, keepdims=True)
    return np.where(np.isfinite(lowest) & (lowest > 0), lowest, np.nan)


def place(rgb: Array) -> Array:
    """Cube roots of the channels (..., 3) themselves, whose level tells something where one is clipped."""
    return np.asarray(np.cbrt(np.clip(rgb, 0.0, None) + _FLOOR))
