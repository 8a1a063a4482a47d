"""Names as they may be published: no folders, vials gathered under their storage condition."""

from __future__ import annotations

import re
from pathlib import PurePath, PureWindowsPath
from typing import TYPE_CHECKING, Any

from glowkin.base.names import split_vial
from glowkin.base.storages import vial_in

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from glowkin.base.records import SampleCourse

# A path from the root of a disk: /a/b, C:\a\b, ~/a, \\server\share. A lone slash (mW/cm2, and/or) is none.
_ROOTED = re.compile(
    r"""(?<![\w.:/\\<])(?:file:/*|~?/|[A-Za-z]:[\\/]|\\\\)"""
    r"""(?:[^\s"'<>|,;:()]|[ ](?=[^\s/\\]+[/\\]))*[^\s"'<>|,;:().]"""
)


def base_name(path: str) -> str:
    r"""The last part of a path of either kind of system.

    >>> base_name("/home/someone/red.dng"), base_name(r"C:\photos\red.dng")
    ('red.dng', 'red.dng')
    """
    return PureWindowsPath(path).name or path


def public_names(paths: Iterable[str]) -> dict[str, str]:
    """Each path's shortest ending that tells it from the others: mostly the file's name alone.

    >>> public_names(["/data/a/1.jpg", "/data/b/1.jpg", "/data/b/2.jpg"])["/data/b/1.jpg"]
    'b/1.jpg'
    """
    distinct = list(dict.fromkeys(paths))
    return {path: _ending(path, distinct) for path in distinct}


def _ending(path: str, others: Sequence[str]) -> str:
    parts = _parts(path)
    for n in range(1, len(parts) + 1):
        tail = parts[-n:]
        if sum(_parts(other)[-n:] == tail for other in others) == 1:
            return "/".join(tail)
    return base_name(path)


def _parts(path: str) -> list[str]:
    windows = PureWindowsPath(path)
    return [p for p in windows.parts if p not in (windows.anchor, "..", ".")] or [path]


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


def by_condition(names: Iterable[str]) -> dict[str, list[str]]:
    """Names under their condition, in order of appearance; a name that stands alone keeps itself whole."""
    groups: dict[str, list[str]] = {}
    for name in names:
        groups.setdefault(split_vial(name)[0], []).append(name)
    return {(k if len(v) > 1 else v[0]): v for k, v in groups.items()}


def by_storage(courses: Iterable[SampleCourse]) -> dict[str, list[SampleCourse]]:
    """Followed samples under their storage, as ``by_condition`` does, but by where each is said to belong."""
    groups: dict[str, list[SampleCourse]] = {}
    for course in courses:
        groups.setdefault(vial_in(course).condition, []).append(course)
    return {(k if len(v) > 1 else v[0].name): v for k, v in groups.items()}
