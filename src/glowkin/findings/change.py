"""Has anything changed at all, and do two forms explain it?

A stable control must not be called changing because a lamp drifts or warms, so slow drifts of a believable
size are part of the description of no change, and the noise is the larger of what the frames declare and
what neighbouring frames show.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from glowkin.findings.given import ready
from glowkin.findings.rate_models import RATE_MODELS
from glowkin.findings.unmix import believable, colours_of, told_frames, whitener

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array
    from glowkin.findings.unmix import EndForm, Frames, Series

CHANGING, NO_CHANGE, CANNOT_TELL = "changing", "no change seen", "cannot tell"

COLOUR_DRIFT = 0.003
"""Relative drift of one channel while lamp and camera warm up (common practice, no source)."""

NOISIER = 9.0
"""Variance of frames, over what they declare, up to which scatter is noise: three times the declared error.
What scatters more went somewhere (``benchmarks/no_two_forms.py``), or is spoiled (see ``spoiled``)."""

_SURE, _UNSURE = 1e-3, 1e-2
_FEWEST, _FEWEST_IN_PLANE = 4, 5


@dataclass(frozen=True)
class Change:
    """Verdict, and the probability of so large a change under no change at all."""

    verdict: str
    probability: float


def see_change(series: Series) -> Change:
    """Constant light, up to lamp and drift, against a course from one form to another.

    The best of many shapes of course is an F test with a Bonferroni factor. Below four photographs only a
    change of more than 10 % of colour or brightness is spoken of.
    """
    series = believable(series)
    n = len(series.times_s)
    if n < 2 or np.ptp(series.times_s) <= 0.0:
        return Change(CANNOT_TELL, 1.0)
    frames = told_frames(series)
    gain, dof, noise = _best_course(series, frames)
    d = frames.signals.shape[1]
    if n < _FEWEST:
        huge = gain / d > 30.0 and _size(series) > 0.1
        return Change(CHANGING if huge else CANNOT_TELL, 1.0)
    from scipy.special import fdtrc

    probability = min(1.0, min(n - 1, 6) * float(fdtrc(d, dof, gain / d / min(noise, NOISIER))))
    certain = CHANGING if probability < _SURE else NO_CHANGE
    return Change(CANNOT_TELL if _SURE <= probability < _UNSURE else certain, probability)


def slowest_half_time(series: Series, end_form: EndForm | None) -> float | None:
    """The half time the frames exclude shorter values of (one-sided 95 %), first order, drifts allowed for.

    None where even a fast change would have gone unseen.
    """
    series = believable(series)
    frames = ready(series, end_form)
    X, y = _constant_design(series, frames)
    half_times = np.geomspace(1e-2, 1e5, 160) * series.times_s[-1]
    f = np.exp(-np.log(2.0) * np.maximum(series.times_s, 0.0) / half_times[:, None])
    rss = np.array([_rss_towards(X, y, frames, course) for course in f])
    dof = max(1, frames.n_data - 2 * frames.signals.shape[1] - 1)
    from scipy.special import fdtri

    scale = max(1.0, rss.min() / dof)
    possible = np.flatnonzero(rss <= rss.min() + scale * fdtri(1, dof, 0.90))
    return None if possible[0] == 0 else float(half_times[possible[0]])


def two_forms_suffice(series: Series) -> bool | None:
    """Whether all signals lie in one plane through the dark, as mixtures of two forms do at any brightness.

    Distance from the best plane against the noise, which is the larger of the declared and of the scatter
    between neighbours in time. Where a channel is missing, or often only a bound, the brightness of a known
    lamp stands in for it: then two channels lie on one line, which is too little to say that two forms do
    suffice. None below five frames. A third form on the line between the two, or one that never makes up more
    than the noise, cannot be seen.
    """
    tested, by_lamp = _three_numbers(series)
    n = len(tested.times_s)
    if n < _FEWEST_IN_PLANE:
        return None
    from scipy.special import chdtri

    e = _distances_from_plane(tested)
    scatter = _neighbour_scatter(tested.times_s, e)
    suffice = bool(e @ e / np.clip(scatter, 1.0, NOISIER) < chdtri(n - 2, 0.01))
    return None if suffice and by_lamp else suffice


def _three_numbers(series: Series) -> tuple[Series, bool]:
    """Frames with three numbers that mixtures keep in a plane, and whether the lamp's brightness is one.

    All channels; else the two that most frames show, beside a constant, the lamp among their errors.
    """
    n, d = series.signals.shape
    clear = np.ones((n, d), dtype=bool) if series.bounds is None else ~series.bounds
    whole = np.flatnonzero(clear.all(axis=1))
    if series.all_channels and (len(whole) >= _FEWEST_IN_PLANE or not series.lamp_known):
        return series.take(whole), False
    pairs = [np.array(pair) for pair in combinations(range(d), 2)]
    if not pairs or not series.lamp_known:
        return series.take(whole[:0]), False
    pair = max(pairs, key=lambda pair: int(clear[:, pair].all(axis=1).sum()))
    two = series.channels(pair).take(np.flatnonzero(clear[:, pair].all(axis=1)))
    s, C = two.signals, np.zeros((len(two.times_s), 3, 3))
    C[:, :2, :2] = two.covariances + series.brightness_sd**2 * s[:, :, None] * s[:, None, :]
    constant = np.full((len(s), 1), s.max(initial=1e-12))
    return replace(two, signals=np.hstack([s, constant]), covariances=C, bounds=None), True


def _best_course(series: Series, frames: Frames) -> tuple[float, int, float]:
    """Largest drop of the whitened RSS by any shape of course, degrees of freedom left, and noise scale."""
    X, y = _constant_design(series, frames)
    Q = np.linalg.qr(X)[0]
    r0 = y - Q @ (Q.T @ y)
    gains = []
    for f in _courses(series.times_s):
        Z = _form_columns(frames, f - f.mean(), len(y))
        Z = Z - Q @ (Q.T @ Z)
        gains.append(float(np.sum((np.linalg.qr(Z)[0].T @ r0) ** 2)))
    gain = max(gains)
    dof = max(1, frames.signals.size - frames.n_bounds - 2 * frames.signals.shape[1])
    scatter = _first_difference_scale(frames)
    return gain, dof, max(1.0, min((float(r0 @ r0) - gain) / dof, scatter))


def _courses(times_s: Array) -> list[Array]:
    """Decelerating and sigmoid courses, from done at the second frame to hardly begun at the last."""
    t = times_s - times_s[0]
    half_times = np.geomspace(t[t > 0.0].min() / 3.0, 3.0 * t[-1], 14)
    pairs = [(RATE_MODELS["first-order"], 1.0), (RATE_MODELS["avrami-erofeev"], 3.0)]
    return [
        model.fraction(t, np.asarray(T), np.asarray(exponent))
        for model, exponent in pairs
        for T in half_times
    ]


def _constant_design(series: Series, frames: Frames) -> tuple[Array, Array]:
    """Whitened rows of one constant signal plus slow drifts, each drift with its prior as a last row."""
    n, d = frames.signals.shape
    drifts = _drifts(series) if d == series.signals.shape[1] else _colour_drifts(series)
    rows = np.einsum("nij,rnj->nir", frames.whiteners, drifts).reshape(n * d, len(drifts))
    X = np.hstack([frames.whiteners.reshape(n * d, d), rows])
    prior = np.hstack([np.zeros((len(drifts), d)), np.eye(len(drifts))])
    y = np.einsum("nij,nj->ni", frames.whiteners, frames.signals).ravel()
    return np.vstack([X, prior]), np.concatenate([y, np.zeros(len(drifts))])


def _drifts(series: Series) -> Array:
    """Drifts of one sd as signals (r, n, 3): each channel by itself, and all with the lamp."""
    t = series.times_s
    ramp = 2.0 * (t - t[0]) / (t[-1] - t[0]) - 1.0
    channels = [
        COLOUR_DRIFT * ramp[:, None] * series.signals * axis for axis in np.eye(series.signals.shape[1])
    ]
    sd = series.brightness_sd if series.lamp_known else 0.0
    lamp = [sd * np.polynomial.Legendre.basis(i)(ramp)[:, None] * series.signals for i in (1, 2, 3)]
    stray = [] if series.stray is None else [*np.moveaxis(series.stray, 2, 0)]
    return np.array([*channels, *lamp, *stray])


def _colour_drifts(series: Series) -> Array:
    """The drifts of single channels as they move the colour coordinates, (r, n, 2)."""
    still = colours_of(series).signals
    moved = [
        colours_of(replace(series, signals=series.signals + drift)).signals
        for drift in _drifts(series)
        if np.any(drift)
    ]
    return np.array(moved) - still


def _form_columns(frames: Frames, f: Array, rows: int) -> Array:
    n, d = frames.signals.shape
    Z = np.zeros((rows, d))
    Z[: n * d] = (frames.whiteners * f[:, None, None]).reshape(n * d, d)
    return Z


def _rss_towards(X: Array, y: Array, frames: Frames, f: Array) -> float:
    """RSS of a course f from a free A to the known end form, drifts allowed for."""
    n, d = frames.signals.shape
    rows, values = np.asarray(frames.rows), np.asarray(frames.values)
    design = np.zeros((len(y) + len(rows), X.shape[1] + d))
    design[: len(y), : X.shape[1]] = X
    design[: n * d, :d] = (frames.whiteners * f[:, None, None]).reshape(n * d, d)
    design[: n * d, X.shape[1] :] = (frames.whiteners * (1.0 - f)[:, None, None]).reshape(n * d, d)
    design[len(y) :, :d], design[len(y) :, X.shape[1] :] = rows[:, :d], rows[:, d:]
    full = np.concatenate([y, values])
    Q = np.linalg.qr(design)[0]
    return float(np.sum((full - Q @ (Q.T @ full)) ** 2))


def _first_difference_scale(frames: Frames) -> float:
    """Mean square of the steps between neighbours over what the frames' covariances let expect."""
    V = np.linalg.inv(np.swapaxes(frames.whiteners, 1, 2) @ frames.whiteners)
    steps = np.einsum("nij,nj->ni", whitener(V[1:] + V[:-1]), np.diff(frames.signals, axis=0))
    counted = steps.size if frames.bounds is None else np.sum(~(frames.bounds[1:] | frames.bounds[:-1]))
    return float(np.sum(steps**2) / max(counted, 1))


def _distances_from_plane(series: Series) -> Array:
    """Distances (n,) from the best plane through zero, in units of their sd; weights found by iteration."""
    s = series.signals / np.linalg.norm(series.signals, axis=1, keepdims=True)
    size = COLOUR_DRIFT * s
    C = series.covariances / np.sum(series.signals**2, axis=1)[:, None, None] + size[
        :, :, None
    ] ** 2 * np.eye(3)
    sd = np.ones(len(s))
    for _ in range(8):
        normal = np.linalg.svd(s / sd[:, None], full_matrices=False)[2][2]
        sd = np.sqrt(np.einsum("i,nij,j->n", normal, C, normal))
    return np.asarray(s @ normal / sd)


def _neighbour_scatter(times_s: Array, e: Array) -> float:
    """Variance of e about the line through each frame's two neighbours (Gasser, Sroka & Jennen-Steinmetz,
    Biometrika 73, 625, 1986), which a slow course hardly touches.
    """
    before, here, after = times_s[:-2], times_s[1:-1], times_s[2:]
    span = np.where(after > before, after - before, 1.0)
    a = np.where(after > before, (after - here) / span, 0.5)
    pseudo = a * e[:-2] + (1.0 - a) * e[2:] - e[1:-1]
    return float(np.mean(pseudo**2 / (a**2 + (1.0 - a) ** 2 + 1.0)))


def _size(series: Series) -> float:
    """Relative change from the first to the last frame, of colour, and of brightness if that counts."""
    first, last = series.signals[0], series.signals[-1]
    scale = (
        1.0 if series.lamp_known else (last @ series.luminance_weights) / (first @ series.luminance_weights)
    )
    return float(np.linalg.norm(last / scale - first) / np.linalg.norm(first))
