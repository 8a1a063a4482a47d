"""What is wrong with a file's keys, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pydantic import ValidationError

_MOST = 4
_WORDS = {
    "extra_forbidden": "there is no such key",
    "missing": "is missing",
    "dict_type": "must be an object of named values",
    "model_type": "must be an object of named values",
    "list_type": "must be a list",
    "string_type": "must be text",
    "bool_type": "must be true or false",
    "float_type": "must be a number",
    "finite_number": "must be a number, and not infinite",
}


def wrong_keys(error: ValidationError) -> str:
    """Every key that is wrong and why, but for the many alike of a long list.

    >>> from pydantic import TypeAdapter, ValidationError
    >>> try:
    ...     TypeAdapter(list[int]).validate_python(["a"], strict=True)
    ... except ValidationError as error:
    ...     print(wrong_keys(error))
    [1]: must be a valid integer
    """
    told = [_told(e["loc"], e["type"], e["msg"]) for e in error.errors()]
    rest = f"; and {len(told) - _MOST} more" if len(told) > _MOST else ""
    return "; ".join(told[:_MOST]) + rest


def _told(place: tuple[int | str, ...], kind: str, message: str) -> str:
    words = _WORDS.get(kind, message.removeprefix("Value error, ").replace("Input should be", "must be"))
    return f"{key}: {words}" if (key := _key(place)) else words


def _key(place: tuple[int | str, ...]) -> str:
    return "".join(
        f"[{p + 1}]" if isinstance(p, int) else (f".{p}" if i else str(p)) for i, p in enumerate(place)
    )
