"""How many times longer one sample takes than another."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.records import CourseComparison
from glowkin.findings.change import CANNOT_TELL

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.records import SampleCourse

_INDISTINCT = 2.0


def compare_half_times(courses: Sequence[SampleCourse]) -> tuple[CourseComparison, ...]:
    """Every pair of half times: ``half_time_ratio`` = that of a over that of b, with a 95 % interval.

    Half times count as log-normal; the limits of the two intervals combine in quadrature on each side
    (MOVER: Donner & Zou, Stat. Methods Med. Res. 21, 347, 2012). Pairs without two half times, or with
    an interval open on a side, are left out. One vial for each condition says nothing of how vials scatter.
    """
    known = [c for c in courses if c.half_time_s and c.half_time_interval_s and all(c.half_time_interval_s)]
    return tuple(_compared(a, b) for a, b in combinations(known, 2))


def _compared(a: SampleCourse, b: SampleCourse) -> CourseComparison:
    (value_a, low_a, high_a), (value_b, low_b, high_b) = _logs(a), _logs(b)
    ratio = value_a - value_b
    low = ratio - np.hypot(value_a - low_a, high_b - value_b)
    high = ratio + np.hypot(high_a - value_a, value_b - low_b)
    interval = float(np.exp(low)), float(np.exp(high))
    return CourseComparison(a.name, b.name, float(np.exp(ratio)), interval, _difference(interval))


def _logs(course: SampleCourse) -> tuple[float, float, float]:
    low, high = course.half_time_interval_s or (None, None)
    value, low, high = np.log(np.array([course.half_time_s, low, high], dtype=float))
    return float(value), float(low), float(high)


def _difference(interval: tuple[float, float]) -> str:
    low, high = interval
    if low > 1.0 or high < 1.0:
        return "different"
    near = low > 1.0 / _INDISTINCT and high < _INDISTINCT
    return "no difference seen" if near else CANNOT_TELL
