"""How well the fitted forms A and B are known, and the fraction of each frame with both errors."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.uncertainty import t95
from glowkin.findings.unmix import fraction_slopes, fractions_of

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array
    from glowkin.findings.courses import FittedCourse
    from glowkin.findings.unmix import Frames


def forms_covariance(frames: Frames, best: FittedCourse, A: Array, B: Array) -> Array:
    """Covariance (2d, 2d) of the fitted A and B, the rate model's parameters free beside them."""
    f = frames.light(best.fractions(frames.times_s))
    box = best.course.bounds(frames.times_s)
    step = 1e-5 * box.scale * np.eye(box.scale.size)
    theta = np.clip(
        best.fit.values + np.array([step, -step]).reshape(-1, box.scale.size), box.lower, box.upper
    )
    up, down = frames.light(best.course.fractions(frames.times_s, theta)).reshape(2, box.scale.size, -1)
    W = frames.whiteners
    slopes = np.einsum("pn,nij,j->nip", (up - down) / 2e-5, W, A - B)
    d = len(A)
    stray = np.zeros((len(f), d, 0)) if frames.stray is None else W @ frames.stray
    J = np.concatenate([W * f[:, None, None], W * (1.0 - f)[:, None, None], slopes, stray], axis=2)
    J = J.reshape(-1, J.shape[2])
    if frames.rows is not None:
        known = np.zeros((len(frames.rows), J.shape[1]))
        known[:, : 2 * d] = frames.rows
        J = np.vstack([J, known])
    if frames.n_stray:
        J = np.vstack([J, np.eye(J.shape[1])[-frames.n_stray :] / frames.stray_sd])
    size = np.linalg.norm(J, axis=0)
    scale = np.divide(1.0, size, out=np.zeros_like(size), where=size > 1e-100)
    inverse = np.linalg.pinv((J * scale).T @ (J * scale)) * np.outer(scale, scale)
    return np.asarray(best.fit.rss / best.fit.dof * inverse[: 2 * d, : 2 * d])


def bars(
    frames: Frames, A: Array, B: Array, variance: float, dof: int, forms: Array | None = None
) -> tuple[Array, Array, Array]:
    """Fraction of each frame with 95 % limits: its own noise, and the error of A and B (``forms``, 6 x 6)."""
    f, var = fractions_of(frames, A, B)
    var = variance * var
    if forms is not None:
        slope = fraction_slopes(frames, A, B)
        pull = np.concatenate([-f[:, None] * slope, (f - 1.0)[:, None] * slope], axis=1)
        var = var + np.einsum("ni,ij,nj->n", pull, forms, pull)
    half_width = t95(dof) * np.sqrt(var)
    return f, f - half_width, f + half_width
