"""One rate model fitted to one series of photographs: half time, exponent, where it stops."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.records import ModelFit
from glowkin.findings.fitting import Bounds, Fit, aicc, fit, minimise, profile_interval, rss_limit, squares
from glowkin.findings.rate_models import RATE_MODELS
from glowkin.findings.unmix import unmix

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.findings.fitting import Interval, Residuals
    from glowkin.findings.rate_models import RateModel
    from glowkin.findings.unmix import Frames, Index

SAME = 2.0
"""Models within so many AICc units of the best are not excluded."""

SUPPORTED = 10.0
"""Models further than this from the best have essentially no support (Burnham & Anderson 2002, ch. 2.6)."""

_STEPS, _FINE_STEPS, _FINEST_STEPS = 40, 157, 1001
"""Half-times on a grid of starts."""
_MOST_LEFT = 0.999
_MOST_WAITED = 0.95


@dataclass(frozen=True)
class Course:
    """A rate model, at once or after an induction, going to the end or stopping part-way.

    theta is (log half time, exponent?, waited?, left?): the half time from time zero, the induction's share
    of it, and the fraction left at the end.
    """

    model: RateModel
    stops: bool = False
    waits: bool = False

    def fractions(self, times_s: Array, theta: Array) -> Array:
        """Fraction of the starting form (k, n) for parameters (k, p)."""
        T, exponent, waited, left = (column[:, None] for column in self.split(theta))
        induction = waited * T
        return left + (1.0 - left) * self.model.fraction(times_s - induction, T - induction, exponent)

    def split(self, theta: Array) -> tuple[Array, Array, Array, Array]:
        """Half time, exponent (1 where the model has none), the share of the half time in which nothing
        happens yet, and the fraction left at the end, (k,) each.
        """
        one = np.ones(len(theta))
        exponent = theta[:, 1] if self.model.exponent_range else one
        waited = theta[:, -2 if self.stops else -1] if self.waits else 0.0 * one
        return np.exp(theta[:, 0]), exponent, waited, theta[:, -1] if self.stops else 0.0 * one

    def bounds(self, times_s: Array) -> Bounds:
        """From a twentieth of the first time after zero to a hundred times the last."""
        ranges = [(np.log(times_s[times_s > 0.0].min() / 20.0), np.log(100.0 * times_s[-1]))]
        ranges += [self.model.exponent_range] if self.model.exponent_range else []
        ranges += [(0.0, _MOST_WAITED)] if self.waits else []
        ranges += [(0.0, _MOST_LEFT)] if self.stops else []
        lower, upper = np.array(ranges).T
        return Bounds(lower, upper, np.full(len(ranges), 0.3))

    def starts(self, times_s: Array) -> Array:
        """A coarse grid over the whole box, (k, p); finer where the law comes to its end at a time, which may
        fall between any two photographs.
        """
        box = self.bounds(times_s)
        more = self.waits or self.stops
        steps = _STEPS if self.model.exponent_range else _FINE_STEPS if more else _FINEST_STEPS
        axes = [np.linspace(box.lower[0], box.upper[0], steps)]
        exponents = 3 if self.waits else 6
        axes += [np.linspace(*self.model.exponent_range, exponents)] if self.model.exponent_range else []
        axes += [np.array([0.1, 0.3, 0.5, 0.7])] if self.waits else []
        axes += [np.array([0.03, 0.2, 0.5, 0.8, 0.95, 0.99])] if self.stops else []
        return np.stack([axis.ravel() for axis in np.meshgrid(*axes, indexing="ij")], axis=1)

    def residuals(self, frames: Frames) -> Residuals:
        """Whitened residuals as a function of theta, the forms' signals solved for."""
        return lambda theta: unmix(frames, frames.light(self.fractions(frames.times_s, theta))).residuals


@dataclass(frozen=True)
class FittedCourse:
    """A course with its best parameters and what the data leave open.

    ``cautious`` is AICc with the noise not taken for less than the frames declare: a few of them that happen
    to scatter little are no proof against a model that others follow within their errors.
    """

    course: Course
    fit: Fit
    aicc: float
    cautious: float
    half_time_interval_s: Interval = (None, None)

    @property
    def half_time_s(self) -> float:
        """Time from zero to the middle between initial and final amount."""
        return float(np.exp(self.fit.values[0]))

    @property
    def induction_s(self) -> float:
        """How long nothing happens at first."""
        return self.half_time_s * float(self.split()[2][0])

    @property
    def left(self) -> float:
        """Fraction of the starting form that stays."""
        return float(self.split()[3][0])

    def fractions(self, times_s: Array) -> Array:
        """Fitted fraction of the starting form, (n,)."""
        return np.asarray(self.course.fractions(times_s, self.fit.values[None])[0])

    def time_to(self, fraction: float) -> float | None:
        """When the fraction left falls to this; None if it never does."""
        T, exponent, waited, left = self.split()
        alpha = (1.0 - fraction) / (1.0 - left)
        if not 0.0 <= alpha[0] < 1.0:
            return None
        model = self.course.model
        going = (1.0 - waited) / model.half_x(exponent) * model.g(alpha, exponent)
        return float((T * (waited + going))[0])

    def split(self) -> tuple[Array, Array, Array, Array]:
        """Its half time, exponent, share waited and fraction left, (1,) each."""
        return self.course.split(self.fit.values[None])

    def record(self) -> ModelFit:
        """The fit as a record, its half time scale as tau."""
        T, exponent, waited, _ = self.split()
        parameters = {"tau_s": float((T * (1.0 - waited) / self.course.model.half_x(exponent))[0])}
        if self.course.model.exponent_range:
            parameters[self.course.model.shape] = float(self.course.model.told(exponent)[0])
        if self.course.waits:
            parameters["induction_s"] = float((T * waited)[0])
        if self.course.stops:
            parameters["stops_at"] = self.left
        return ModelFit(
            self.course.model.name, parameters, self.aicc, self.half_time_s, self.half_time_interval_s
        )


def courses_of(names: Sequence[str], *, can_stop: bool) -> list[Course]:
    """These rate models going on to the end and, if they can, stopping part-way."""
    ends = (False, True) if can_stop else (False,)
    return [Course(RATE_MODELS[name], stops) for name in names for stops in ends]


@dataclass(frozen=True)
class Rough:
    """Fitted signals (n, d) of a course, the scatter of the frames about it, the forms (d,), and its RSS.

    The scatter is in units of the declared sd, and kept off zero for exact data.
    """

    signals: Array
    scatter: float
    A: Array
    B: Array
    rss: float


def rough_fit(frames: Frames, courses: Sequence[Course]) -> Rough:
    """The best of these courses, roughly."""
    rss, theta, course = rough_best(frames, courses)
    f = frames.light(course.fractions(frames.times_s, theta))
    forms = unmix(frames, f)
    rows = forms.residuals[0, : frames.signals.size]
    dof = max(1, rows.size - frames.n_bounds - frames.n_linear - theta.size)
    signals = f[0][:, None] * forms.A[0] + (1.0 - f[0])[:, None] * forms.B[0]
    if frames.stray is not None:
        signals = signals + frames.stray @ forms.stray[0]
    return Rough(signals, max(float(np.sqrt(rows @ rows / dof)), 1e-3), forms.A[0], forms.B[0], rss)


def rough_best(frames: Frames, courses: Sequence[Course]) -> tuple[float, Array, Course]:
    """Smallest RSS of any of these courses to a thousandth, its theta (1, p), and the course."""
    ends = []
    for course in courses:
        residuals, grid = course.residuals(frames), course.starts(frames.times_s)
        start = grid[[np.argmin(squares(residuals, grid, frames.n_data))]]
        theta, rss = minimise(residuals, start, course.bounds(frames.times_s), tolerance=1e-3, iterations=12)
        ends.append((float(rss[0]), theta, course))
    return min(ends, key=lambda end: end[0])


def lowest_rss(frames: Frames, course: Course, also: Array | None = None) -> tuple[float, Array]:
    """Smallest RSS of a course from several starts, and from parameters (1, p) told beside; and its theta."""
    residuals, grid = course.residuals(frames), course.starts(frames.times_s)
    starts = _apart(grid, np.argsort(squares(residuals, grid, frames.n_data)), 3)
    starts = starts if also is None else np.concatenate([starts, also])
    ends, rss = minimise(residuals, starts, course.bounds(frames.times_s), tolerance=1e-4, iterations=20)
    return float(rss.min()), ends[[np.argmin(rss)]]


def fit_variants(frames: Frames, model: RateModel, can_stop: bool) -> tuple[FittedCourse, ...]:
    """The model at once and after an induction, each going on and, if it can, stopping part-way.

    Left out is an induction that gains nothing: that AICc puts more than 2 units behind the same without, and
    that fits no better than by chance; and one shorter than half the time to the next photograph after zero,
    which is not told from a slightly different shape.
    """
    shortest = frames.times_s[frames.times_s > 0.0].min() / 2.0
    fits = []
    for stops in (False, True) if can_stop else (False,):
        plain = fit_one(frames, Course(model, stops))
        later = plain and fit_one(frames, Course(model, stops, waits=True), plain)
        fits += [f for f in (plain,) if f is not None]
        fits += [f for f in (later,) if f is not None and f.induction_s >= shortest]
    return tuple(fits)


def fit_one(frames: Frames, course: Course, plain: FittedCourse | None = None) -> FittedCourse | None:
    """Best fit, its interval still open; None where data are too few, or it gains nothing on ``plain``."""
    residuals, box = course.residuals(frames), course.bounds(frames.times_s)
    grid = course.starts(frames.times_s)
    order = np.argsort(squares(residuals, grid, frames.n_data))
    ends, rss = minimise(residuals, _apart(grid, order), box, tolerance=1e-3, iterations=20)
    if plain is not None and not _gains(frames, float(rss.min()), grid.shape[1], plain):
        return None
    best = fit(residuals, ends[np.argmin(rss)], box, frames.n_linear + frames.n_bounds)
    scores = _scores(frames, best.rss, best.values.size)
    return FittedCourse(course, best, *scores) if np.isfinite(scores[0]) else None


def _gains(frames: Frames, rss: float, n_parameters: int, plain: FittedCourse) -> bool:
    """Whether one more parameter than ``plain`` has is worth looking at."""
    by_chance = chance(plain.fit)
    return plain.fit.rss - rss > by_chance or _scores(frames, rss, n_parameters)[0] <= plain.aicc + SAME


def _scores(frames: Frames, rss: float, n_parameters: int) -> tuple[float, float]:
    """AICc, and the cautious one."""
    n, k = frames.n_data, frames.n_linear + n_parameters
    return aicc(rss, n, k), aicc(rss, n, k, declared=1.0)


def chance(fit: Fit) -> float:
    """By how much the RSS of two descriptions may differ by chance: the F limit of an interval, the noise
    not taken for less than declared.
    """
    rss = max(fit.rss, float(fit.dof))
    return rss_limit(rss, fit.dof) - rss


def with_interval(frames: Frames, fitted: FittedCourse) -> FittedCourse:
    """The fit with the profile interval of its half time."""
    course = fitted.course
    low, high = profile_interval(course.residuals(frames), fitted.fit, 0, course.bounds(frames.times_s))
    return replace(fitted, half_time_interval_s=(_exp(low), _exp(high)))


def better_ends(fits: Sequence[FittedCourse]) -> tuple[FittedCourse, ...]:
    """For each model the best of its variants, best first."""
    ordered = sorted(fits, key=lambda f: f.aicc)
    first = {f.course.model.name: f for f in reversed(ordered)}
    return tuple(f for f in ordered if first[f.course.model.name] is f)


def not_excluded(fits: Sequence[FittedCourse]) -> tuple[FittedCourse, ...]:
    """All within 2 AICc units of the best, or 2 cautious ones, any other model that fits as well, and any
    whose exponent may be 1 together with first order.

    As well fits what has no more RSS than the best within its F limit: one parameter more is a reason to
    prefer the simpler model, not evidence against the other. The exponent's interval reaches 1 where first
    order, which is that model at exponent 1, stays within its F limit. A model that goes on to the end and
    one that stops part-way are two candidates.
    """
    best = min(fits, key=lambda f: f.aicc)
    cautious = min(f.cautious for f in fits)
    kept = [f for f in fits if f.aicc <= best.aicc + SAME or f.cautious <= cautious + SAME]
    first = next((f for f in fits if f.course == Course(RATE_MODELS["first-order"])), None)
    if first is not None:
        reaching = [f for f in fits if _reaches_one(f, first)]
        if first in kept or any(f in kept for f in reaching):
            kept += [f for f in (first, *reaching) if f not in kept]
    most = best.fit.rss + chance(best.fit)
    for fitted in sorted(fits, key=lambda f: f.aicc):
        if fitted.fit.rss <= most and all(fitted.course.model is not f.course.model for f in kept):
            kept.append(fitted)
    return tuple(f for f in fits if f in kept)


def supported(fits: Sequence[FittedCourse]) -> tuple[FittedCourse, ...]:
    """All that have any support: what they find belongs in an honest interval."""
    best = min(f.aicc for f in fits)
    return tuple(f for f in fits if f.aicc <= best + SUPPORTED)


def _reaches_one(fitted: FittedCourse, first: FittedCourse) -> bool:
    has_exponent = fitted.course.model.exponent_range is not None and not fitted.course.waits
    return has_exponent and first.fit.rss <= fitted.fit.rss + chance(fitted.fit)


def _apart(grid: Array, order: Index, count: int = 4) -> Array:
    """The best grid points that are not neighbours in half time, and both neighbours of the first, as starts
    of the descent: where a law ends just after a photograph, the descent from before it stays before it.
    """
    chosen: list[Array] = []
    half_times = np.unique(grid[:, 0])
    spacing = 1.5 * (half_times[-1] - half_times[0]) / (_STEPS - 1)
    step = np.eye(grid.shape[1])[0] * (half_times[1] - half_times[0])
    for i in order[:1000]:
        if all(abs(grid[i, 0] - other[0]) > spacing for other in chosen):
            chosen.append(grid[i])
        if len(chosen) == count:
            break
    return np.array([*chosen, chosen[0] - step, chosen[0] + step])


def _exp(value: float | None) -> float | None:
    return None if value is None else float(np.exp(value))
