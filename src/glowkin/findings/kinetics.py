"""How fast one emissive form becomes the other, from a series of photographs of one sample.

Signals mix in linear light (see ``unmix``); rate models give the fraction f_t (see ``rate_models``), with
f = 1 at time zero. Without a known end form the fitted end of the series counts as fraction zero, so the half
time, to the middle between initial and final amount, holds wherever the change stops, but where it stops
is not claimed. Light is not amount: with an unknown lamp only shares of the light are given.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.records import Ratio
from glowkin.base.uncertainty import t95
from glowkin.findings.change import (
    CHANGING,
    NO_CHANGE,
    slowest_half_time,
    two_forms_suffice,
)
from glowkin.findings.courses import (
    better_ends,
    courses_of,
    fit_variants,
    not_excluded,
    rough_fit,
    supported,
    with_interval,
)
from glowkin.findings.fitting import profile_interval
from glowkin.findings.forms import bars, forms_covariance
from glowkin.findings.given import (
    contradicted,
    counts_amount,
    given_end,
    given_of,
    knows_end,
    ready,
    with_ratio_error,
)
from glowkin.findings.light_only import light_shares
from glowkin.findings.rate_models import DEFAULT_MODELS, RATE_MODELS
from glowkin.findings.seen import seen_of
from glowkin.findings.unmix import (
    EndForm,
    Frames,
    Series,
    fractions_of,
    frames_of,
    light_share,
    unmix,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.clocks import ClockFound
    from glowkin.base.records import ModelFit
    from glowkin.base.uncertainty import Array
    from glowkin.findings.courses import FittedCourse
    from glowkin.findings.fitting import Interval
    from glowkin.findings.unmix import Index

__all__ = ["CourseFit", "EndForm", "Series", "fit_course"]

AGREE = 1.5
"""Half times beyond the last photograph are given only if models agree within this factor."""

_REACH = 20.0
"""How many times the time watched a change may be said to take at least (common practice, no source)."""

Column = tuple[float | None, ...]


@dataclass(frozen=True)
class CourseFit:
    """What one series says; figures as in ``SampleCourse``, columns with one entry for each frame given.

    ``fraction_start`` with its 95 % ``low`` and ``high`` is amount, from that frame alone given the fitted
    forms, whose own error is in the limits, and not cut off at 0 and 1. ``start_signal`` and
    ``end_signal`` are the fitted forms in the units of the signals: the end of a vial that converted
    fully can serve its siblings as end form. ``spoiled`` are frames that do not count: they have a fraction,
    where forms are known, and no limits. ``contradicted`` is what was given of the forms and does not fit.
    """

    verdict: str
    fraction_start: Column
    low: Column
    high: Column
    light_fraction_start: Column
    two_forms_suffice: bool | None = None
    luminance_ratio: Ratio | None = None
    stops_at: float | None = None
    stops_at_interval: tuple[float, float] | None = None
    model: str | None = None
    not_excluded: tuple[str, ...] = ()
    half_time_s: float | None = None
    half_time_interval_s: Interval | None = None
    light_half_time_s: float | None = None
    longer_than_s: float | None = None
    models: tuple[ModelFit, ...] = ()
    flags: tuple[str, ...] = ()
    start_signal: tuple[float, ...] | None = None
    end_signal: EndForm | None = None
    clock: ClockFound | None = None
    spoiled: tuple[int, ...] = ()
    contradicted: tuple[str, ...] = ()


def fit_course(
    series: Series, end_form: EndForm | None = None, models: Sequence[str] = DEFAULT_MODELS
) -> CourseFit:
    """Verdict, rate models, half time and fractions of one sample.

    The half time is the best model's; its interval spans all models that are not excluded. It is None
    where it lies beyond the last photograph and those models disagree by more than a factor of 1.5, and,
    without a known end form, where the data set no upper limit to it: the end is then not known either.
    A course that stops part-way is a candidate only with a known end form, and is chosen if AICc favours it,
    and so is one after an induction. Spoiled frames do not count.
    """
    seen = seen_of(series)
    whole, series = series, series.take(seen.good)
    if seen.verdict == CHANGING:
        wrong = contradicted(series, end_form)
        series = replace(series, given=given_of(series).without(wrong)) if wrong else series
        found = with_ratio_error(series, lambda s: _changing(s, end_form, models))
        flags = (*found.flags, "form-contradicted") if wrong else found.flags
        found = replace(found, contradicted=wrong, flags=flags)
    else:
        found = _unchanged(series, end_form, seen.verdict)
    found = replace(found, flags=(*found.flags, *seen.flags))
    return _with_spoiled(_spread(found, seen.good, len(whole.times_s)), whole, seen.spoiled)


def see_only(series: Series) -> CourseFit:
    """Whether it changes, and nothing more: for signals that are bounds, not values."""
    seen = seen_of(series)
    blank = replace(_blank(seen.verdict, len(series.times_s)), flags=seen.flags)
    return _with_spoiled(blank, series, seen.spoiled)


def _changing(series: Series, end_form: EndForm | None, names: Sequence[str]) -> CourseFit:
    suffice = two_forms_suffice(series)
    can_fit = counts_amount(series) and series.times_s[-1] > 0.0 and len(names) > 0
    fits, frames = _fit_models(series, end_form, names) if can_fit else ((), None)
    if not fits or frames is None:
        return _light_only(series, end_form, suffice, ())
    best, *_ = table = tuple(with_interval(frames, f) for f in better_ends(fits))
    kept = [with_interval(frames, f) for f in not_excluded(fits)]
    others = supported(table)
    records = tuple(f.record() for f in table)
    half, interval = _half_time(best, kept, others, series.times_s[-1])
    if end_form is None and not knows_end(series) and (half is None or interval[1] is None):
        return _light_only(series, end_form, suffice, records)
    found = _amounts(series, frames, best, kept, others, records, suffice, half, interval)
    untried = set(names) - {f.course.model.name for f in fits}
    return replace(found, not_excluded=(*found.not_excluded, *(n for n in names if n in untried)))


def _fit_models(
    series: Series, end_form: EndForm | None, names: Sequence[str]
) -> tuple[tuple[FittedCourse, ...], Frames]:
    """All models; signals and scatter for the weights come from the best rough fit (see ``frames_of``)."""
    models = [RATE_MODELS[name] for name in names]
    can_stop = end_form is not None or knows_end(series)
    courses = courses_of(names, can_stop=can_stop)
    frames = ready(series, end_form)
    for _ in range(2):
        frames = ready(series, end_form, rough_fit(frames, courses))
    return tuple(f for m in models for f in fit_variants(frames, m, can_stop)), frames


def _half_time(
    best: FittedCourse, kept: Sequence[FittedCourse], others: Sequence[FittedCourse], last_s: float
) -> tuple[float | None, Interval]:
    """The best model's half time, and an interval over all with support, open if one not excluded is."""
    lows, highs = zip(*(f.half_time_interval_s for f in kept), strict=True)
    more = [f.half_time_interval_s for f in others]
    interval = (
        None if None in lows else min([*lows, *(low for low, _ in more if low is not None)]),
        None if None in highs else max([*highs, *(high for _, high in more if high is not None)]),
    )
    halves = [f.half_time_s for f in kept]
    agree = max(halves) <= AGREE * min(halves) and None not in interval
    return (best.half_time_s if best.half_time_s <= last_s or agree else None), interval


def _amounts(
    series: Series,
    frames: Frames,
    best: FittedCourse,
    kept: Sequence[FittedCourse],
    others: Sequence[FittedCourse],
    records: tuple[ModelFit, ...],
    suffice: bool | None,
    half: float | None,
    interval: Interval,
) -> CourseFit:
    forms = unmix(frames, frames.light(best.fractions(frames.times_s))[None])
    A, B = forms.A[0], forms.B[0]
    covariance = forms_covariance(frames, best, A, B)
    clean = frames.without_stray(forms.stray[0])
    f, low, high = bars(clean, A, B, best.fit.rss / best.fit.dof, best.fit.dof, covariance)
    stops_at, stops_interval = _stop(frames, best, others)
    y_A, y_B = _luminances(series, frames, A, B)
    light = f if frames.ratio is not None else light_share(f, y_A, y_B)
    return CourseFit(
        verdict=CHANGING,
        two_forms_suffice=suffice,
        luminance_ratio=_luminance_ratio(series, frames, A, B, covariance, best.fit.dof),
        stops_at=stops_at,
        stops_at_interval=stops_interval,
        model=best.course.model.name,
        not_excluded=tuple(dict.fromkeys(k.course.model.name for k in sorted(kept, key=lambda k: k.aicc))),
        half_time_s=half,
        half_time_interval_s=None if half is None else interval,
        light_half_time_s=_light_half_time(best, y_A, y_B, series.times_s[-1]),
        longer_than_s=None,
        models=records,
        fraction_start=_column(frames.amount(f)),
        low=_column(frames.amount(low)),
        high=_column(frames.amount(high)),
        light_fraction_start=_column(light),
        start_signal=tuple(float(v) for v in A) if series.lamp_known else None,
        end_signal=EndForm(B, covariance[len(A) :, len(A) :]) if series.lamp_known else None,
    )


def _luminances(series: Series, frames: Frames, A: Array, B: Array) -> tuple[float, float]:
    """Of the two forms, to each other; NaN where not all channels are there."""
    if frames.ratio is not None:
        return 1.0, frames.ratio
    y = series.luminance_weights
    return (float(y @ A), float(y @ B)) if series.all_channels else (float("nan"), float("nan"))


def _luminance_ratio(
    series: Series, frames: Frames, A: Array, B: Array, covariance: Array, dof: int
) -> Ratio | None:
    """Y(B) / Y(A), as given if it had to be; the interval from the first-order error of its logarithm, the
    camera's share in it.
    """
    if frames.ratio is not None:
        return given_of(series).ratio_told
    y = series.luminance_weights
    if y @ A <= 0.0 or y @ B <= 0.0 or not series.all_channels:
        return None
    slope = np.concatenate([-y / (y @ A), y / (y @ B)])
    variance = max(0.0, float(slope @ covariance @ slope)) + series.luminance_sd**2
    spread = np.exp(min(t95(dof) * float(np.sqrt(variance)), 700.0))
    ratio = float((y @ B) / (y @ A))
    return Ratio(ratio, float(ratio / spread), float(ratio * spread))


def _stop(
    frames: Frames, best: FittedCourse, others: Sequence[FittedCourse]
) -> tuple[float | None, tuple[float, float] | None]:
    """Where it stops, if the best fit stops and its interval keeps off zero and off never having begun.

    The interval spans all stopping courses with support.
    """
    low, high = _left_interval(frames, best)
    if low is None or high is None:
        return None, None
    spans = [_left_interval(frames, f) for f in others]
    lows, highs = [a for a, _ in spans if a is not None], [b for _, b in spans if b is not None]
    return best.left, (min([low, *lows]), max([high, *highs]))


def _left_interval(frames: Frames, fitted: FittedCourse) -> Interval:
    """Profile interval of the fraction left at the end; open for a course that goes on."""
    if not fitted.course.stops:
        return None, None
    residuals, box = fitted.course.residuals(frames), fitted.course.bounds(frames.times_s)
    return profile_interval(residuals, fitted.fit, fitted.fit.values.size - 1, box)


def _light_half_time(
    best: FittedCourse, luminance_A: float, luminance_B: float, last_s: float
) -> float | None:
    """When the share of the light has gone half its way, by the fitted course; None if not yet crossed."""
    if not (luminance_A > 0.0 and luminance_B > 0.0):
        return None
    end = float(light_share(np.asarray(best.left), luminance_A, luminance_B))
    w = (1.0 + end) / 2.0
    fraction = w * luminance_B / (luminance_A * (1.0 - w) + w * luminance_B)
    time = best.time_to(fraction)
    return time if time is not None and time <= last_s else None


def _light_only(
    series: Series, end_form: EndForm | None, suffice: bool | None, records: tuple[ModelFit, ...]
) -> CourseFit:
    """Shares of the light only."""
    blank = replace(_blank(CHANGING, len(series.times_s)), models=records, flags=("light-is-not-amount",))
    if not series.all_channels:
        return blank
    w, half = light_shares(series, end_form)
    return replace(blank, two_forms_suffice=suffice, light_half_time_s=half, light_fraction_start=_column(w))


def _unchanged(series: Series, end_form: EndForm | None, verdict: str) -> CourseFit:
    """No change or not enough to tell: with a known end form still fractions, and a limit to the rate; the
    limit also where only its colour is given.
    """
    n = len(series.times_s)
    if not series.lamp_known or n < 2:
        return _blank(verdict, n)
    end_form = end_form or given_end(series)
    can_limit = verdict == NO_CHANGE and series.times_s[-1] > 0.0
    limit = _longer_than(series, end_form) if can_limit else None
    if end_form is None:
        return replace(_blank(verdict, n), longer_than_s=limit)
    frames = frames_of(series, end_form)
    W = np.swapaxes(frames.whiteners, 1, 2) @ frames.whiteners
    A = np.linalg.solve(W.sum(axis=0), np.einsum("nij,nj->i", W, series.signals))
    f, low, high = bars(frames, A, end_form.signal, 1.0, _free(series))
    y = series.luminance_weights
    return CourseFit(
        verdict,
        _column(f),
        _column(low),
        _column(high),
        _column(light_share(f, float(y @ A), float(y @ end_form.signal))),
        longer_than_s=limit,
        start_signal=tuple(float(v) for v in A),
    )


def _free(series: Series) -> int:
    """Degrees of freedom about one steady signal: values less the channels that have any, bounds not."""
    values = np.ones(series.signals.shape, bool) if series.bounds is None else ~series.bounds
    return max(1, int(values.sum()) - int(values.any(axis=0).sum()))


def _longer_than(series: Series, end_form: EndForm | None) -> float | None:
    """The excluded half time, cut off where it would rest on the rate law more than on the photographs."""
    if end_form is None and given_of(series).new is None:
        return None
    limit = slowest_half_time(series, end_form)
    return None if limit is None else min(limit, _REACH * float(series.times_s[-1]))


def _blank(verdict: str, n: int) -> CourseFit:
    unknown = (None,) * n
    return CourseFit(verdict, unknown, unknown, unknown, unknown)


def _spread(found: CourseFit, index: Index, n: int) -> CourseFit:
    """Columns back in the order the frames came in, None for those passed over."""

    def placed(column: Column) -> Column:
        out: list[float | None] = [None] * n
        for i, value in zip(index, column, strict=True):
            out[i] = value
        return tuple(out)

    return replace(
        found,
        fraction_start=placed(found.fraction_start),
        low=placed(found.low),
        high=placed(found.high),
        light_fraction_start=placed(found.light_fraction_start),
    )


def _with_spoiled(found: CourseFit, series: Series, bad: Index) -> CourseFit:
    """The spoiled frames named, each with the fraction that it alone would tell."""
    found = replace(found, spoiled=tuple(int(i) for i in bad))
    if found.start_signal is None or found.end_signal is None or not len(bad):
        return found
    A, B = np.array(found.start_signal), found.end_signal.signal
    alone, _ = fractions_of(frames_of(series.take(bad)), A, B)
    fraction = list(found.fraction_start)
    for i, f in zip(bad, alone, strict=True):
        fraction[i] = float(f)
    return replace(found, fraction_start=tuple(fraction))


def _column(values: Array) -> Column:
    return tuple(float(v) if np.isfinite(v) else None for v in values)
