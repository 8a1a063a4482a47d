"""The fraction of each sample at each photograph, as rows of words: a few samples side by side."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from glowkin.telling.naming import by_storage
from glowkin.telling.numbers import NOTHING, duration, duration_unit, significant, with_interval
from glowkin.telling.tables import Table

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from glowkin.base.records import SampleCourse, TimeCourse, TrackPoint

MOST_TIMES = 16
"""Rows of a table; of more photographs some, spread over the series."""
MOST_BESIDE = 5
"""Samples side by side on a sheet of paper."""
MOST_TABLES = 6
_NOTE = (
    "Amount left in the starting form with its 95 % interval, from each photograph alone, so it may lie a "
    "little below 0 or above 1"
)


def fractions_tables(course: TimeCourse, all_in: str) -> list[Table]:
    """Time against the fraction of each sample; ``all_in`` says where all of them are."""
    groups = _beside(course)
    tables = [_table(group) for group in groups[:MOST_TABLES]]
    if not tables:
        return []
    left = sum(map(len, groups[MOST_TABLES:]))
    few = [f"{left} more samples are in {all_in}"] if left else []
    few += (
        [f"{MOST_TIMES} photographs of each series are shown, spread over it; {all_in} has all"]
        if any(len(s.points) > MOST_TIMES for s in course.samples)
        else []
    )
    few += ["In square brackets: a spoiled photograph, which does not count"] if _spoiled(course) else []
    note = ". ".join([_NOTE, *few]) + "."
    return [*tables[:-1], Table(tables[-1].caption, tables[-1].heads, tables[-1].rows, note)]


def _beside(course: TimeCourse) -> list[list[SampleCourse]]:
    """Samples that were followed at the same times, whole storages, as many as fit a sheet."""
    out: list[list[SampleCourse]] = []
    for storage in by_storage(s for s in course.samples if _told(s)).values():
        for alike in _parts(storage):
            if out and _times(out[-1][0]) == _times(alike[0]) and len(out[-1]) + len(alike) <= MOST_BESIDE:
                out[-1] += alike
            else:
                out.append(alike)
    return out


def _parts(storage: Sequence[SampleCourse]) -> Iterator[list[SampleCourse]]:
    """The vials of a storage by the times they were followed at; of too many, in equal parts."""
    for _, same in groupby(storage, key=_times):
        vials = list(same)
        size = -(-len(vials) // -(-len(vials) // MOST_BESIDE))
        yield from (vials[i : i + size] for i in range(0, len(vials), size))


def _times(s: SampleCourse) -> list[tuple[float, str]]:
    return [(p.time_s, p.path) for p in s.points]


def _table(samples: Sequence[SampleCourse]) -> Table:
    times = [p.time_s for p in samples[0].points]
    length, sign = duration_unit(max(map(abs, times)))
    heads = (f"Time, {sign}", *(s.name if _known(s) else f"{s.name}, share of its light" for s in samples))
    rows = tuple(
        (_time(times[i], length), *(_cell(s.points[i], amount=_known(s)) for s in samples))
        for i in _spread(len(times))
    )
    return Table(f"Fraction left against time in {sign}: {', '.join(s.name for s in samples)}", heads, rows)


def _told(s: SampleCourse) -> bool:
    """Whether any photograph tells a fraction of it; those of a control do not."""
    return any(p.fraction_start is not None or p.light_fraction_start is not None for p in s.points)


def _known(s: SampleCourse) -> bool:
    """Whether its amount is known at any time; else its light stands in."""
    return any(p.fraction_start is not None for p in s.points)


def _spread(count: int) -> list[int]:
    """The numbers of as many as are shown, the first and the last among them."""
    if count <= MOST_TIMES:
        return list(range(count))
    return [round(i * (count - 1) / (MOST_TIMES - 1)) for i in range(MOST_TIMES)]


def _time(seconds: float, length: float) -> str:
    """In the table's unit; one that hardly shows in it in its own."""
    if 0 < abs(seconds) < length / 1000:
        return duration(seconds)
    return f"{seconds / length:.4g}"


def _cell(p: TrackPoint, *, amount: bool) -> str:
    if amount:
        words = with_interval(p.fraction_start, (p.low, p.high))
    else:
        words = NOTHING if p.light_fraction_start is None else significant(p.light_fraction_start, 2)
    return f"[{words}]" if "spoiled-frame" in p.flags and words != NOTHING else words


def _spoiled(course: TimeCourse) -> bool:
    return any("spoiled-frame" in p.flags for s in course.samples for p in s.points)
