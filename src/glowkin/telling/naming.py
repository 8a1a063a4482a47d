"""Names as they may be published: no folders, vials gathered under their storage condition."""

from __future__ import annotations

from collections import Counter
from pathlib import PureWindowsPath
from typing import TYPE_CHECKING

from glowkin.base.names import split_vial
from glowkin.base.places import base_name, without_folders
from glowkin.base.storages import vial_in

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from glowkin.base.records import SampleCourse

__all__ = ["base_name", "by_condition", "by_storage", "gathered", "public_names", "without_folders"]


def public_names(paths: Iterable[str]) -> dict[str, str]:
    """Each path's shortest ending that tells it from the others: mostly the file's name alone.

    >>> public_names(["/data/a/1.jpg", "/data/b/1.jpg", "/data/b/2.jpg"])["/data/b/1.jpg"]
    'b/1.jpg'
    """
    paths = dict.fromkeys(paths)
    short = {path: base_name(path) for path in paths}
    if len(set(short.values())) == len(short):
        return short
    parts = {path: _parts(path) for path in paths}
    times = Counter(tail for own in parts.values() for tail in _tails(own))
    return {
        path: next(("/".join(tail) for tail in _tails(own) if times[tail] == 1), base_name(path))
        for path, own in parts.items()
    }


def _tails(parts: Sequence[str]) -> list[tuple[str, ...]]:
    """Its endings, the shortest first."""
    return [tuple(parts[-n:]) for n in range(1, len(parts) + 1)]


def _parts(path: str) -> list[str]:
    windows = PureWindowsPath(path)
    return [p for p in windows.parts if p not in (windows.anchor, "..", ".")] or [path]


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


def gathered(names: Collection[str], courses: Iterable[SampleCourse]) -> str:
    """The names in a row, those that are all the vials of a storage as one: ``MgCl2-25C (3 vials)``."""
    out: list[str] = []
    for storage, vials in by_storage(courses).items():
        meant = [vial.name for vial in vials if vial.name in names]
        out += [f"{storage} ({len(vials)} vials)"] if len(meant) == len(vials) > 1 else meant
    return ", ".join(out)
