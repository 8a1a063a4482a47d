"""Statistics of weighted neighbours, a row of them for each of n answers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.uncertainty import CHI2_95_2D

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array

_RIDGE = 1e-4
_FREEDOM, _STEPS = 0.5, 5
"""Degrees of freedom of the distribution that finds where neighbours' colours crowd, and steps to there; less
freedom and more steps change nothing (``benchmarks/accuracy.py``)."""
_RARE, _THEIRS = (0.008, 0.016), 0.4
"""From what share of the neighbours on rare ones may be the answer, and what they then count for in how wide
the region is (``benchmarks/accuracy.py --emitters hard``)."""
_NARROWED, _WIDENED = 0.5, 4.0
"""How far an ellipse may be scaled so that it holds 95 % of the residuals."""


def regress(w: Array, away: Array, z: Array, target: Array) -> tuple[Array, Array]:
    """Weighted linear regression of targets (n x k x t) on the way to the neighbours and the drawn camera.

    Gives the slopes n x t x 3 and the loadings n x t x r. Shares lie on a surface, so the way has two
    directions of its three: a small ridge, each direction in units of its own spread, settles the third.
    """
    size = np.sqrt(np.einsum("nk,nki->ni", w, np.square(away)) + 1e-12)
    X = np.concatenate([away / size[:, None], z], axis=2)
    X = X - np.einsum("nk,nki->ni", w, X)[:, None]
    t = target - np.einsum("nk,nkt->nt", w, target)[:, None]
    weighted = (X * w[..., None]).transpose(0, 2, 1)
    B = np.linalg.solve(weighted @ X + _RIDGE * np.eye(X.shape[2]), weighted @ t).transpose(0, 2, 1)
    return B[:, :, :3] / size[:, None], B[:, :, 3:]


def location(w: Array, values: Array) -> Array:
    """Where values (n x k x t) of weight w (n x k) crowd in their first two components, n x t.

    The location of a t distribution of half a degree of freedom (Lange, Little & Taylor, J. Am. Stat. Assoc.
    84 (1989) 881): a few neighbours of other families, far from the rest, do not pull it.
    """
    middle = np.einsum("nk,nkt->nt", w, values)
    crowd = w
    for _ in range(_STEPS):
        rest = (values - middle[:, None])[..., :2]
        C = (rest * crowd[..., None]).transpose(0, 2, 1) @ rest + 1e-8 * np.eye(2)
        crowd = w / (_FREEDOM + squared(rest, np.linalg.inv(C)))
        crowd /= crowd.sum(axis=1, keepdims=True)
        middle = np.einsum("nk,nkt->nt", crowd, values)
    return np.asarray(middle)


def with_rare(w: Array, rare: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Weights (n x k) by which rare neighbours (n x k) count for much, where any are, and whether they are
    (n, from 0 to 1).

    Ions whose lines lie far apart look like one broad band: rare, but a region of colours is to hold them.
    """
    share = np.clip((w * rare).sum(axis=1), 1e-6, 1.0 - 1e-6)
    there = np.clip((share - _RARE[0]) / (_RARE[1] - _RARE[0]), 0.0, 1.0)
    more = np.maximum(_THEIRS / (1.0 - _THEIRS) * (1.0 - share) / share, 1.0) ** there
    counted = w * np.where(rare, more[:, None], 1.0)
    return counted / counted.sum(axis=1, keepdims=True), there


def fit_95(w: Array, rest: Array, total: Array) -> Array:
    """What makes the 95 % ellipse of this covariance hold 95 % of the residuals, n x 1 x 1."""
    d2 = squared(rest, np.linalg.inv(total))
    return np.asarray(np.clip(quantile(d2, w, 0.95) / CHI2_95_2D, _NARROWED, _WIDENED)[:, None, None])


def quantiles(values: Array, w: Array) -> Array:
    """Median and 95 % bounds of each row."""
    return np.stack([quantile(values, w, q) for q in (0.5, 0.025, 0.975)], axis=1)


def quantile(values: Array, w: Array, q: float) -> Array:
    """Weighted quantile of each row."""
    order = np.argsort(values, axis=1)
    below = np.cumsum(np.take_along_axis(w, order, axis=1), axis=1)
    k = np.minimum((below < q * below[:, -1:]).sum(axis=1), values.shape[1] - 1)
    return np.asarray(np.take_along_axis(np.take_along_axis(values, order, axis=1), k[:, None], axis=1)[:, 0])


def squared(vectors: Array, form: NDArray[np.floating]) -> Array:
    """Quadratic forms (n x i x i) of vectors (n x k x i), n x k."""
    return np.asarray(((vectors @ form) * vectors).sum(axis=2))
