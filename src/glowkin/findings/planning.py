"""When to photograph, so that the half-time is known well and rate models are told apart.

By the information of the very equations that a series is fitted with, not by simulation: the covariance of
the half-time is the inverse of J^T J of the whitened residuals, both forms free, and a model is told apart
where the best it can do on noiseless photographs leaves, at the unlucky end of the noise, an AICc more than 2
above the true model's, and fits worse. Schedules t = reach (i / (n - 1))^power are compared; the guess may be
wrong by a factor of two.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.schedules import Prospect, Schedule
from glowkin.base.uncertainty import t95
from glowkin.findings.courses import SAME, Course
from glowkin.findings.fitting import aicc, jacobian, minimise, rss_limit
from glowkin.findings.rate_models import RATE_MODELS
from glowkin.findings.unmix import Series, frames_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.findings.unmix import Frames

FIRST = "first-order"
_ONE_SIDED = 1.645
GUESS_FACTORS = (1.0, 0.5, 2.0)
"""The guessed half-time, and how far it may be off."""

_TRUTHS = (
    ("zero-order", None),
    ("first-order", None),
    ("stretched-exponential", 0.6),
    ("avrami-erofeev", 2.0),
    ("contracting-volume", None),
    ("prout-tompkins", 1.0 - float(np.log(0.01))),
)
"""Courses to tell apart, with typical shapes: exponents 0.6 and 2, a germ of 1 %."""

_REACHES, _POWERS = (2.5, 4.0, 6.0), (0.7, 1.0, 1.5)
_START = np.array([0.60, 0.30, 0.10])
_END = np.array([0.15, 0.60, 0.25])
_WEIGHTS = np.array([0.30, 0.60, 0.10])


@dataclass(frozen=True)
class Assumed:
    """What is assumed of photographs: end over start in brightness, and noise (relative, one sd)."""

    brightness_ratio: float = 3.0
    channel_noise: float = 0.005
    lamp_noise: float = 0.015


def plan_schedule(half_time_s: float, photos: int, assumed: Assumed | None = None) -> Schedule:
    """The schedule of so many photographs (at least 5) that tells most models apart, then errs least."""
    assumed = assumed or Assumed()
    tried = (_schedule(half_time_s, photos, reach, power, assumed) for reach in _REACHES for power in _POWERS)
    return max(tried, key=_merit)


def _merit(schedule: Schedule) -> tuple[int, float]:
    errors = [1.0 if (e := p.worst_half_time_error) is None else e for p in schedule.prospects]
    return sum(len(p.told_apart) for p in schedule.prospects), -float(np.mean(errors))


def _schedule(half_time_s: float, photos: int, reach: float, power: float, assumed: Assumed) -> Schedule:
    times = convenient(reach * half_time_s * np.linspace(0.0, 1.0, photos) ** power)
    return Schedule(half_time_s, times, assumed.brightness_ratio, assumed.channel_noise, assumed.lamp_noise,
                    prospects(half_time_s, times, assumed))  # fmt: skip


def convenient(times_s: Array) -> tuple[float, ...]:
    """Times a person can keep: up to ten minutes whole tens of seconds, then minutes, from an hour on
    quarters, from five hours on halves of an hour, from two days on hours.
    """
    steps = [(600.0, 10.0), (3600.0, 60.0), (18000.0, 900.0), (172800.0, 1800.0), (np.inf, 3600.0)]
    out: list[float] = []
    for time in times_s:
        step = next(step for below, step in steps if time < below)
        out.append(max(round(float(time) / step) * step, out[-1] + step if out else 0.0))
    return tuple(out)


def prospects(half_time_s: float, times_s: Sequence[float], assumed: Assumed) -> tuple[Prospect, ...]:
    """What photographs at these times would tell of each course."""
    return tuple(_prospect(half_time_s, np.asarray(times_s), assumed, *truth) for truth in _TRUTHS)


def _prospect(
    half_time_s: float, times_s: Array, assumed: Assumed, name: str, shape: float | None
) -> Prospect:
    model = RATE_MODELS[name]
    errors, told = [], set(RATE_MODELS) - {name}
    for factor in GUESS_FACTORS:
        theta = np.array([np.log(factor * half_time_s), *([] if shape is None else [shape])])
        frames = noiseless(times_s, Course(model).fractions(times_s, theta[None])[0], assumed)
        errors.append(half_time_error(frames, Course(model), theta))
        told &= {
            other for other in told if _excluded(frames, Course(model), Course(RATE_MODELS[other]), theta)
        }
    apart = tuple(other for other in RATE_MODELS if other in told)
    rest = tuple(other for other in RATE_MODELS if other not in told and other != name)
    shown = None if shape is None else float(model.told(np.asarray(shape)))
    return Prospect(name, shown, _told(errors[0]), _told(max(errors)), apart, rest)


def _told(error: float) -> float | None:
    return error if error < 1.0 else None


def noiseless(times_s: Array, fractions: Array, assumed: Assumed) -> Frames:
    """Photographs without noise of a sample with these fractions left, and with the errors assumed."""
    end = _END * (assumed.brightness_ratio * (_WEIGHTS @ _START) / (_WEIGHTS @ _END))
    signals = fractions[:, None] * _START + (1.0 - fractions)[:, None] * end
    covariances = (assumed.channel_noise * signals)[:, :, None] ** 2 * np.eye(3)
    return frames_of(Series(times_s, signals, covariances, assumed.lamp_noise, _WEIGHTS))


def half_time_error(frames: Frames, course: Course, theta: Array) -> float:
    """95 % half-width of the half-time over itself, by the information at the truth; infinite if not told."""
    residuals, box = course.residuals(frames), course.bounds(frames.times_s)
    J = jacobian(residuals, theta[None], box)[0] * box.scale
    information = J.T @ J
    if np.linalg.cond(information) > 1e12:
        return float(np.inf)
    sd = box.scale[0] * np.sqrt(np.linalg.inv(information)[0, 0])
    dof = frames.n_data - frames.n_linear - theta.size
    return float(np.expm1(min(t95(dof) * sd, 50.0)))


def _excluded(frames: Frames, truth: Course, rival: Course, theta: Array) -> bool:
    """Whether the fit would exclude the rival in about 19 of 20 such series.

    The misfit of a wrong model scatters by twice its root about its size on noiseless photographs. Excluded
    is, as by the fit, what AICc puts behind and what misses the F limit.
    """
    n, linear = frames.n_data, frames.n_linear
    k, k_rival = (linear + _size(course) for course in (truth, rival))
    if min(n - k, n - k_rival) < 2 or (truth.model.name == FIRST and _size(rival) > 1):
        return False
    misfit = _least_misfit(frames, rival, theta[0])
    rss, rss_rival = n - k, n - k_rival + max(0.0, misfit - 2.0 * _ONE_SIDED * float(np.sqrt(misfit)))
    if rss_rival <= rss_limit(rss, n - k):
        return False
    return all(aicc(rss_rival, n, k_rival, v) > aicc(rss, n, k, v) + SAME for v in (0.0, 1.0))


def _least_misfit(frames: Frames, rival: Course, log_half_time: float) -> float:
    """Whitened RSS of the rival at its best on noiseless photographs."""
    axes = [log_half_time + np.array([-0.5, -0.1, 0.2])]
    axes += [np.linspace(*rival.model.exponent_range, 4)] if rival.model.exponent_range else []
    starts = np.stack([axis.ravel() for axis in np.meshgrid(*axes, indexing="ij")], axis=1)
    box = rival.bounds(frames.times_s)
    return float(minimise(rival.residuals(frames), starts, box, tolerance=1e-3, iterations=15)[1].min())


def _size(course: Course) -> int:
    return 2 if course.model.exponent_range else 1
