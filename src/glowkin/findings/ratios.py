"""How many times longer one sample takes than another."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.storages import CourseComparison, vial_in
from glowkin.base.uncertainty import Z95
from glowkin.findings.across import across_states
from glowkin.findings.change import CANNOT_TELL
from glowkin.findings.courses import SUPPORTED

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.records import SampleCourse
    from glowkin.base.storages import Limits

_INDISTINCT = 2.0


@dataclass(frozen=True)
class Logs:
    """Logarithms of one sample's half-time and of its 95 % limits; None where that end is open."""

    name: str
    value: float | None
    low: float | None
    high: float | None
    states: tuple[str, ...] = ()

    @property
    def closed(self) -> bool:
        """Whether value and both limits are known."""
        return None not in (self.value, self.low, self.high)

    @property
    def open_up(self) -> bool:
        """Whether only a lower limit is known."""
        return self.high is None

    @property
    def open_down(self) -> bool:
        """Whether only an upper limit is known."""
        return self.low is None

    @property
    def bound(self) -> float:
        """The value, or the one limit that is known."""
        known = self.value if self.closed else (self.low if self.open_up else self.high)
        return float(known)  # type: ignore[arg-type]

    @property
    def own_variance(self) -> float:
        """Of the value by the fit alone, as if its limits were those of a Gaussian."""
        return 0.0 if self.low is None or self.high is None else ((self.high - self.low) / (2.0 * Z95)) ** 2


def logs_of(course: SampleCourse) -> Logs | None:
    """What is known of a sample's half-time; None if nothing, as of a control."""
    low, high = course.half_time_interval_s or (None, None)
    low = low if low or high else course.longer_than_s or _least(course)
    if not low and not high:
        return None
    value = course.half_time_s if low and high else None
    logs = [None if not v else float(np.log(v)) for v in (value, low, high)]
    return Logs(course.name, logs[0], logs[1], logs[2], vial_in(course).states)


def _least(course: SampleCourse) -> float | None:
    """What all models with support exceed, where they do not agree on more."""
    best = min((m.aicc for m in course.models), default=0.0)
    lows = [(m.half_time_interval_s or (None,))[0] for m in course.models if m.aicc <= best + SUPPORTED]
    told = [low for low in lows if low is not None]
    return min(told) if told and len(told) == len(lows) else None


def compare_half_times(courses: Sequence[SampleCourse]) -> tuple[CourseComparison, ...]:
    """Every pair of half times: ``half_time_ratio`` = that of a over that of b, with a 95 % interval.

    Half times count as log-normal; the limits of the two intervals combine in quadrature on each side
    (MOVER: Donner & Zou, Stat. Methods Med. Res. 21, 347, 2012). Where one is known only to be longer than
    something, so is the ratio: limit over limit. Pairs that have no limit at all are left out. One vial for
    each condition says nothing of how vials scatter.
    """
    known = [logs for c in courses if (logs := logs_of(c))]
    pairs = (_compared(a, b) for a, b in combinations(known, 2))
    return tuple(pair for pair in pairs if pair.interval != (None, None))


def _compared(a: Logs, b: Logs) -> CourseComparison:
    ratio = float(np.exp(a.value - b.value)) if a.value is not None and b.value is not None else None
    upper = _lower(b, a)
    interval = _exp(_lower(a, b)), _exp(None if upper is None else -upper)
    unlike = across_states((*a.states, *b.states))
    return CourseComparison(a.name, b.name, ratio, interval, difference(interval), unlike)


def _lower(a: Logs, b: Logs) -> float | None:
    """Lower limit of the logarithm of a over b."""
    if a.low is None or b.high is None:
        return None
    if a.value is None or b.value is None:
        return a.low - b.high
    return float(a.value - b.value - np.hypot(a.value - a.low, b.high - b.value))


def _exp(value: float | None) -> float | None:
    return None if value is None else float(np.exp(value))


def difference(interval: Limits) -> str:
    """What the interval of a ratio says: whether it holds 1, and whether it stays near it."""
    low, high = interval
    if (low is not None and low > 1.0) or (high is not None and high < 1.0):
        return "different"
    near = low is not None and high is not None and low > 1.0 / _INDISTINCT and high < _INDISTINCT
    return "no difference seen" if near else CANNOT_TELL
