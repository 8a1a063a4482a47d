"""Several exposures of the same regions made one: signals as if by one exposure that clips nothing.

Every exposure k shows the mean of region i in channel c as ``r_k m_ic`` plus noise, where r_k is how many
times more light it let in than the reference. All m and r are found together by weighted least squares,
the metadata's r being one more observation of each; so the error of the ratios is in the covariance of the
means. It is common to all samples. It does not touch the colour of a sample whose channels come from the
same exposures, but the brightness of samples that come from different ones.

Noise only is the weight, and only noise averages out: the unevenness of a powder is the same in every
exposure. An exposure in which a region is clipped beyond a trace is left out there, since without its
brightest pixels an uneven region has another mean. In a raw file that holds for each channel by itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.light.noise import Noise
from glowkin.light.region import Signals, coding_variance, region_means

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.masters import Correction
    from glowkin.light.photo import Photograph

_TRACE = 0.001
_BEYOND = 16.0
"""How far over full scale one channel of a raw file may be for the others to be trusted: beyond, charge may
spill over (common practice, no source)."""
_BLACK_SD = 0.2
"""Error of a raw file's black level in codes, which no scatter shows (common practice, no source)."""
_AGREE = 0.03
"""Exposures that differ by more in one sample, relative, do not show the same light."""
_PRECISE = 0.01
_STEPS = 12


@dataclass(frozen=True, eq=False)
class Ratios:
    """Light of each of K exposures by that of the first, and the covariance (K x K) of the logarithms."""

    value: Array
    covariance: Array


@dataclass(frozen=True, eq=False)
class Shown:
    """What one exposure shows of n regions.

    ``mean``, ``usable`` (unclipped but for a trace) and ``cells`` are n x 3; ``noise`` is that of one
    cell, ``fixed`` (n x 3) the variance of a mean that more cells do not lessen.
    """

    signals: Signals
    mean: Array
    usable: NDArray[np.bool_]
    cells: Array
    noise: Noise
    fixed: Array

    def variance(self, level: Array) -> Array:
        """Noise of the means (n x 3) where their true level is this."""
        return np.asarray(self.noise.variance(level) / np.maximum(self.cells, 1) + self.fixed)


@dataclass(frozen=True, eq=False)
class Merged:
    """Signals in units of the first exposure's full scale, the ratios found, the noise of a cell (n x 3),
    ``taken``: by how much more light than the first the exposure let in that a region's blocks are of, and
    ``disagree``: whether its exposures show different light (n).
    """

    signals: Signals
    ratios: Ratios
    noise: Noise
    taken: Array
    disagree: NDArray[np.bool_]


def shown(
    photo: Photograph, outlines: Sequence[Array], noise: Noise, correction: Correction | None = None
) -> Shown:
    """Means of the outlines in one exposure, and which of them can be used."""
    signals = region_means(photo, outlines, correction=correction)
    whole = np.asarray((signals.clipped <= _TRACE) & np.isfinite(signals.mean).all(axis=1))
    usable = np.repeat(whole[:, None], 3, axis=1) & (signals.at_zero <= _TRACE)
    mean, cells = signals.mean.copy(), np.repeat(_cells(signals)[:, None], 3, axis=1)
    partly = np.flatnonzero(~whole)
    for c in range(3) if photo.curves is None and partly.size else ():
        alone = region_means(photo, [outlines[int(i)] for i in partly], channel=c, correction=correction)
        mean[partly, c], cells[partly, c] = alone.mean[:, c], _cells(alone)
        usable[partly, c] = (alone.clipped <= _TRACE) & np.isfinite(alone.mean[:, c])
    fixed = np.nan_to_num(coding_variance(photo, mean)) + _black_variance(photo)
    return Shown(signals, mean, usable, cells, noise, fixed)


def _black_variance(photo: Photograph) -> float:
    """Of a mean, full scale 1; a rendered file's black is in its coding."""
    if photo.kind == "rendered":
        return 0.0
    codes = photo.white - float(photo.black.mean()) if photo.curves is None else float(len(photo.curves))
    return (_BLACK_SD / codes) ** 2


def _cells(signals: Signals) -> Array:
    return np.asarray(signals.blocks * signals.block_cells)


def merge_signals(exposures: Sequence[Shown], told: Ratios) -> Merged:
    """The regions' signals from all exposures, the reference first; ``told`` is what is known of the ratios.

    A region is answered from its best exposure alone where that clips, or where the exposures do not agree.
    """
    base = _base(exposures, told.value)
    usable = _usable(exposures, told.value, base)
    ratios, agreeing = _ratios(exposures, usable, told)
    fit = _means(exposures, usable, ratios)
    best = _alone(exposures, base, ratios, fit.off)
    pick = (base, np.arange(base.size))
    alone = ~agreeing | ~usable[pick].all(axis=1)
    texture = _positive(best.own - _diagonal(best.noise))
    merged = texture + _diagonal(fit.variance) + fit.common
    r = ratios.value[base]
    signals = Signals(
        mean=np.where(alone[:, None], best.mean, fit.mean),
        covariance=np.where(alone[:, None, None], best.covariance, merged),
        scatter=_stack(exposures, "scatter")[pick] / r[:, None, None] ** 2,
        clipped=_stack(exposures, "clipped")[pick],
        at_zero=_stack(exposures, "at_zero")[pick],
        blocks=_stack(exposures, "blocks")[pick],
        block_cells=_stack(exposures, "block_cells")[pick],
        patches=_patches(exposures, base, r),
    )
    gain = np.stack([s.noise.gain for s in exposures])[base] / r[:, None]
    floor = np.stack([s.noise.floor for s in exposures])[base] / r[:, None] ** 2
    return Merged(signals, ratios, Noise(gain, floor), r, ~agreeing)


def _patches(exposures: Sequence[Shown], base: NDArray[np.int_], r: Array) -> tuple[Array, ...]:
    """The blocks of each region in its best exposure, in the reference's units."""
    rows = ((exposures[k].signals.patches, i) for i, k in enumerate(base))
    return tuple(p[i] / np.array([1, 1, 1, r[i], r[i], r[i]]) for p, i in rows if len(p))


def _stack(exposures: Sequence[Shown], field: str) -> Array:
    return np.stack([getattr(s.signals, field) for s in exposures])


def _base(exposures: Sequence[Shown], ratios: Array) -> NDArray[np.intp]:
    """For each region the longest exposure that shows it whole (n,), the first where none does."""
    whole = np.array([s.signals.clipped <= _TRACE for s in exposures])
    return np.asarray(np.argmax(np.where(whole, ratios[:, None], 0.0), axis=0))


def _usable(exposures: Sequence[Shown], ratios: Array, base: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Which means count (K x n x 3): unclipped, and no channel of the region far over full scale."""
    usable = np.stack([s.usable for s in exposures])
    level = np.stack([s.mean for s in exposures])[base, np.arange(base.size)].max(axis=1) / ratios[base]
    near = np.nan_to_num(level) * ratios[:, None] < _BEYOND
    return np.asarray(usable & near[:, :, None])


@dataclass(frozen=True, eq=False)
class _Alone:
    """Regions by their best exposure alone, in units of the first: mean, its covariance, its noise's variance
    (n x 3), and the covariance with what the ratio and a disagreement (relative, n) add.
    """

    mean: Array
    own: Array
    noise: Array
    covariance: Array


def _alone(exposures: Sequence[Shown], base: NDArray[np.intp], ratios: Ratios, off: Array) -> _Alone:
    pick, r = (base, np.arange(base.size)), ratios.value[base]
    mean = _stack(exposures, "mean")[pick] / r[:, None]
    own = _stack(exposures, "covariance")[pick] / r[:, None, None] ** 2
    noise = np.stack([s.variance(np.nan_to_num(s.mean)) for s in exposures])[pick] / r[:, None] ** 2
    unknown = np.where(base > 0, ratios.covariance[base, base] + off**2, 0.0)
    return _Alone(mean, own, noise, own + unknown[:, None, None] * mean[:, :, None] * mean[:, None, :])


def _ratios(
    exposures: Sequence[Shown], usable: NDArray[np.bool_], told: Ratios
) -> tuple[Ratios, NDArray[np.bool_]]:
    """The ratios by those regions that agree with each other, and which do (n).

    Regions that do not, the worst first, are left out; where most do not, none can be trusted before others.
    """
    agreeing = np.ones(usable.shape[1], dtype=bool)
    while True:
        even = _solve(exposures, usable & agreeing[None, :, None], told, least=_PRECISE)
        off = _means(exposures, usable, even).off
        worst = int(np.argmax(np.where(agreeing, off, -1.0))) if off.size else 0
        if not off.size or not agreeing[worst] or off[worst] <= _AGREE:
            break
        agreeing[worst] = False
    if np.count_nonzero(agreeing) < 0.5 * agreeing.size:
        return _solve(exposures, usable, told), off <= _AGREE
    return _solve(exposures, usable & agreeing[None, :, None], told), agreeing


def _solve(exposures: Sequence[Shown], usable: NDArray[np.bool_], told: Ratios, least: float = 0.0) -> Ratios:
    """Ratios by Gauss-Newton steps, the means eliminated (Schur complement).

    ``least`` is the least relative error a mean counts with, so that no single one outweighs the others.
    """
    D, log_told = _means_of(exposures), np.log(told.value)
    log_r, known = log_told.copy(), np.linalg.inv(told.covariance[1:, 1:])
    m = _weighted(D, _weights(exposures, usable, D, least), told.value)
    for _ in range(_STEPS):
        r = np.exp(log_r)[:, None, None]
        W = _weights(exposures, usable, r * m, least)
        F = np.maximum((r**2 * W).sum(axis=0), 1e-300)
        e, by_ratio = D - r * m, r * m
        B = r * by_ratio * W
        S = np.diag((by_ratio**2 * W).sum(axis=(1, 2))) - np.einsum("knc,lnc,nc->kl", B, B, 1 / F)
        g = (r * e * W).sum(axis=0)
        push = (by_ratio * e * W).sum(axis=(1, 2)) - np.einsum("knc,nc->k", B, g / F)
        step = np.linalg.solve(S[1:, 1:] + known, push[1:] + known @ (log_told - log_r)[1:])
        log_r[1:] += step
        m = m + (g - np.tensordot(step, B[1:], axes=1)) / F
    C = np.zeros_like(told.covariance)
    C[1:, 1:] = np.linalg.inv(S[1:, 1:] / _excess(e, W) + known)
    return Ratios(np.exp(log_r), C)


@dataclass(frozen=True, eq=False)
class _Fit:
    """Means (n x 3), their noise's variance, the covariance that the ratios bring (n x 3 x 3), and by how
    much the exposures disagree, relative root mean square over those precise enough (n).
    """

    mean: Array
    variance: Array
    common: Array
    off: Array


def _means(exposures: Sequence[Shown], usable: NDArray[np.bool_], ratios: Ratios) -> _Fit:
    """Weighted means of all exposures, the ratios known."""
    D, r = _means_of(exposures), ratios.value[:, None, None]
    m = _weighted(D, _weights(exposures, usable, D), ratios.value)
    W = _weights(exposures, usable, r * m)
    m = _weighted(D, W, ratios.value)
    F = np.maximum((r**2 * W).sum(axis=0), 1e-300)
    G = r**2 * W * m / F
    common = np.einsum("knc,kl,lnd->ncd", G, ratios.covariance, G)
    level = np.maximum(np.abs(r * m), 1e-300)
    precise = usable & (W * level**2 > _PRECISE**-2)
    off = np.where(precise, D / level - 1.0, 0.0)
    rms = np.sqrt((off**2).sum(axis=(0, 2)) / np.maximum(precise.sum(axis=(0, 2)), 1))
    return _Fit(np.where(usable.any(axis=0), m, np.nan), 1 / F, common, np.asarray(rms))


def _means_of(exposures: Sequence[Shown]) -> Array:
    return np.nan_to_num(np.stack([s.mean for s in exposures]))


def _weights(
    exposures: Sequence[Shown], usable: NDArray[np.bool_], level: Array, least: float = 0.0
) -> Array:
    """Inverse variances (K x n x 3) at these levels, 0 where a mean does not count."""
    variance = np.stack([s.variance(x) for s, x in zip(exposures, level, strict=True)])
    return np.asarray(usable / (variance + (least * level) ** 2))


def _weighted(D: Array, W: Array, ratios: Array) -> Array:
    r = ratios[:, None, None]
    return np.asarray((r * D * W).sum(axis=0) / np.maximum((r**2 * W).sum(axis=0), 1e-300))


def _excess(e: Array, W: Array) -> float:
    """Chi-square over its degrees of freedom where above 1: what noise does not explain widens the ratios."""
    free = np.count_nonzero(W) - np.count_nonzero(W.any(axis=0)) - (len(W) - 1)
    return max(1.0, float((e**2 * W).sum()) / free) if free > 0 else 1.0


def _diagonal(v: Array) -> Array:
    return np.asarray(v[:, :, None] * np.eye(3))


def _positive(C: Array) -> Array:
    """Covariances (n x 3 x 3) with what came out negative in them cut to zero; NaN stays NaN."""
    known = np.isfinite(C).all(axis=(1, 2), keepdims=True)
    values, vectors = np.linalg.eigh(np.where(known, C, np.eye(3)))
    cut = np.einsum("nij,nj,nkj->nik", vectors, np.clip(values, 0.0, None), vectors)
    return np.asarray(np.where(known, cut, np.nan))


def single(signals: Signals, noise: Noise) -> Merged:
    """One exposure as it is."""
    n = len(signals.mean)
    ratios = Ratios(np.ones(1), np.zeros((1, 1)))
    return Merged(replace(signals), ratios, noise, np.ones(n), np.zeros(n, dtype=bool))
