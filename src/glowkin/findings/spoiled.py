"""Which photographs of a series are spoiled for a sample: a finger in view, another vial in its place.

Leave-one-out and leave-two-out, against any mixture of two forms that only ever goes one way, whatever its
rate: a course that the rate models do not describe has no spoiled frames for that. What is left out must
carry far more than noise (an F test, as for a shift of these frames' means, with a Bonferroni factor for the
choice), and the rest must agree within its noise.
"""

from __future__ import annotations

from itertools import combinations
from math import comb
from typing import TYPE_CHECKING

import numpy as np

from glowkin.findings.unmix import believable, fractions_of, told_frames, unmix

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array
    from glowkin.findings.unmix import Frames, Index, Series

_FEWEST = 6
_SURE = 1e-3
_AGREES = 4.0
"""Variance of the rest about its course, over the declared, up to which it is one course: twice the declared
error."""
_TURNS = 25
_LOOKED_AT, _IN_PAIRS = 16, 10
"""How many frames, those that fit worst first, are left out one at a time, and two at a time."""


def most_spoiled(n: int) -> int:
    """How many of n frames may be: none of fewer than six, one of six, two of eight, one in four of more."""
    return max(1, n // 4) if n >= _FEWEST else 0


def spoiled_frames(series: Series) -> Index:
    """Indices of the spoiled frames, in order; at most ``most_spoiled``."""
    series = believable(series)
    most = most_spoiled(len(series.times_s))
    most = 0 if most and np.ptp(series.times_s) == 0.0 else most
    frames = told_frames(series)
    out: tuple[int, ...] = ()
    while most > len(out) and frames.signals.shape[1] > 1:
        more = _more(frames, out, most - len(out))
        if not more:
            break
        out = (*out, *more)
    return np.array(sorted(out), dtype=np.int64)


def _more(frames: Frames, out: tuple[int, ...], room: int) -> tuple[int, ...]:
    """One or two more spoiled frames."""
    rss, dof, misfits = _one_way(frames, out)
    kept = np.delete(np.arange(len(frames.times_s)), list(out))
    likely = [int(i) for i in kept[np.argsort(-misfits, kind="stable")[:_LOOKED_AT]]]
    d = frames.signals.shape[1]
    if not _is_spoiled(rss, 0.0, dof, d, len(kept)):
        return ()
    for size in (1, 2)[:room]:
        left = {c: _one_way(frames, (*out, *c))[:2] for c in combinations(likely, size)}
        best = min(left, key=lambda c: left[c][0])
        if _is_spoiled(rss, *left[best], d * size, comb(len(kept), size)):
            return best
        likely = sorted(likely, key=lambda i: left[(i,)][0])[:_IN_PAIRS] if size == 1 else []
    return ()


def _is_spoiled(rss: float, rest: float, dof: int, numbers: int, choices: int) -> bool:
    from scipy.special import fdtrc

    if dof < 1 or rest / dof > _AGREES:
        return False
    gain = (rss - rest) / numbers / max(1.0, rest / dof)
    return choices * float(fdtrc(numbers, dof, gain)) < _SURE


def _one_way(frames: Frames, out: tuple[int, ...]) -> tuple[float, int, Array]:
    """RSS of the best falling course through the other frames, degrees of freedom, and each one's part."""
    rest = frames.take(np.delete(np.arange(len(frames.times_s)), list(out)))
    n, d = rest.signals.shape
    clear = np.ones(n, dtype=bool) if rest.bounds is None else ~rest.bounds.any(axis=1)
    s = rest.signals[clear] if np.count_nonzero(clear) > 1 else rest.signals
    starts = [(s[0], s[-1]), (s[:2].mean(axis=0), s[-2:].mean(axis=0))]
    rows, levels = min((_falling(rest, A, B) for A, B in starts), key=lambda end: float(end[0] @ end[0]))
    parts = np.sum(rows[: n * d].reshape(n, d) ** 2, axis=1)
    return float(rows @ rows), n * d - rest.n_bounds - 2 * d - max(0, levels - 2), parts


def _falling(frames: Frames, A: Array, B: Array) -> tuple[Array, int]:
    """Whitened residuals and number of levels: forms and fractions in turn, the fractions made to fall."""
    from scipy.optimize import isotonic_regression

    rss, stray = np.inf, np.zeros(frames.n_stray)
    for _ in range(_TURNS):
        f, variance = fractions_of(frames.without_stray(stray), A, B)
        falling = isotonic_regression(f, weights=1.0 / variance, increasing=False)
        forms = unmix(frames, falling.x[None])
        A, B, stray, rows = forms.A[0], forms.B[0], forms.stray[0], forms.residuals[0]
        last, rss = rss, float(rows @ rows)
        if last - rss < 1e-3 * rss:
            break
    return rows, len(falling.blocks) - 1
