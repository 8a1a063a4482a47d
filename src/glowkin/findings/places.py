"""Which sample is which through a series: those of the first photograph, late ones, and vials put elsewhere.

Samples are followed by their places. A place that was not there at first and is then taken again and again is
that of a late sample; where one sample left its place as another of its looks came to a new one, they are
taken for one vial that was lifted and put back elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import count
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotMeasureError
from glowkin.samples.follow import follow, reach_of
from glowkin.samples.names import SEE_WHICH, given_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from glowkin.base.records import MeasuredPhoto, Sample

PUT_ELSEWHERE = "put-elsewhere"
_YOUNG = 4
"""Photographs for which a new place is kept in mind, however seldom it is taken."""
_OFTEN = 0.6
"""A late sample is seen in this share of the photographs since it first was; less is a reflection or dust."""
_GAP = 2
"""A vial in the hand may be missing from one photograph before it stands elsewhere."""
_ALIKE_UV, _ALIKE_AREA = 0.05, 2.0
"""How far a vial put elsewhere may differ in u'v', and by what factor in area; common practice, no source."""


@dataclass
class _Place:
    """A place on the first photograph: where, in which photographs it was taken, and the looks it had first
    and last; ``before`` are the looks that the other places had had when it was first taken.
    """

    centre: tuple[float, float]
    before: dict[int, Sample]
    seen: list[int] = field(default_factory=list)
    first: Sample | None = None
    last: Sample | None = None

    def take(self, number: int, sample: Sample) -> None:
        self.seen.append(number)
        self.first, self.last = self.first or sample, sample

    def often(self, photographs: int) -> bool:
        """Whether it was taken often enough, of so many photographs, to be that of a sample."""
        return len(self.seen) >= _OFTEN * (photographs - self.seen[0])


@dataclass(frozen=True)
class Followed:
    """For each photograph the place of each of its samples, and whether the camera moved; names by place."""

    taken: tuple[tuple[int, ...], ...]
    moved: tuple[bool, ...]
    names: dict[int, str]
    elsewhere: dict[int, int]
    """For each place that a vial was put on, the photograph from which on."""

    def name(self, photo: MeasuredPhoto, number: int) -> MeasuredPhoto:
        """That photograph of the series, its samples named, those on no place of a sample left out."""
        known = sorted((p, i) for i, p in enumerate(self.taken[number]) if p in self.names)
        samples = tuple(self._named(photo.samples[i], p, number) for p, i in known)
        flags = (*photo.flags, "moved") if self.moved[number] else photo.flags
        return replace(photo, samples=samples, flags=flags)

    def _named(self, sample: Sample, place: int, number: int) -> Sample:
        flags = (*sample.flags, PUT_ELSEWHERE) if self.elsewhere.get(place) == number else sample.flags
        return replace(sample, name=self.names[place], flags=flags)


def follow_all(photos: Iterable[MeasuredPhoto], names: Sequence[str]) -> Followed:
    """The samples of photographs in order of capture; ``names`` are those of the first one's samples, or of
    the late ones as well.
    """
    shots = iter(photos)
    first = next(shots)
    places = [_Place(sample.centre_px, {}) for sample in first.samples]
    for here, sample in zip(places, first.samples, strict=True):
        here.take(0, sample)
    early, taken, moved = len(places), [tuple(range(len(places)))], [False]
    for number, photo in enumerate(shots, 1):
        # places taken since count as well: without them what is left may fit one column further
        known = [i for i, p in enumerate(places) if i < early or (len(p.seen) > 1 and p.often(number))]
        reference = np.array([places[i].centre for i in known])
        step = follow(reference, np.array([s.centre_px for s in photo.samples]))
        found = [known[p] if p >= 0 else -1 for p in step.place]
        taken.append(_taken(photo, number, found, step.laid, places, reach_of(reference)))
        moved.append(step.moved)
    late = [i for i, p in enumerate(places) if i >= early and len(p.seen) > 1 and p.often(len(taken))]
    joined = _joined(places, early, late)
    called = _called(first, names, [p for p in late if p not in joined])
    for place, origin in joined.items():
        called[place] = called[origin]
    return Followed(tuple(taken), tuple(moved), called, {p: places[p].seen[0] for p in joined})


def _taken(
    photo: MeasuredPhoto,
    number: int,
    out: list[int],
    laid: Sequence[tuple[float, float]],
    places: list[_Place],
    reach: float,
) -> tuple[int, ...]:
    """The place of each sample; one that was ``laid`` on none that is known takes a new one."""
    free = {
        i for i, p in enumerate(places) if i not in out and (number - p.seen[0] < _YOUNG or p.often(number))
    }
    for i, sample in enumerate(photo.samples):
        if out[i] < 0:
            near = min(reach, float(np.sqrt(sample.area_px)))
            apart = {p: float(np.hypot(*np.subtract(places[p].centre, laid[i]))) for p in free}
            nearest = min(apart, key=lambda p: apart[p], default=-1)
            if nearest < 0 or apart[nearest] > near:
                before = {k: p.last for k, p in enumerate(places) if p.last is not None and k not in out}
                places.append(_Place(laid[i], before))
                nearest = len(places) - 1
            free.discard(nearest)
            out[i] = nearest
    for place, sample in zip(out, photo.samples, strict=True):
        places[place].take(number, sample)
    return tuple(out)


def _joined(places: Sequence[_Place], early: int, late: Sequence[int]) -> dict[int, int]:
    """For each place that a lifted vial was put on the one it stood on at first; only where that is plain."""
    out: dict[int, int] = {}
    for new in late:
        came = [p for p in late if places[p].seen[0] == places[new].seen[0]]
        left = [p for p in (*range(early), *late) if p != new and _left(places[p], places[new])]
        if len(came) == len(left) == 1 and _alike(places[new].before.get(left[0]), places[new].first):
            out[new] = out.get(left[0], left[0])
    return out


def _left(old: _Place, new: _Place) -> bool:
    """Whether one place was left when the other was taken, and never held a sample beside it."""
    earlier = [number for number in old.seen if number < new.seen[0]]
    just = bool(earlier) and earlier[-1] >= new.seen[0] - _GAP
    return just and not set(old.seen) & set(new.seen)


def _alike(one: Sample | None, other: Sample | None) -> bool:
    if one is None or other is None:
        return False
    colours = [(s.u_prime, s.v_prime) for s in (one, other)]
    if None in colours[0] or None in colours[1]:
        return False
    apart = float(np.hypot(*np.subtract(*np.array(colours, dtype=float))))
    ratio = one.area_px / max(other.area_px, 1e-9)
    return apart <= _ALIKE_UV and 1.0 / _ALIKE_AREA <= ratio <= _ALIKE_AREA


def _called(first: MeasuredPhoto, names: Sequence[str], late: Sequence[int]) -> dict[int, str]:
    """Names of the places: as given, else those of the first photograph, late ones counted on."""
    early = [s.name for s in first.samples]
    given, places = list(names) or early, [*range(len(early)), *late]
    if len(set(given)) != len(given) or len(given) not in (len(early), len(places)):
        and_late = f", and {len(late)} that came later" if late else ""
        raise CannotMeasureError(
            f"{first.path}: {given_words(len(set(given)), 'different ')}, {len(early)} samples were found in "
            f"this first photograph{and_late}; {SEE_WHICH}"
        )
    fresh = (name for name in (f"S{i}" for i in count(len(early) + 1)) if name not in given)
    while len(given) < len(places):
        given.append(next(fresh))
    return dict(zip(places, given, strict=True))
