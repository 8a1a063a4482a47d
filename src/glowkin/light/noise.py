"""Noise estimated from the picture itself: variance of a cell against its mean, a straight line a channel.

Photon transfer (EMVA 1288): variance = gain x mean + floor. Variance is read from small patches with the
Laplacian that is blind to planes, so that lamp gradients do not count as noise; over the many patches of
like brightness the calmer half is kept, so that edges and texture do not either. Where a patch clips there is
no noise left to read, and it does not count.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from glowkin.light.linear import Window, linear_cells

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.photo import Photograph

_LAPLACIAN = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], dtype=np.float32) / 6.0
"""Immerkaer's operator (Comput. Vis. Image Underst. 64, 300, 1996), scaled to unit noise gain."""
_PATCH = 10
_FEW = 4
_GRID = 12
_NEAR_CLIP = 0.97
"""Cells above this share of the clipping level are taken as clipped: noise carries some of them over."""
_CALM_SHARE = 0.77
"""Mean over the calmer half of patches in shares of the true variance, for independent normal noise: from
0.79 of 4 patches to 0.755 of 40, by 20 000 draws of 10 x 10."""


@dataclass(frozen=True)
class Noise:
    """Per channel: variance of one cell = ``gain`` x mean + ``floor`` (full scale 1)."""

    gain: Array
    floor: Array

    def variance(self, mean: Array) -> Array:
        """Variance of one cell at this mean, ... x 3."""
        return np.asarray(self.gain * np.clip(mean, 0.0, None) + self.floor)


def estimate_noise(*photos: Photograph) -> Noise:
    """Noise of a cell from a grid of small patches over the whole photograph.

    Several are taken as one: exposures by one camera at one ISO, which have one line.
    """
    found = [_patches(photo) for photo in photos]
    means, variances, tops = (np.concatenate([f[i] for f in found]) for i in range(3))
    unclipped = tops < 1.0
    if np.count_nonzero(unclipped) >= _FEW:
        means, variances = means[unclipped], variances[unclipped]
    lines = [_line(means[:, c], variances[:, c]) for c in range(3)]
    gain, floor = np.transpose(lines)
    return Noise(gain, floor)


def noise_in_the_dark(photo: Photograph) -> Array:
    """Noise of one cell (3,) in the darker half of the photograph, as coding and clipping left it."""
    means, variances, _ = _patches(photo)
    dark = np.argsort(means.sum(axis=1))[: max(1, len(means) // 2)]
    return np.asarray(np.sqrt(np.median(variances[dark], axis=0)))


def _patches(photo: Photograph) -> tuple[Array, Array, Array]:
    """Mean and noise variance of each patch (patches x 3), and its brightest cell, 1 near clipping."""
    width, height = photo.size_cells
    top = _NEAR_CLIP * _clip_level(photo)
    rows = np.unique(np.linspace(0, max(height - _PATCH, 0), _GRID, dtype=int))
    columns = np.unique(np.linspace(0, max(width - _PATCH, 0), _GRID, dtype=int))
    found = [
        _patch(photo, Window(x, y, min(x + _PATCH, width), min(y + _PATCH, height)))
        for y in rows
        for x in columns
    ]
    means, variances, brightest = zip(*found, strict=True)
    return np.array(means), np.array(variances), np.array(brightest) / top


def _clip_level(photo: Photograph) -> float:
    """Linear light of the clipping code, the least of three channels."""
    if photo.curves is not None:
        return float(photo.curves[min(photo.clip, len(photo.curves) - 1)].min())
    return float((photo.clip - photo.black.mean()) / (photo.white - photo.black.mean()))


def _patch(photo: Photograph, window: Window) -> tuple[NDArray[Any], NDArray[Any], float]:
    linear = linear_cells(photo, window)
    residual = cv2.filter2D(linear, -1, _LAPLACIAN)[1:-1, 1:-1]
    noise = np.array(cv2.mean(cv2.multiply(residual, residual))[:3])
    return np.array(cv2.mean(linear)[:3]), noise, cv2.minMaxLoc(linear.reshape(len(linear), -1))[1]


def _line(mean: Array, variance: Array) -> tuple[float, float]:
    """A non-negative line through the calmer halves of bins of like brightness, each weighed by its size."""
    from scipy.optimize import nnls

    halves = [_calmer(mean[b], variance[b]) for b in _bins(mean)]
    x, y = np.transpose(halves)
    weight = 1.0 / np.maximum(y, 1e-12)
    (gain, floor), _ = nnls(
        np.stack([np.clip(x, 0.0, None), np.ones_like(x)], axis=1) * weight[:, None], y * weight
    )
    return float(gain), float(max(floor, 1e-12))


def _bins(mean: Array) -> list[NDArray[np.bool_]]:
    """Patches by brightness, each bin 1.5 times as bright as the one before; fewer than 4 do not count."""
    top = max(float(mean.max()), 1e-12)
    step = np.floor(np.log(np.clip(mean / top, 1e-3, None)) / np.log(1.5))
    bins = [step == s for s in np.unique(step)]
    return [b for b in bins if np.count_nonzero(b) >= 4] or [np.ones(mean.size, dtype=bool)]


def _calmer(mean: Array, variance: Array) -> tuple[float, float]:
    """Mean and variance over the half of the patches that varies less, freed of having been chosen so."""
    calm = np.argsort(variance)[: max(1, variance.size // 2)]
    return float(mean[calm].mean()), float(variance[calm].mean() / _CALM_SHARE)
