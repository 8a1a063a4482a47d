"""How evenly the light lies over the frame: fall-off of lamp and lens, and bands of a flickering lamp.

Read from the samples' own light on the reduced photograph: every sample has a brightness of its own, and a
dome, brighter in its middle; what is left is common to all of them, and is what the lamp and the lens do.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.linear import Frame

_CELL = 3
_LEAST = 25
_FREQUENCIES = np.arange(1.5, 40.25, 0.25)


@dataclass(frozen=True)
class Patches:
    """Small patches within the samples: ``log_light`` (m,), ``x`` and ``y`` (m,) in half frame heights from
    the frame's centre, the ``sample`` each belongs to (m,), and ``dome`` (m,): squared distance from the
    sample's edge inwards.
    """

    log_light: Array
    x: Array
    y: Array
    sample: NDArray[np.int_]
    dome: Array


@dataclass(frozen=True)
class FallOff:
    """A fall of light over the frame: brightest at ``centre`` (shares of the frame), ``fall_stops`` from the
    best to the worst lit sample, and the share of the samples' unevenness that it ``explained``.
    """

    centre: tuple[float, float]
    fall_stops: float
    explained: float


@dataclass(frozen=True)
class Bands:
    """Bands across the frame: ``depth``, top to bottom as a share of the light, ``count`` over the frame,
    whether they run ``along_rows``, and the share of the samples' unevenness that they ``explained``.
    """

    depth: float
    count: float
    along_rows: bool
    explained: float


def patches(frame: Frame, outlines: Sequence[Array]) -> Patches:
    """Patches of 3 x 3 pixels of the reduced photograph that lie wholly within an outline."""
    height, width = frame.linear.shape[:2]
    rows: list[Array] = []
    for i, outline in enumerate(outlines):
        box, mask = frame.patch(np.asarray(outline, dtype=float))
        depth = cv2.distanceTransform(
            cv2.copyMakeBorder(mask, 1, 1, 1, 1, cv2.BORDER_CONSTANT), cv2.DIST_L2, 5
        )
        inner = depth[1:-1, 1:-1] > 1.5
        if np.count_nonzero(inner) < _LEAST:
            continue
        piece = frame.linear[box]
        channel = int(np.argmax(cv2.mean(piece, mask)[:3]))
        light = cv2.blur(np.ascontiguousarray(piece[..., channel]), (_CELL, _CELL))
        at = np.argwhere(inner)
        at = at[(at % _CELL == 0).all(axis=1)]
        value = light[at[:, 0], at[:, 1]]
        keep = value > 0.2 * float(np.median(value))
        at, value = at[keep], value[keep]
        d = depth[1:-1, 1:-1]
        share = 1.0 - d[at[:, 0], at[:, 1]] / float(d.max())
        y = (at[:, 0] + box[0].start + 0.5 - height / 2) / (height / 2)
        x = (at[:, 1] + box[1].start + 0.5 - width / 2) / (height / 2)
        rows.append(np.stack([np.log(value), x, y, np.full(len(at), float(i)), share**2]))
    table = np.concatenate(rows, axis=1) if rows else np.zeros((5, 0))
    return Patches(table[0], table[1], table[2], table[3].astype(int), table[4])


def bands(p: Patches, aspect: float, *, along_rows: bool = True) -> Bands | None:
    """The strongest wave down the frame (``along_rows``) or across it."""
    if p.log_light.size < 2 * _LEAST:
        return None
    base = np.column_stack([_own(p), p.x, p.y, p.x**2, p.y**2, p.x * p.y])
    Q, _ = np.linalg.qr(base)
    left = p.log_light - Q @ (Q.T @ p.log_light)
    where, length = (p.y, 2.0) if along_rows else (p.x, 2.0 * aspect)
    waves = [(*_wave(left, Q, where / length, count), count) for count in _FREQUENCIES * length / 2.0]
    amplitude, explained, count = max(waves, key=lambda w: w[1])
    return Bands(2.0 * amplitude, float(count), along_rows, explained)


def _wave(left: Array, Q: Array, where: Array, count: float) -> tuple[float, float]:
    """Amplitude of a wave of so many cycles over the frame that explains most of what is left."""
    phase = 2.0 * np.pi * count * where
    W = np.stack([np.cos(phase), np.sin(phase)], axis=1)
    W = W - Q @ (Q.T @ W)
    N = W.T @ W
    if np.linalg.eigvalsh(N)[0] < 0.05 * left.size:
        return 0.0, 0.0
    a = np.linalg.solve(N, W.T @ left)
    return float(np.hypot(*a)), float(1.0 - np.sum((left - W @ a) ** 2) / np.sum(left**2))


def _own(p: Patches) -> Array:
    """Columns for each sample's own brightness and dome."""
    kinds = np.unique(p.sample)
    own = (p.sample[:, None] == kinds).astype(float)
    return np.concatenate([own, own * p.dome[:, None]], axis=1)


def fall_off(p: Patches, aspect: float) -> FallOff | None:
    """The fall of light from its best place, 1 / (1 + k d^2), common to all samples."""
    from scipy.optimize import least_squares

    if p.log_light.size < 2 * _LEAST:
        return None
    Q, _ = np.linalg.qr(_own(p))

    def curve(q: Array) -> Array:
        return np.asarray(-np.log1p(np.exp(q[0]) * ((p.x - q[1]) ** 2 + (p.y - q[2]) ** 2)))

    def residual(q: Array) -> Array:
        r = p.log_light - curve(q)
        return np.asarray(r - Q @ (Q.T @ r))

    starts = [(np.log(0.3), x, y) for x in (-0.7, 0.0, 0.7) for y in (-0.5, 0.0, 0.5)]
    bounds = ([-9.0, -1.6 * aspect, -1.6], [3.0, 1.6 * aspect, 1.6])
    fits = [least_squares(residual, s, bounds=bounds, loss="soft_l1", f_scale=0.1) for s in starts]
    fit = min(fits, key=lambda f: f.cost)
    level = curve(fit.x)
    means = np.array([level[p.sample == s].mean() for s in np.unique(p.sample)])
    nothing = residual(np.array([-9.0, 0.0, 0.0]))
    gain = 1.0 - float(np.sum(fit.fun**2) / np.sum(nothing**2))
    centre = (0.5 + fit.x[1] / 2 / aspect, 0.5 + fit.x[2] / 2)
    return FallOff((float(centre[0]), float(centre[1])), float(np.ptp(means) / np.log(2)), gain)
