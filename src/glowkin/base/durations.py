"""Durations and moments as a person writes them."""

from __future__ import annotations

import re
from datetime import datetime
from math import isfinite

_UNITS = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}


def seconds_of(text: str) -> float | None:
    """A duration in seconds; None for what is none.

    >>> seconds_of("12h"), seconds_of("1.5 d"), seconds_of("90min"), seconds_of("soon")
    (43200.0, 129600.0, 5400.0, None)
    """
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(s|min|h|d)\s*", text)
    seconds = float(found[1]) * _UNITS[found[2]] if found else None
    return seconds if seconds is not None and isfinite(seconds) else None


def moment_of(value: object) -> datetime | None:
    """A date with a time of day, of TOML or as text in ISO 8601; None for what is none, a date alone too.

    >>> moment_of("2026-05-04T13:30").hour, moment_of("2026-05-04"), moment_of("soon")
    (13, None, None)
    """
    if isinstance(value, datetime):
        return value
    if not isinstance(value, str) or not ("T" in value or ":" in value):
        return None
    try:
        return datetime.fromisoformat(value)
    except ValueError:
        return None
