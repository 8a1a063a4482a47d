"""Paths in text: found, and cut to their last part, so that what is published tells no folders."""

from __future__ import annotations

import re
from pathlib import PurePath, PureWindowsPath
from shlex import quote
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

# A path from the root of a disk: /a/b, C:\a\b, ~/a, \\server\share. A lone slash (mW/cm2, and/or) is none.
_ROOTED = re.compile(
    r"""(?<![\w.:/\\<])(?:file:/*|~?/|[A-Za-z]:[\\/]|\\\\)"""
    r"""(?:[^\s"'<>|,;:()]|[ ](?=[^\s/\\]+[/\\]))*[^\s"'<>|,;:().]"""
)

_BEGINS = re.compile(r"(?<![\w./\\-])(?=\S)")
_GOES_ON = re.compile(r"[\w/\\-]|\.\w")
"""Where a name may begin in a text, and what may not follow it."""


def base_name(path: str) -> str:
    r"""The last part of a path of either kind of system.

    >>> base_name("/home/someone/red.dng"), base_name(r"C:\photos\red.dng")
    ('red.dng', 'red.dng')
    """
    return PureWindowsPath(path).name or path


def typed(path: object) -> str:
    """A path as it is typed in a command: in quotes where it needs them.

    >>> typed("drying"), typed("dry ing")
    ('drying', "'dry ing'")
    """
    return quote(str(path))


def without_folders(value: Any) -> Any:
    """A value with every path from a disk's root cut to its last part, in text, lists and tables.

    >>> without_folders("camera=/home/someone/cam.json, 10 mW/cm2")
    'camera=cam.json, 10 mW/cm2'
    """
    if isinstance(value, str):
        return _ROOTED.sub(lambda found: base_name(found.group()), value)
    if isinstance(value, PurePath):
        return base_name(str(value))
    if isinstance(value, dict):
        return {key: without_folders(v) for key, v in value.items()}
    if isinstance(value, list | tuple):
        return [without_folders(v) for v in value]
    return value


def tidier(
    names: Mapping[str, str], *, folders: bool = False, samples: Iterable[str] = ()
) -> Callable[[str], str]:
    """What gives files their new names in a text, and cuts other paths to their last part unless ``folders``.

    ``names``: of each path in the study the new one. Names of ``samples`` stay as they are, also in longer
    texts.

    >>> tidier({"../evening/1.dng": "photos/1.dng"})("../evening/1.dng: note; see /home/a/b.txt")
    'photos/1.dng: note; see b.txt'
    >>> tidier({}, samples=["[/b]"])("[/b] renamed /x, see /b/x")
    '[/b] renamed x, see x'
    """
    kept = {name: name for name in samples} | dict(names)
    known = {name: new for name, new in kept.items() if "/" in name or "\\" in name}
    lengths = sorted({len(name) for name in known}, reverse=True)

    def cut(text: str) -> str:
        return text if folders else str(without_folders(text))

    def known_at(text: str, i: int) -> str | None:
        for n in lengths:
            if text[i : i + n] in known and not _GOES_ON.match(text, i + n):
                return text[i : i + n]
        return None

    def tidy(text: str) -> str:
        if text in kept:
            return kept[text]
        if "/" not in text and "\\" not in text:
            return text
        out, done = "", 0
        for begins in _BEGINS.finditer(text):
            if begins.start() >= done and (name := known_at(text, begins.start())):
                out += cut(text[done : begins.start()]) + known[name]
                done = begins.start() + len(name)
        return out + cut(text[done:])

    return tidy
