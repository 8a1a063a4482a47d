"""Texts of a study without the folders they were written in, so that they can be handed on."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from glowkin.base.places import without_folders

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping


def tidier(
    names: Mapping[str, str], *, folders: bool = False, samples: Iterable[str] = ()
) -> Callable[[str], str]:
    """What gives files their new names in a text, and cuts other paths to their last part unless ``folders``.

    ``names``: of each path in the study the new one. Names of ``samples`` stay as they are.

    >>> tidier({"../evening/1.dng": "photos/1.dng"})("../evening/1.dng: note; see /home/a/b.txt")
    'photos/1.dng: note; see b.txt'
    >>> tidier({}, samples=["[/b]"])("[/b]")
    '[/b]'
    """
    kept = frozenset(samples)
    old = sorted((path for path in names if "/" in path), key=len, reverse=True)
    found = re.compile(rf"(?<![\w./\\-])(?:{'|'.join(map(re.escape, old))})(?![\w/\\-])") if old else None

    def tidy(text: str) -> str:
        if text in names:
            return names[text]
        if text in kept:
            return text
        text = found.sub(lambda m: names[m.group()], text) if found else text
        return text if folders else without_folders(text)

    return tidy


def walked(value: Any, change: Callable[[str], str]) -> Any:
    """JSON with every text and key in it changed; numbers stay to the last digit."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, list | tuple):
        return [walked(v, change) for v in value]
    if isinstance(value, dict):
        return {change(key): walked(v, change) for key, v in value.items()}
    return value
