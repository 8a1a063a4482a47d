"""Two forms in linear light: S_t = g_t [f_t A + (1 - f_t) B], and what follows from given fractions f_t.

A and B are the signals of the unconverted and the converted sample, g_t the common error of a frame (lamp,
position). Its relative sd enters as one more term of the frame's covariance, C_t + sd^2 s s^T. Where the
lamp is unknown (infinite sd) only colour informs: signals are divided by their luminance, and two numbers
remain of three.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.findings.given import Given

    Index = NDArray[np.int64]

# No photograph is exact to a hundred-thousandth of its level; keeps covariances of exact numbers invertible.
_EXACT = 1e-5
REPEATABLE = 0.001
"""Frames of one camera do not repeat better than this in a channel (common practice, no source)."""
# How many times the largest signal a channel is uncertain of which only a bound is known.
_UNKNOWN = 1e3
# A bound that a fit comes this near to, or falls below, is held as a value within so much of itself.
_ABOVE, _HELD_SD = 1.003, 0.01
# Stray light that moves all frames together by less, in units of their noise, is not felt.
_FELT = 0.1


@dataclass(frozen=True)
class Series:
    """One sample's photographs: n times (s after time zero) and mean linear signals.

    ``signals`` (n, 3) is camera RGB, ``covariances`` (n, 3, 3) the own covariance of each mean,
    ``brightness_sd`` the relative sd of what all channels of a frame share (infinite: lamp unknown),
    ``luminance_weights`` (3,) maps linear RGB to luminance, within ``luminance_sd`` of the logarithm of a
    ratio of two forms' luminances; ``stray`` (n, 3, r) are r kinds of light that may
    lie on this sample, one sd each, each in one unknown amount for all frames. Frames may come in any order;
    frames whose time or signal is not finite are passed over. ``bounds`` (n, 3) marks channels of a frame of
    which only a bound is known: they do not count, but where ``least``, bounds are the least that a channel
    is, and one that a fit falls below counts as a value (``held_above``). ``given`` is what is known of the
    two forms beforehand.
    """

    times_s: Array
    signals: Array
    covariances: Array
    brightness_sd: float
    luminance_weights: Array
    stray: Array | None = None
    luminance_sd: float = 0.0
    bounds: NDArray[np.bool_] | None = None
    least: bool = False
    given: Given | None = None

    @property
    def lamp_known(self) -> bool:
        """Whether brightness says anything: beyond 50 % from frame to frame it does not."""
        return self.brightness_sd < 0.5

    @property
    def all_channels(self) -> bool:
        """Whether signals hold all three channels, so that luminance and colour can be spoken of."""
        return bool(self.signals.shape[1] == 3)

    def usable(self) -> Index:
        """Indices of the frames with finite time and positive luminance, in order of time."""
        with np.errstate(invalid="ignore"):
            positive = self.signals @ self.luminance_weights > 0.0
        good = np.isfinite(self.times_s) & np.isfinite(self.signals).all(axis=1) & positive
        order = np.argsort(self.times_s, kind="stable")
        return order[good[order]]

    def channels(self, index: Index) -> Series:
        """These channels only; their summed signal stands for luminance."""
        return replace(
            self,
            signals=self.signals[:, index],
            covariances=self.covariances[:, index][:, :, index],
            luminance_weights=np.ones(len(index)),
            stray=None if self.stray is None else self.stray[:, index],
            bounds=None if self.bounds is None else self.bounds[:, index],
            given=None if self.given is None else self.given.channels(index),
        )

    def bounded(self, bounds: NDArray[np.bool_]) -> Series:
        """The same with these channels of these frames (n, 3) known as bounds only."""
        V = np.where(bounds[:, :, None] | bounds[:, None, :], 0.0, self.covariances)
        size = _UNKNOWN * float(np.nan_to_num(np.abs(self.signals)).max())
        V = V + np.where(bounds, size**2, 0.0)[:, :, None] * np.eye(bounds.shape[1])
        return replace(self, covariances=V, bounds=bounds)

    def held_above(self, fitted: Array) -> Series:
        """The same with what a fit's signals (n, d) fall below held as values, each within 1 %."""
        if self.bounds is None or not self.least:
            return self
        falls = self.bounds & (fitted < _ABOVE * self.signals)
        size = np.where(falls, np.square(_HELD_SD * self.signals), 0.0)
        kept = ~(falls[:, :, None] | falls[:, None, :])
        V = np.where(kept, self.covariances, 0.0) + size[:, :, None] * np.eye(falls.shape[1])
        return replace(self, covariances=V, bounds=self.bounds & ~falls)

    def take(self, index: Index) -> Series:
        """The frames of these indices."""
        return replace(
            self,
            times_s=self.times_s[index],
            signals=self.signals[index],
            covariances=self.covariances[index],
            stray=None if self.stray is None else self.stray[index],
            bounds=None if self.bounds is None else self.bounds[index],
        )


@dataclass(frozen=True)
class EndForm:
    """Signal (3,) of this vial were it fully converted, in the units of its signals, with covariance.

    The covariance (3, 3) should hold how far vials of one batch differ, not only noise.
    """

    signal: Array
    covariance: Array


@dataclass(frozen=True)
class Frames:
    """Frames ready to fit: signals (n, d), whiteners (n, d, d) with W V W^T = 1.

    ``stray`` (n, d, r) is added to the signals in r unknown amounts, 0 within ``stray_sd``. What is known of
    the forms beforehand are ``rows`` (m, 2d) that take A and B to ``values`` (m,), each within 1. Where
    signals are colours, ``ratio`` is the luminance of B to that of A, by which amounts are turned into light.
    """

    times_s: Array
    signals: Array
    whiteners: Array
    rows: Array | None = None
    values: Array | None = None
    stray: Array | None = None
    stray_sd: float = 1.0
    bounds: NDArray[np.bool_] | None = None
    ratio: float | None = None

    @property
    def n_data(self) -> int:
        """Numbers fitted: d for each frame, what is known of the forms, one for each stray amount."""
        known = 0 if self.values is None else self.values.size
        return int(self.signals.size + known + self.n_stray - self.n_bounds)

    @property
    def n_bounds(self) -> int:
        """How many of the signals are bounds, and count for nothing."""
        return 0 if self.bounds is None else int(self.bounds.sum())

    @property
    def n_stray(self) -> int:
        """How many amounts of stray light are open."""
        return 0 if self.stray is None else int(self.stray.shape[2])

    @property
    def n_linear(self) -> int:
        """Unknowns solved for linearly: two forms and the stray amounts."""
        return 2 * int(self.signals.shape[1]) + self.n_stray

    def take(self, index: Index) -> Frames:
        """The frames of these indices."""
        return replace(
            self,
            times_s=self.times_s[index],
            signals=self.signals[index],
            whiteners=self.whiteners[index],
            stray=None if self.stray is None else self.stray[index],
            bounds=None if self.bounds is None else self.bounds[index],
        )

    def knowing(self, rows: Array, values: Array) -> Frames:
        """The frames with more known of the forms (m, 2d and m)."""
        if self.rows is not None and self.values is not None:
            rows, values = np.concatenate([self.rows, rows]), np.concatenate([self.values, values])
        return replace(self, rows=rows, values=values)

    def light(self, f: Array) -> Array:
        """What fractions of amount mix as: themselves, or as shares of light where signals are colours."""
        return f if self.ratio is None else light_share(f, 1.0, self.ratio)

    def amount(self, w: Array) -> Array:
        """The reverse of ``light``; beyond 0 and 1, where errors may take it, along the tangent there."""
        if self.ratio is None:
            return w
        inside, R = np.clip(w, 0.0, 1.0), self.ratio
        inner = inside * R / (inside * R + 1.0 - inside)
        return np.asarray(inner + R * np.minimum(w, 0.0) + np.maximum(w - 1.0, 0.0) / R)

    def without_stray(self, amounts: Array) -> Frames:
        """The frames with these amounts (r,) of stray light taken off, nothing left open."""
        if self.stray is None:
            return self
        return replace(self, signals=self.signals - self.stray @ amounts, stray=None)


@dataclass(frozen=True)
class Unmixed:
    """Best A and B (k, d) and stray amounts (k, r) for k courses of fractions.

    ``residuals`` (k, n_data) are whitened.
    """

    A: Array
    B: Array
    stray: Array
    residuals: Array


def frames_of(
    series: Series, end_form: EndForm | None = None, smooth: Array | None = None, scatter: float = 1.0
) -> Frames:
    """Whiten a series; the common error is relative to ``smooth`` (n, 3), a fitted signal, if given.

    Taking it relative to the observed signal gives dim frames more weight than bright ones (Peelle's
    puzzle), so a fit is repeated once with its own signals. ``scatter`` is by how much the frames scatter
    more than they declare: a fit multiplies all variances by its square, which the end form's undoes.
    """
    s = series.signals if smooth is None else smooth
    V = _floored(series.covariances, series.signals) + series.brightness_sd**2 * s[:, :, None] * s[:, None, :]
    W = whitener(V)
    stray = _felt(series.stray, W)
    frames = Frames(
        series.times_s, series.signals, W, stray=stray, stray_sd=1.0 / scatter, bounds=series.bounds
    )
    if end_form is None:
        return frames
    P = whitener(_floored(end_form.covariance[None], end_form.signal[None]))[0] * scatter
    return frames.knowing(np.hstack([np.zeros_like(P), P]), P @ end_form.signal)


def _felt(stray: Array | None, whiteners: Array) -> Array | None:
    """Independent mixtures of the kinds of stray light, without those of which nothing is felt.

    Principal axes of what one sd of each does to the whitened frames: a fit sees the same with fewer
    unknowns.
    """
    if stray is None:
        return None
    n, d, r = stray.shape
    _, size, axes = np.linalg.svd((whiteners @ stray).reshape(n * d, r), full_matrices=False)
    felt = axes[size > _FELT]
    return np.asarray(stray @ felt.T) if len(felt) else None


def colours_of(series: Series) -> Frames:
    """Frames reduced to colour: two coordinates of each signal divided by its luminance.

    A mixture's colour is w a + (1 - w) b, w the share of the light, a and b the colours of the forms.
    """
    y = series.luminance_weights
    Y = series.signals @ y
    colour = series.signals / Y[:, None]
    J = (np.eye(len(y)) - colour[:, :, None] * y) / Y[:, None, None]
    plane = np.linalg.svd(y[None])[2][1:]
    V = plane @ J @ _floored(series.covariances, series.signals) @ np.swapaxes(J, 1, 2) @ plane.T
    return Frames(series.times_s, colour @ plane.T, whitener(V))


def told_frames(series: Series) -> Frames:
    """What a series tells by itself: whole signals where the lamp is known, else colours."""
    return frames_of(series) if series.lamp_known else colours_of(series)


def believable(series: Series) -> Series:
    """The series with covariances no smaller than frames repeat."""
    sd = REPEATABLE * series.signals
    return replace(series, covariances=series.covariances + sd[:, :, None] ** 2 * np.eye(sd.shape[1]))


def whitener(V: Array) -> Array:
    """Inverse Cholesky factors of covariances (n, d, d)."""
    return np.asarray(np.linalg.inv(np.linalg.cholesky(V)))


def unmix(frames: Frames, f: Array) -> Unmixed:
    """Weighted least squares for A and B at given fractions f (k, n): the linear half of the fit.

    Solved for level and slope along the centred fraction, which stay apart even where f hardly varies.
    """
    k, n, d = f.shape[0], *frames.signals.shape
    centre = f.mean(axis=1)
    z = f - centre[:, None]
    spread = np.maximum(np.sqrt(np.einsum("kn,kn->k", z, z) / n), 1e-12)
    z /= spread[:, None]
    ends = np.stack([(1.0 - centre) / spread, -centre / spread], axis=1)
    level, slope, stray = _solve(*_normal_equations(frames, z, ends), d)
    A, B = level + slope * ends[:, :1], level + slope * ends[:, 1:]
    model = level[:, None, :] + z[..., None] * slope[:, None, :]
    if frames.stray is not None:
        model = model + np.einsum("ndr,kr->knd", frames.stray, stray)
    rows = (frames.whiteners @ (frames.signals - model)[..., None]).reshape(k, n * d)
    if frames.rows is not None and frames.values is not None:
        rows = np.concatenate([rows, frames.values - np.hstack([A, B]) @ frames.rows.T], axis=1)
    return Unmixed(A, B, stray, np.concatenate([rows, stray / frames.stray_sd], axis=1))


def fractions_of(frames: Frames, A: Array, B: Array) -> tuple[Array, Array]:
    """Fraction of A in each frame and its variance, both (n,), from that frame alone."""
    D = np.einsum("nij,j->ni", frames.whiteners, A - B)
    rest = np.einsum("nij,nj->ni", frames.whiteners, frames.signals - B)
    weight = np.maximum(np.einsum("ni,ni->n", D, D), 1e-300)
    return np.einsum("ni,ni->n", D, rest) / weight, 1.0 / weight


def fraction_slopes(frames: Frames, A: Array, B: Array) -> Array:
    """How the fraction of each frame changes with its signal, (n, 3)."""
    W = np.swapaxes(frames.whiteners, 1, 2) @ frames.whiteners
    pull = W @ (A - B)
    return np.asarray(pull / np.maximum(pull @ (A - B), 1e-300)[:, None])


def light_share(f: Array, luminance_A: float, luminance_B: float) -> Array:
    """Share of the light that comes from the starting form, of which the fraction f is left."""
    return np.asarray(f * luminance_A / (f * luminance_A + (1.0 - f) * luminance_B))


def _floored(C: Array, s: Array) -> Array:
    size = (_EXACT * np.linalg.norm(s, axis=1)) ** 2
    return np.asarray(C + size[:, None, None] * np.eye(s.shape[1]))


def _normal_equations(frames: Frames, z: Array, ends: Array) -> tuple[Array, Array]:
    """Matrices (k, m, m) and right sides (k, m) for level, slope and stray; ``ends`` (k, 2) are A's and B's
    places along the slope.
    """
    k, d, m = len(z), frames.signals.shape[1], frames.n_linear
    W = np.swapaxes(frames.whiteners, 1, 2) @ frames.whiteners
    s = frames.signals
    flat, Ws = W.reshape(len(s), d * d), (W @ s[..., None])[..., 0]
    M, right = np.zeros((k, m, m)), np.zeros((k, m))
    M[:, :d, :d] = W.sum(axis=0)
    M[:, d : 2 * d, :d] = M[:, :d, d : 2 * d] = (z @ flat).reshape(k, d, d)
    M[:, d : 2 * d, d : 2 * d] = (z**2 @ flat).reshape(k, d, d)
    right[:, :d], right[:, d : 2 * d] = Ws.sum(axis=0), z @ Ws
    if frames.rows is not None:
        of_a, of_b = frames.rows[:, :d], frames.rows[:, d:]
        slopes = ends[:, 0, None, None] * of_a + ends[:, 1, None, None] * of_b
        T = np.concatenate([np.broadcast_to(of_a + of_b, slopes.shape), slopes], axis=2)
        M[:, : 2 * d, : 2 * d] += np.swapaxes(T, 1, 2) @ T
        right[:, : 2 * d] += np.swapaxes(T, 1, 2) @ frames.values
    if frames.stray is not None:
        _add_stray(frames, z, W, s, M, right)
    return M, right


def _add_stray(frames: Frames, z: Array, W: Array, s: Array, M: Array, right: Array) -> None:
    """The rows and columns of the stray amounts, each with its prior."""
    d, r = frames.signals.shape[1], frames.n_stray
    C = np.asarray(frames.stray)
    WC = W @ C
    M[:, :d, 2 * d :] = WC.sum(axis=0)
    M[:, d : 2 * d, 2 * d :] = (z @ WC.reshape(len(s), d * r)).reshape(-1, d, r)
    M[:, 2 * d :, : 2 * d] = np.swapaxes(M[:, : 2 * d, 2 * d :], 1, 2)
    M[:, 2 * d :, 2 * d :] = np.einsum("ndr,ndq->rq", C, WC) + np.eye(r) / frames.stray_sd**2
    right[:, 2 * d :] = np.einsum("ndr,nd->r", WC, s)


def _solve(M: Array, right: Array, d: int) -> tuple[Array, Array, Array]:
    """Level and slope (k, d) each and stray amounts (k, r), rows and columns brought to unit size first."""
    scale = 1.0 / np.sqrt(np.einsum("kii->ki", M) + 1e-300)
    M = M * scale[:, :, None] * scale[:, None, :] + 1e-14 * np.eye(right.shape[1])
    x = np.linalg.solve(M, (right * scale)[..., None])[..., 0] * scale
    return x[:, :d], x[:, d : 2 * d], x[:, 2 * d :]
