"""Paths in text: found, and cut to their last part, so that what is published tells no folders."""

from __future__ import annotations

import re
from pathlib import PurePath, PureWindowsPath
from typing import Any

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
