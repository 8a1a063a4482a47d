"""The directions in which a camera shows the prior's spectra, and which of them pass a noisy answer."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array

    Single = NDArray[np.float32]

NEIGHBOURS = 400
WITHIN, _ENOUGH = 9.0, 800
"""Squared distance, in widths of the kernel, up to which points count, and how many should."""
FLOOR = 5e-4
"""Added to shares of the channels before their cube roots are taken."""
_WIDTHS = 0.002 * 1.5 ** np.arange(14)
"""Widths of the kernel in cube roots of shares: the narrowest that reaches enough points."""
_SCOUTS = 16
"""One point in so many is looked at to choose the width."""
_ROWS, _BLOCK = 64, 4096


class Rays:
    """N points (N x 3, shares of the channels), each at whatever level."""

    def __init__(self, points: Single) -> None:
        self.points = points

    def kernel(self, y: Array, C: Array) -> Array:
        """The kernel's own covariance (n x 3 x 3) for answers y (n x 3, shares) with noise C."""
        size = 3.0 * np.square(np.cbrt(np.clip(y, 0.0, None) + FLOOR))
        H, left = np.zeros_like(C), np.arange(len(y))
        for width in _WIDTHS:
            H[left] = np.square(width * size[left])[:, :, None] * np.eye(3)
            d2 = _beside(y[left], np.linalg.inv(C[left] + H[left]), *self._scouts)
            left = left[(d2 < WITHIN).sum(axis=1) * _SCOUTS < _ENOUGH]
            if not len(left):
                break
        return H

    def first_within(self, y: Array, K: Array) -> NDArray[np.intp]:
        """Of the points within a kernel of inverse covariance K the first ``NEIGHBOURS`` (n x k).

        The points are in no order; answers that are alike have the same ones, so differences hold no noise.
        """
        found = np.zeros((len(y), NEIGHBOURS), dtype=np.intp)
        for some in (slice(k, k + _ROWS) for k in range(0, len(y), _ROWS)):
            found[some] = self._first(y[some], K[some])
        return found

    def _first(self, y: Array, K: Array) -> NDArray[np.intp]:
        """The same for few answers: the points are looked at in blocks, until each answer has enough."""
        rays, products = self._all
        found = np.zeros((len(y), NEIGHBOURS), dtype=np.intp)
        count, left = np.zeros(len(y), dtype=np.intp), np.arange(len(y))
        for start in range(0, rays.shape[1], _BLOCK):
            block = slice(start, start + _BLOCK)
            rows, columns = np.nonzero(_beside(y[left], K[left], rays[:, block], products[:, block]) < WITHIN)
            here = np.bincount(rows, minlength=len(left))
            place = count[left][rows] + np.arange(len(rows)) - (np.cumsum(here) - here)[rows]
            kept = place < NEIGHBOURS
            found[left[rows[kept]], place[kept]] = start + columns[kept]
            count[left] += here
            left = left[count[left] < NEIGHBOURS]
            if not len(left):
                break
        for i in left:
            found[i] = self._few(y[i], K[i])
        return found

    def _few(self, y: Array, K: Array) -> NDArray[np.intp]:
        """Of one answer with fewer points: those there are, over and over, or the nearest few."""
        d2 = _beside(y[None], K[None], *self._all)[0]
        return np.resize(np.flatnonzero(d2 < max(WITHIN, float(d2.min()) + 1.0)), NEIGHBOURS)

    def ways(self, y: Array, K: Array, near: NDArray[np.intp]) -> tuple[Array, Array]:
        """The way from each answer to the nearest place on the rays of points (n x k), n x k x 3, and how far
        along them that lies (n x k).
        """
        s = self.points[near].astype(float)
        Ks = s @ K
        level = (Ks @ y[:, :, None])[..., 0] / np.maximum((Ks * s).sum(axis=2), 1e-12)
        level = np.maximum(level, 1e-6)
        return level[..., None] * s - y[:, None], level

    @cached_property
    def _scouts(self) -> tuple[Single, Single]:
        return _with_products(self.points[::_SCOUTS])

    @cached_property
    def _all(self) -> tuple[Single, Single]:
        return _with_products(self.points)


def _with_products(points: Single) -> tuple[Single, Single]:
    """Points as columns (3 x N) and what squared lengths are linear in (9 x N)."""
    x = np.ascontiguousarray(points.T)
    return x, (x[:, None] * x[None]).reshape(9, -1)


def _beside(y: Array, K: NDArray[np.floating], rays: Single, products: Single) -> Array:
    """Squared distances (n x N) of answers y (n x 3) from rays (3 x N), by inverse covariances K."""
    Ky = (y[:, None] @ K)[:, 0]
    along = np.maximum(Ky.astype(np.float32) @ rays, 0.0)
    length = np.maximum(K.reshape(-1, 9).astype(np.float32) @ products, 1e-12)
    return np.asarray((Ky * y).sum(axis=1, keepdims=True).astype(np.float32) - along * along / length)
