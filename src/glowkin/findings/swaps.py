"""Vials that were put back in each other's place, told by their colours; and the user's word on it.

Between two photographs a pair changed places where each of the two looks as the other did before, and neither
as itself. One vial turning into what another is already does not do that.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import WrongUseError
from glowkin.base.shelf import kept_as

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from glowkin.base.records import MeasuredPhoto, Sample
    from glowkin.findings.frames import Photos

_LEAST = 0.02
"""Change of both colours in u'v' below which nothing is said (common practice, no source)."""
_NEARER = 0.3
"""How near each must come to the other's former colour, as a share of its own change."""
_DIM = "underexposed"


def swapped_back(photos: Photos, told: Sequence[tuple[str, str, str]]) -> Photos:
    """The photographs with names exchanged from the photograph on where the user says they were.

    ``told``: file name, and the two samples that changed places before it.
    """
    names = {s.name for photo in photos for s in photo.samples} if told else set()
    turns = []
    for file, a, b in told:
        first = next((i for i, p in enumerate(photos) if p.path == file or p.path.endswith(f"/{file}")), None)
        if first is None:
            raise WrongUseError(f"--swapped {file}:{a},{b}: no photograph of the series is named {file}")
        for name in (a, b):
            if name not in names:
                raise WrongUseError(f"--swapped {file}:{a},{b}: no sample is named {name}")
        turns.append((first, {a: b, b: a}))
    return kept_as(photos, (_turned(photo, i, turns) for i, photo in enumerate(photos))) if turns else photos


def _turned(photo: MeasuredPhoto, i: int, turns: Sequence[tuple[int, dict[str, str]]]) -> MeasuredPhoto:
    for first, names in turns:
        photo = _renamed(photo, names) if i >= first else photo
    return photo


def flag_swaps(photos: Iterable[MeasuredPhoto]) -> Iterator[MeasuredPhoto]:
    """The photographs (in order) with samples flagged where two may have changed places."""
    last = dict[str, "Sample"]()
    for photo in photos:
        now = {s.name: s for s in photo.samples}
        hit = {name for pair in _pairs(last, now) for name in pair}
        samples = tuple(
            replace(s, flags=(*s.flags, "maybe-swapped")) if s.name in hit else s for s in photo.samples
        )
        yield replace(photo, samples=samples)
        last |= now


def _pairs(last: dict[str, Sample], now: dict[str, Sample]) -> Iterator[tuple[str, str]]:
    known = [name for name in now if name in last and _told(now[name]) and _told(last[name])]
    for a, b in combinations(known, 2):
        kept = min(_apart(now[a], last[a]), _apart(now[b], last[b]))
        crossed = max(_apart(now[a], last[b]), _apart(now[b], last[a]))
        if kept > _LEAST and crossed < _NEARER * kept:
            yield a, b


def _told(sample: Sample) -> bool:
    return sample.u_prime is not None and sample.v_prime is not None and _DIM not in sample.flags


def _apart(a: Sample, b: Sample) -> float:
    """Distance in u'v'."""
    one, other = (np.array([s.u_prime, s.v_prime], dtype=float) for s in (a, b))
    return float(np.hypot(*(one - other)))


def _renamed(photo: MeasuredPhoto, names: dict[str, str]) -> MeasuredPhoto:
    return replace(photo, samples=tuple(replace(s, name=names.get(s.name, s.name)) for s in photo.samples))
