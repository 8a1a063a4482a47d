"""Records as plain dicts, rows and figures, and rows read from JSON as records have them."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import Any

_BARE = (float, int, str)
"""What begins with one of these holds nothing else: a row of figures or names."""


def plain(value: Any) -> Any:
    """A record as a dict of its fields, and so on within it; rows of figures or names, which nobody can
    change, as they are.

    >>> plain((1.0, 2.0)), plain({"a": ((0, 1), None)})
    ((1.0, 2.0), {'a': ((0, 1), None)})
    """
    if isinstance(value, tuple):
        return value if value and isinstance(value[0], _BARE) else tuple(map(plain, value))
    if isinstance(value, dict):
        return {key: plain(v) for key, v in value.items()}
    if is_dataclass(value):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    return value


def tuples(value: Any) -> Any:
    """What JSON holds, its lists as tuples.

    >>> tuples([[1, 2], []]), tuples({"a": ["b"]})
    (((1, 2), ()), {'a': ('b',)})
    """
    if isinstance(value, list):
        return tuple(value if value and isinstance(value[0], _BARE) else map(tuples, value))
    if isinstance(value, dict):
        return {k: tuples(v) for k, v in value.items()}
    return value
