"""Figures as a reader may quote them: no digit the uncertainty does not support.

Rule: the last digit printed is the power of ten that makes the 95 % half-width at least 3 of its steps, so an
uncertainty shows one or two significant digits (JCGM 100:2008, 7.2.6: at most two) and rounding never moves
a figure by more than a sixth of its half-width.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Sequence

Interval: TypeAlias = "tuple[float | None, float | None] | None"

UNITS = (
    (120.0, 1.0, "s"),
    (7200.0, 60.0, "min"),
    (360000.0, 3600.0, "h"),
    (9.5e7, 86400.0, "d"),
    (math.inf, 31557600.0, "y"),
)
"""Durations: below this many seconds, so many seconds make one of the unit."""

NOTHING = "–"


def decimals_for(uncertainty: float) -> int:
    """Decimals supported by a 95 % half-width; negative where tens or hundreds are the last sure digit.

    >>> decimals_for(0.35), decimals_for(0.012), decimals_for(45.0)
    (1, 3, -1)
    """
    if not (math.isfinite(uncertainty) and uncertainty > 0):
        return 4
    return -math.floor(math.log10(uncertainty / 3.0) + 1e-9)


def fixed(value: float, decimals: int) -> str:
    """A figure at that many decimals, without a negative zero.

    >>> fixed(1234.5, -2), fixed(-0.0001, 2)
    ('1200', '0.00')
    """
    rounded = round(value, decimals) + 0.0
    return f"{rounded:.{max(decimals, 0)}f}"


def rounded(value: float | None, uncertainty: float | None) -> str:
    """A figure to the digits its 95 % half-width supports.

    >>> rounded(0.52345, 0.012)
    '0.523'
    """
    if value is None:
        return NOTHING
    return significant(value, 2) if uncertainty is None else fixed(value, decimals_for(uncertainty))


def significant(value: float, digits: int = 2) -> str:
    """A figure to so many significant digits, never in powers of ten.

    >>> significant(0.01234), significant(1234.0)
    ('0.012', '1200')
    """
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else NOTHING
    return fixed(value, digits - 1 - math.floor(math.log10(abs(value))))


def with_interval(value: float | None, interval: Interval, unit: str = "") -> str:
    """A figure and its 95 % interval; ``None`` at an end is an open end.

    >>> with_interval(6.123, (5.8, 6.5))
    '6.1 (5.8 to 6.5)'
    >>> with_interval(6.123, (5.8, None), "h")
    '6.1 h (5.8 h or more)'
    """
    space = f" {unit}" if unit else ""
    low, high = interval or (None, None)
    decimals = _decimals(value, low, high)
    text = [None if v is None else fixed(v, decimals) for v in (value, low, high)]
    inside = _inside(text[1], text[2], space)
    if text[0] is None:
        return inside or NOTHING
    return f"{text[0]}{space} ({inside})" if inside else f"{text[0]}{space}"


def _inside(low: str | None, high: str | None, space: str) -> str:
    if low is not None and high is not None:
        return f"{low} to {high}{space}"
    if low is not None:
        return f"{low}{space} or more"
    return f"{high}{space} or less" if high is not None else ""


def _decimals(value: float | None, low: float | None, high: float | None) -> int:
    """By the narrower side, unless that is much narrower than the other (a value at its bound)."""
    ends = [v for v in (low, high) if v is not None]
    if not ends:
        return 0 if not value else 1 - math.floor(math.log10(abs(value)))
    centre = sum(ends) / len(ends) if value is None else value
    sides = [abs(v - centre) for v in ends]
    if max(sides) == 0:
        return 1 - math.floor(math.log10(abs(centre))) if centre else 0
    narrow = min(sides) if min(sides) > max(sides) / 50 else max(sides)
    return decimals_for(narrow)


def duration_unit(seconds: float) -> tuple[float, str]:
    """The unit a person would use for that time: its length in seconds, and its sign.

    >>> duration_unit(22000.0)
    (3600.0, 'h')
    """
    return next((length, sign) for below, length, sign in UNITS if abs(seconds) < below)


def duration(seconds: float | None, interval: Interval = None) -> str:
    """A time and its 95 % interval in the unit a person would use.

    >>> duration(21960.0, (20880.0, 23400.0))
    '6.1 h (5.8 to 6.5 h)'
    """
    known = [v for v in (seconds, *(interval or ())) if v is not None]
    if not known:
        return NOTHING
    length, sign = duration_unit(known[0])
    return with_interval(None if seconds is None else seconds / length, _scaled(interval, length), sign)


def durations(times: Sequence[tuple[float, Interval]]) -> str:
    """Several times in one unit, all to the digits that the least certain of them has.

    >>> durations([(20900.0, (19800.0, 22400.0)), (22300.0, (20900.0, 24100.0))])
    '5.8, 6.2 h'
    """
    length, sign = duration_unit(times[0][0])
    decimals = min(_decimals(t / length, *_scaled(interval, length)) for t, interval in times)
    return f"{', '.join(fixed(t / length, decimals) for t, _ in times)} {sign}"


def _scaled(interval: Interval, length: float) -> tuple[float | None, float | None]:
    low, high = interval or (None, None)
    return None if low is None else low / length, None if high is None else high / length


def at_least(seconds: float) -> str:
    """A lower bound of a time, rounded down so that it claims no more than was found.

    >>> at_least(3.59e6)
    '41 d'
    """
    length, sign = duration_unit(seconds)
    amount = seconds / length
    if amount <= 0:
        return f"0 {sign}"
    step = 10.0 ** (math.floor(math.log10(amount)) - 1)
    down = math.floor(amount / step + 1e-9) * step
    return f"{significant(down, 2)} {sign}"
