"""How straight the path of a sample is in linear light, under many tone curves at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.findings.unmix import colours_of, frames_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.findings.unmix import Frames, Series

_TURNS = 40


@dataclass(frozen=True)
class Straight:
    """Residual sum of squares (k,) about a straight line under each of k curves, its degrees of freedom, and
    the logarithm (k,) of how large an error of the lamp's brightness is in units of the file.
    """

    rss: Array
    dof: int
    size: Array


def straight(series: Sequence[Series]) -> Straight:
    """Of one sample under k curves: the best mixtures of any two forms, free in each frame."""
    lamp = series[0].lamp_known
    frames = [frames_of(s) if lamp else colours_of(s) for s in series]
    first, (n, d) = frames[0], frames[0].signals.shape
    dof = n * (d - 1) - first.n_bounds - 2 * (d - 1)
    size = [_lamp_felt(f, s.brightness_sd) if lamp else 0.0 for f, s in zip(frames, series, strict=True)]
    return Straight(_best_lines(frames), max(dof, 0), np.array(size))


def _lamp_felt(frames: Frames, sd: float) -> float:
    """Half the mean logarithm of the share of a frame's variance along its signal that is not the lamp's."""
    seen = np.sum((frames.whiteners @ frames.signals[..., None])[..., 0] ** 2, axis=1)
    return 0.5 * float(np.mean(np.log1p(-np.clip(sd**2 * seen, 0.0, 0.999))))


def _best_lines(frames: Sequence[Frames]) -> Array:
    """RSS (k,) by solving for fractions and forms in turn, stray light with the forms."""
    W = np.stack([f.whiteners for f in frames])
    y = (W @ np.stack([f.signals for f in frames])[..., None])[..., 0]
    k, n, d = y.shape
    light = _stray(frames, W)
    r = light.shape[-1]
    A, B = _ends(W, y)
    x = np.zeros((k, r))
    ridge = np.zeros(2 * d + r)
    ridge[2 * d :] = 1.0
    for _ in range(_TURNS):
        rest = y - (light @ x[:, None, :, None])[..., 0]
        way, base = W @ (A - B)[:, None, :, None], W @ B[:, None, :, None]
        way, base = way[..., 0], base[..., 0]
        f = np.sum(way * (rest - base), axis=2) / np.maximum(np.sum(way**2, axis=2), 1e-300)
        J = np.concatenate([W * f[..., None, None], W * (1.0 - f)[..., None, None], light], axis=3)
        J, flat = J.reshape(k, n * d, -1), y.reshape(k, n * d)
        M = np.swapaxes(J, 1, 2) @ J + np.diag(ridge)
        scale = 1.0 / np.sqrt(np.einsum("kii->ki", M) + 1e-300)
        M = M * scale[:, :, None] * scale[:, None, :] + 1e-12 * np.eye(M.shape[1])
        right = (np.swapaxes(J, 1, 2) @ flat[..., None])[..., 0] * scale
        theta = np.linalg.solve(M, right[..., None])[..., 0] * scale
        A, B, x = theta[:, :d], theta[:, d : 2 * d], theta[:, 2 * d :]
    misfit = flat - (J @ theta[..., None])[..., 0]
    return np.asarray(np.sum(misfit**2, axis=1) + np.sum(x**2, axis=1))


def _stray(frames: Sequence[Frames], W: Array) -> Array:
    """Whitened stray light (k, n, d, r), padded with none where fewer kinds are felt."""
    k, n, d, _ = W.shape
    r = max(f.n_stray for f in frames)
    out = np.zeros((k, n, d, r))
    for i, f in enumerate(frames):
        if f.stray is not None:
            out[i, ..., : f.n_stray] = f.stray
    return np.asarray(W @ out)


def _ends(W: Array, y: Array) -> tuple[Array, Array]:
    """The first and the last signal (k, d)."""
    A = np.linalg.solve(W[:, 0], y[:, 0, :, None])[..., 0]
    B = np.linalg.solve(W[:, -1], y[:, -1, :, None])[..., 0]
    return np.asarray(A), np.asarray(B)
