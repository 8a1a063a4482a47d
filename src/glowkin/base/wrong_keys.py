"""What is wrong with a file's keys, in words."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, get_args, get_type_hints

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from pydantic import ValidationError

    Place = tuple[int | str, ...]

_MOST = 4
_WORDS = {
    "extra_forbidden": "there is no such key",
    "unexpected_keyword_argument": "there is no such key",
    "missing": "is missing",
    "dict_type": "must be an object of named values",
    "model_type": "must be an object of named values",
    "dataclass_type": "must be a table of named values",
    "list_type": "must be a list",
    "tuple_type": "must be a list",
    "string_type": "must be text",
    "bool_type": "must be true or false",
    "float_type": "must be a number",
    "finite_number": "must be a number, and not infinite",
    "string_too_short": "must not be empty",
}
_UNKNOWN = ("extra_forbidden", "unexpected_keyword_argument")


def wrong_keys(error: ValidationError, kind: Any = None) -> str:
    """Every key that is wrong and why, but for the many alike of a long list.

    ``kind`` is the model or dataclass that was asked for: from it the nearest key there is gets named.

    >>> from pydantic import TypeAdapter, ValidationError
    >>> try:
    ...     TypeAdapter(list[int]).validate_python(["a"], strict=True)
    ... except ValidationError as error:
    ...     print(wrong_keys(error))
    [1]: must be a valid integer
    """
    return few_told(told_keys(error, kind))


def few_told(wrong: Sequence[str]) -> str:
    """All that is wrong in one line, but for the many of a long list.

    >>> few_told(["a", "b"]), few_told([*"abcdef"])
    ('a; b', 'a; b; c; d; and 2 more')
    """
    rest = f"; and {len(wrong) - _MOST} more" if len(wrong) > _MOST else ""
    return "; ".join(wrong[:_MOST]) + rest


def wrong_lines(wrong: Iterable[tuple[int, str]]) -> str:
    """What is wrong with lines of a table, told by their numbers, with the mend.

    >>> wrong_lines([(7, "holds values that are no numbers"), (2, "is no table")])
    'line 2 is no table; line 7 holds values that are no numbers; correct these lines'
    """
    told = [
        f"line {number}{'' if words.startswith((',', ':')) else ' '}{words}"
        for number, words in sorted(wrong)
    ]
    return f"{few_told(told)}; correct {'it' if len(told) == 1 else 'these lines'}"


def told_keys(error: ValidationError, kind: Any = None) -> list[str]:
    """A sentence for each key that is wrong, all of them."""
    return [_told(e["loc"], e["type"], e["msg"], e["input"], kind) for e in error.errors()]


def nearest_words(wrong: str, there: Iterable[str]) -> str:
    """The names that a wrong one may have meant, failing that all there are.

    >>> nearest_words("humidty", ["humidity_percent", "temperature_c"])
    'nearest: humidity_percent'
    >>> nearest_words("x", ["lamp", "start"]), nearest_words("x", [])
    ('there are lamp, start', 'there are none')
    """
    names = list(dict.fromkeys(there))
    near = get_close_matches(wrong.lower(), [n.lower() for n in names], n=1, cutoff=0.6)
    near = near or [n.lower() for n in names if n.lower().startswith(wrong.lower()[:4])][:1]
    if near:
        return f"nearest: {next(n for n in names if n.lower() == near[0])}"
    return f"there are {', '.join(names) or 'none'}"


def key_path(place: Sequence[int | str]) -> str:
    """A key as written by people, entries of lists counted from 1.

    >>> key_path(("sample", 1, "state"))
    'sample[2].state'
    """
    return "".join(
        f"[{p + 1}]" if isinstance(p, int) else (f".{p}" if i else str(p)) for i, p in enumerate(place)
    )


def entries(row: dict[str, Any], sort: str) -> list[tuple[int, dict[str, Any]]]:
    """The tables of a list in a file that may be wrong in any way, with their places.

    >>> entries({"lamp": [{"name": "a"}, 3]}, "lamp"), entries({"lamp": 3}, "lamp")
    ([(0, {'name': 'a'})], [])
    """
    listed = row.get(sort)
    return [(i, e) for i, e in enumerate(listed) if isinstance(e, dict)] if isinstance(listed, list) else []


def _told(place: Place, sort: str, message: str, given: object, kind: Any) -> str:
    words = _WORDS.get(sort, message.removeprefix("Value error, ").replace("Input should be", "must be"))
    if sort in _UNKNOWN and kind is not None and (there := _keys_at(kind, place[:-1])):
        words = f"{words}; {nearest_words(str(place[-1]), there)}"
    if sort == "literal_error":
        words = f"is {given!r}, {words}"
    return f"{key}: {words}" if (key := key_path(place)) else words


def _keys_at(kind: Any, place: Place) -> list[str]:
    """The keys there are in the table at that place; none where it is no table."""
    for step in place:
        kind = _inner(kind) if isinstance(step, int) else _hints(kind).get(step)
    kind = _tables(kind)
    return list(_hints(kind)) if kind is not None else []


def _hints(kind: Any) -> dict[str, Any]:
    """Keys of a model or dataclass, by the names that a file has for them, with their types."""
    kind = _tables(kind)
    if kind is None:
        return {}
    hints = get_type_hints(kind)
    if is_dataclass(kind):
        return {f.name: hints[f.name] for f in fields(kind)}
    return {f.alias or name: hints[name] for name, f in kind.model_fields.items()}


def _tables(kind: Any) -> Any:
    """The model or dataclass in a type, which may be optional; None where there is none."""
    found = (kind, *get_args(kind))
    return next((k for k in found if is_dataclass(k) or hasattr(k, "model_fields")), None)


def _inner(kind: Any) -> Any:
    """What a list or tuple holds."""
    return next(iter(get_args(kind)), None)
