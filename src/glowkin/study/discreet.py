"""Documents of a study with every text in them changed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable


def walked(value: Any, change: Callable[[str], str]) -> Any:
    """JSON with every text and key in it changed; numbers stay to the last digit."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, list | tuple):
        return [v if isinstance(v, float) else walked(v, change) for v in value]
    if isinstance(value, dict):
        return {change(key): walked(v, change) for key, v in value.items()}
    return value
