"""Which photographs of a study are one series: those of one arrangement."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotMeasureError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from glowkin.base.records import MeasuredPhoto

FEWEST = 3
"""Photographs of one arrangement that make a course."""
_NUMBERED = re.compile(r"S\d+")


def arrangement(photos: Sequence[MeasuredPhoto]) -> list[MeasuredPhoto]:
    """The dated photographs of one kind and camera that show the same samples, most of all such: a series.

    Empty where there are fewer than three, or all were taken at one time.
    """
    groups = _groups(photos)
    most = max(groups, key=len, default=[])
    return [photos[i] for i in most] if _make_a_course(photos, most) else []


def series_in(photos: Sequence[MeasuredPhoto]) -> list[int]:
    """The numbers of the photographs of ``arrangement``; of all, where all that are dated show the same.

    ``CannotMeasureError`` where they show several arrangements and none makes a course.
    """
    groups = _groups(photos)
    most = max(groups, key=len, default=[])
    if _make_a_course(photos, most):
        return most
    if len(groups) > 1:
        raise CannotMeasureError(
            f"the photographs show {len(groups)} arrangements of samples, none of them {FEWEST} times; name "
            "the photographs of the series"
        )
    return list(range(len(photos)))


def unlike(photos: Iterable[MeasuredPhoto]) -> bool:
    """Whether photographs that were named show samples of different names.

    ``CannotMeasureError`` where two of them have names given to their samples and none in common.
    """
    shown: dict[frozenset[str], str] = {}
    for p in photos:
        if p.samples:
            shown.setdefault(frozenset(s.name for s in p.samples), p.path)
    given = [(names, path) for all_, path in shown.items() if (names := _given(all_))]
    for i, (names, path) in enumerate(given):
        for others, other in given[i + 1 :]:
            if not names & others:
                raise CannotMeasureError(
                    f"{path} shows {_listed(names)}, {other} shows {_listed(others)}: no one series; name "
                    "the photographs of one arrangement"
                )
    return len(shown) > 1


def own_names(photos: Iterable[MeasuredPhoto]) -> bool:
    """Whether all photographs show samples of the same names, and some of these were given."""
    shown = {frozenset(s.name for s in p.samples) for p in photos if p.samples}
    return len(shown) == 1 and bool(_given(*shown))


def _given(names: frozenset[str]) -> frozenset[str]:
    """Names that are no numbers as S1, S2, ..."""
    return frozenset(n for n in names if not _NUMBERED.fullmatch(n))


def _listed(names: frozenset[str]) -> str:
    first = sorted(names)[:3]
    return ", ".join(first) + (f" and {len(names) - 3} more" if len(names) > 3 else "")


def _groups(photos: Iterable[MeasuredPhoto]) -> list[list[int]]:
    """The numbers of dated photographs with samples, together those that show the same by one camera."""
    groups: dict[tuple[str, ...], list[int]] = {}
    for i, p in enumerate(photos):
        if p.taken_at and p.samples:
            groups.setdefault(shown_by(p), []).append(i)
    return list(groups.values())


def shown_by(p: MeasuredPhoto) -> tuple[str, ...]:
    """What photographs of one arrangement have in common."""
    return p.kind, p.camera.name, *sorted(s.name for s in p.samples)


def _make_a_course(photos: Sequence[MeasuredPhoto], numbers: Sequence[int]) -> bool:
    return len(numbers) >= FEWEST and len({photos[i].taken_at for i in numbers}) > 1
