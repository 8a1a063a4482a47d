"""How often emission has which colour: what an unknown sample is expected to look like.

The colours of the prior's spectra, counted in cells of the u'v' diagram, and a small part that is the same
for every colour there is: an unknown substance need not be like those the prior was made from.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from glowkin.camera.emission_prior import emission_prior
from glowkin.colour.chromaticity import xy_to_uv_prime
from glowkin.colour.observer import locus_xy

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array

LOW, CELL, SPREAD = -0.02, 0.004, 0.006
"""Where the cells begin, their width, and the standard deviation of the kernel that smooths it, in u'v'."""
ANY_COLOUR = 0.1
"""The part of the density that is the same all over the diagram."""
_FAR = 5.5
"""Cells farther than so many standard deviations count for nothing."""


@dataclass(frozen=True, eq=False)
class EmissionDensity:
    """Places ``at`` (n x 2, ascending u') with their ``weight`` (n), which sums to 1."""

    at: Array
    weight: Array

    def around(self, uv: Array, covariance: Array) -> Array:
        """The density, per unit of u'v', averaged over Gaussians at uv (k x 2) of covariance k x 2 x 2."""
        spread = covariance + SPREAD**2 * np.eye(2)
        reach = _FAR * np.sqrt(np.linalg.eigvalsh(spread)[:, 1])
        first = np.searchsorted(self.at[:, 0], uv[:, 0] - reach)
        last = np.searchsorted(self.at[:, 0], uv[:, 0] + reach)
        whiten, out = np.linalg.inv(np.linalg.cholesky(spread)), np.empty(len(uv))
        for i, near in enumerate(map(slice, first, last)):
            d2 = np.square((self.at[near] - uv[i]) @ whiten[i].T).sum(axis=1)
            out[i] = np.exp(-0.5 * d2[kept := d2 < _FAR**2]) @ self.weight[near][kept]
        return np.asarray(out / (2 * np.pi * np.sqrt(np.linalg.det(spread))))


@lru_cache(maxsize=2)
def emission_density(observer: int = 2) -> EmissionDensity:
    """The density for an observer, 2 or 10 degrees; made in about a second."""
    edges = np.arange(LOW, 0.66 + CELL / 2, CELL)
    u_prime, v_prime = emission_prior().uv_prime[observer].T
    count = np.histogram2d(u_prime, v_prime, bins=(edges, edges))[0]
    inside = _there(observer, len(count))
    weight = (1 - ANY_COLOUR) * count / count.sum() + ANY_COLOUR * inside / inside.sum()
    u, v = np.nonzero(weight)
    at = LOW + CELL * (np.stack([u, v], axis=1).astype(float) + 0.5)
    return EmissionDensity(at, weight[u, v])


def _there(observer: int, n: int) -> Array:
    """Which of n x n cells (u', v') are colours of light: within the spectrum locus and the purple line."""
    import cv2

    corners = (xy_to_uv_prime(locus_xy(observer)[1]) - LOW) / CELL - 0.5
    drawn = np.zeros((n, n), np.uint8)
    cv2.fillPoly(drawn, [np.round(corners).astype(np.int32)], 1)
    return drawn.T.astype(float)
