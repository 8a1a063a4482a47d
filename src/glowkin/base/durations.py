"""Durations as a person writes them."""

from __future__ import annotations

import re

_UNITS = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}


def seconds_of(text: str) -> float | None:
    """A duration in seconds; None for what is none.

    >>> seconds_of("12h"), seconds_of("1.5 d"), seconds_of("90min"), seconds_of("soon")
    (43200.0, 129600.0, 5400.0, None)
    """
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(s|min|h|d)\s*", text)
    return float(found[1]) * _UNITS[found[2]] if found else None
