"""What is known of the two forms beforehand: their colours, and how bright they are to each other.

A form given from elsewhere has a direction in the camera's linear RGB with its error; how much of it a vial
holds, and what lamp shone on it, is not known, so its amount is left open. Both, and a ratio of luminances,
are rows that the unmixing is held to within their errors (``unmix.Frames``): so whatever follows from the
forms, fractions and half-times, carries these errors as one error that all frames share. What the photographs
contradict is told and not used.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.records import Ratio
from glowkin.base.uncertainty import Z95
from glowkin.findings.courses import courses_of, lowest_rss, rough_fit
from glowkin.findings.rate_models import DEFAULT_MODELS
from glowkin.findings.unmix import EndForm, believable, colours_of, frames_of, whitener

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.findings.courses import Rough
    from glowkin.findings.kinetics import Column, CourseFit
    from glowkin.findings.unmix import Frames, Index, Series

OLD, NEW, RATIO = "old form", "new form", "luminance ratio"

_BATCH_SD = 0.01
"""How far batches of one form differ in a channel, relative (common practice, no source)."""
_EXACT = 1e-4
_SURE = 1e-3
_NOISIEST = 3.0


@dataclass(frozen=True)
class FormLight:
    """Linear RGB (3,) of a form with covariance (3, 3): only its direction counts."""

    signal: Array
    covariance: Array

    def channels(self, index: Index) -> FormLight:
        """In these channels only."""
        return FormLight(self.signal[index], self.covariance[np.ix_(index, index)])

    @property
    def spread(self) -> Array:
        """Its covariance with how far batches of a form differ, and no smaller than numbers are exact."""
        size = np.square(_BATCH_SD * self.signal) + np.square(_EXACT * np.linalg.norm(self.signal))
        return np.asarray(self.covariance + np.diag(size))


@dataclass(frozen=True)
class Given:
    """The forms, and the luminance ``ratio`` of the new to the old, per amount, within ``ratio_sd`` of its
    natural logarithm; None for what is not given.
    """

    old: FormLight | None = None
    new: FormLight | None = None
    ratio: float | None = None
    ratio_sd: float = 0.0

    def channels(self, index: Index) -> Given:
        """In these channels only, in which luminance cannot be spoken of."""
        old, new = (form and form.channels(index) for form in (self.old, self.new))
        return Given(old, new) if len(index) < 3 else replace(self, old=old, new=new)

    @property
    def ratio_told(self) -> Ratio | None:
        """The ratio with its 95 % interval, as it was given."""
        if self.ratio is None:
            return None
        spread = float(np.exp(Z95 * self.ratio_sd))
        return Ratio(self.ratio, self.ratio / spread, self.ratio * spread)

    @property
    def names(self) -> tuple[str, ...]:
        """What is given, in words."""
        told = {OLD: self.old, NEW: self.new, RATIO: self.ratio}
        return tuple(name for name, value in told.items() if value is not None)

    def without(self, names: tuple[str, ...]) -> Given:
        """The rest."""
        return Given(
            None if OLD in names else self.old,
            None if NEW in names else self.new,
            None if RATIO in names else self.ratio,
            self.ratio_sd,
        )


def given_of(series: Series) -> Given:
    """What is given for a series; nothing where nothing is."""
    return series.given or Given()


def knows_end(series: Series) -> bool:
    """Whether what is given tells how far a change has come by itself: so where it stops can be found."""
    given = given_of(series)
    return given.new is not None or (given.ratio is not None and series.lamp_known and series.all_channels)


def counts_amount(series: Series) -> bool:
    """Whether amounts can be told: by a lamp that is known, or a luminance ratio that is given."""
    return series.lamp_known or (given_of(series).ratio is not None and series.all_channels)


def given_end(series: Series) -> EndForm | None:
    """What an unchanged sample would give as the new form, where that form and the ratio are given."""
    given = given_of(series)
    if given.new is None or given.ratio is None or not series.all_channels:
        return None
    y = series.luminance_weights
    size = given.ratio * float(y @ series.signals.mean(axis=0)) / float(y @ given.new.signal)
    signal = size * given.new.signal
    sd = np.hypot(given.ratio_sd, series.luminance_sd)
    return EndForm(signal, size**2 * given.new.spread + np.square(sd) * np.outer(signal, signal))


def ready(series: Series, end_form: EndForm | None = None, rough: Rough | None = None) -> Frames:
    """Frames to fit, with all that is known of the forms; weighted by a rough fit, if there is one.

    Of an unknown lamp colours only, in which amounts mix by the luminance ratio given.
    """
    scatter = 1.0 if rough is None else rough.scatter
    given = given_of(series)
    if rough is not None and series.lamp_known:
        series = series.held_above(rough.signals)
    if not series.lamp_known:
        frames = replace(colours_of(series), ratio=given.ratio)
        rows, values = _colour_rows(series, given)
    else:
        frames = frames_of(series, end_form, None if rough is None else rough.signals, scatter)
        forms = (series.signals[0], series.signals[-1]) if rough is None else (rough.A, rough.B)
        rows, values = _signal_rows(series, given, *forms)
    return frames.knowing(scatter * rows, scatter * values) if len(rows) else frames


def contradicted(series: Series, end_form: EndForm | None = None) -> tuple[str, ...]:
    """What of the given the photographs contradict: with it they fit worse by more than chance, 0.1 %.

    All of it where no single thing alone is to blame.
    """
    names = given_of(series).names
    series = believable(series)
    if not series.lamp_known or not series.all_channels:  # colours tell nothing of brightness
        names = tuple(name for name in names if name != RATIO)
    if not names or len(series.times_s) < 2 or series.times_s[-1] <= 0.0:
        return ()
    if not _worse(series, end_form, names):
        return ()
    return tuple(name for name in names if _worse(series, end_form, (name,))) or names


def _worse(series: Series, end_form: EndForm | None, names: tuple[str, ...]) -> bool:
    """Whether the best course fits worse with these than with nothing given."""
    from scipy.special import fdtrc

    given = given_of(series)
    ratio = None if series.lamp_known else given.ratio  # by which colours mix: nothing that they test
    kept = () if ratio is None else (RATIO,)
    others = tuple(name for name in given.names if name not in (*names, *kept))
    free = replace(series, given=Given(ratio=ratio, ratio_sd=given.ratio_sd))
    held = replace(series, given=given.without(others))
    rough = rough_fit(ready(free, end_form), courses_of(DEFAULT_MODELS, can_stop=False))
    rough = replace(rough, scatter=min(max(rough.scatter, 1.0), _NOISIEST))
    frames, courses = ready(free, end_form, rough), courses_of(DEFAULT_MODELS, can_stop=True)
    alone = {course: lowest_rss(frames, course) for course in courses}
    with_it = [lowest_rss(ready(held, end_form, rough), c, theta)[0] for c, (_, theta) in alone.items()]
    rows = sum(1 if name == RATIO else series.signals.shape[1] - 1 for name in names)
    dof = max(1, frames.n_data - frames.n_linear - 3)
    least = min(rss for rss, _ in alone.values())
    scale = min(max(least / dof, rough.scatter**2, 1.0), _NOISIEST**2)
    gain = max(0.0, min(with_it) - least) / scale / max(rows, 1)
    return rows > 0 and bool(fdtrc(rows, dof, gain) < _SURE)


def with_ratio_error(series: Series, fitted: Callable[[Series], CourseFit]) -> CourseFit:
    """A course by colours and a luminance ratio, its limits widened by what the ratio is uncertain by.

    The course with the ratio 95 % up and down shows by how much each figure would move; that is added in
    quadrature to its own limit (JCGM 100, 5.1.2; the larger move where they differ).
    """
    found, given = fitted(series), given_of(series)
    sd = float(np.hypot(given.ratio_sd, series.luminance_sd))
    if series.lamp_known or given.ratio is None or found.half_time_s is None or sd == 0.0:
        return found
    moved = [
        fitted(replace(series, given=replace(given, ratio=given.ratio * float(np.exp(s * Z95 * sd)))))
        for s in (-1.0, 1.0)
    ]
    halves = [m.half_time_s for m in moved if m.half_time_s is not None]
    low, high = found.half_time_interval_s or (None, None)
    spans = [_wider(found.fraction_start, limit, [m.fraction_start for m in moved])
             for limit in (found.low, found.high)]  # fmt: skip
    return replace(
        found,
        half_time_interval_s=(
            _farther(found.half_time_s, low, halves) if len(halves) == 2 else None,
            _farther(found.half_time_s, high, halves) if len(halves) == 2 else None,
        ),
        low=spans[0],
        high=spans[1],
        not_excluded=tuple(dict.fromkeys(name for f in (found, *moved) for name in f.not_excluded)),
        stops_at_interval=None if found.stops_at_interval is None else _stop_span([found, *moved]),
    )


def _stop_span(fits: Sequence[CourseFit]) -> tuple[float, float]:
    spans = [f.stops_at_interval for f in fits if f.stops_at_interval is not None]
    return min(low for low, _ in spans), max(high for _, high in spans)


def _farther(value: float, limit: float | None, moved: Sequence[float]) -> float | None:
    """A limit in logarithms, farther by the larger move in quadrature."""
    if limit is None or limit <= 0.0:
        return limit
    own, more = np.log(limit / value), max(abs(float(np.log(m / value))) for m in moved)
    return value * float(np.exp(np.copysign(np.hypot(own, more), own)))


def _wider(values: Column, limits: Column, moved: Sequence[Column]) -> Column:
    out: list[float | None] = []
    for value, limit, *others in zip(values, limits, *moved, strict=True):
        if value is None or limit is None:
            out.append(limit)
            continue
        more = max((abs(m - value) for m in others if m is not None), default=0.0)
        out.append(value + float(np.copysign(np.hypot(limit - value, more), limit - value)))
    return tuple(out)


def _signal_rows(series: Series, given: Given, A: Array, B: Array) -> tuple[Array, Array]:
    """Rows (m, 2d) and values (m,) for signals: each form along its direction, and the luminances' ratio."""
    d = series.signals.shape[1]
    nothing = np.zeros((0, 2 * d))
    out = [nothing]
    for form, level, place in ((given.old, A, 0), (given.new, B, d)):
        if form is not None:
            across = _across(form) / max(float(np.linalg.norm(level)), 1e-12)
            rows = np.zeros((d - 1, 2 * d))
            rows[:, place : place + d] = across
            out.append(rows)
    if given.ratio is not None and series.all_channels:
        y, sd = series.luminance_weights, np.hypot(given.ratio_sd, max(series.luminance_sd, _EXACT))
        size = given.ratio * max(float(y @ A), 1e-12) * sd
        out.append(np.concatenate([-given.ratio * y, y])[None] / size)
    rows = np.concatenate(out)
    return rows, np.zeros(len(rows))


def _across(form: FormLight) -> Array:
    """Rows (d - 1, d) that take a signal of unit length to how far it is off the form's direction, in sds."""
    size = float(np.linalg.norm(form.signal))
    across = np.linalg.svd(form.signal[None] / size)[2][1:]
    return np.asarray(whitener((across @ form.spread @ across.T / size**2)[None])[0] @ across)


def _colour_rows(series: Series, given: Given) -> tuple[Array, Array]:
    """The same for colours (n, 2): each form's own, with its covariance."""
    rows, values = np.zeros((0, 4)), np.zeros(0)
    for form, place in ((given.old, 0), (given.new, 2)):
        if form is None:
            continue
        colour, W = form_colour(series, form)
        more = np.zeros((2, 4))
        more[:, place : place + 2] = W
        rows, values = np.concatenate([rows, more]), np.concatenate([values, W @ colour])
    return rows, values


def form_colour(series: Series, form: FormLight) -> tuple[Array, Array]:
    """A form's colour coordinates (2,) as ``colours_of`` has them, and their whitener (2, 2)."""
    one = replace(
        series, times_s=np.zeros(1), signals=form.signal[None], covariances=form.spread[None], stray=None,
        bounds=None,
    )  # fmt: skip
    seen = colours_of(one)
    return seen.signals[0], seen.whiteners[0]
