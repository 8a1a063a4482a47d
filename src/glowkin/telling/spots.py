"""What a chromaticity diagram shows: samples as spots, and paths through time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from glowkin.base.uncertainty import CHI2_95_2D, square_root
from glowkin.telling.naming import base_name, by_condition, by_storage

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.records import MeasuredPhoto, Sample, SampleCourse, TimeCourse
    from glowkin.base.uncertainty import Array

T = TypeVar("T")
MOST_SPOTS = 30
"""More than that and only the first and the last photograph are drawn."""

FORM = -1
"""The number of a known form, which is drawn in ink."""

MOST_DRAWN = 400
"""Photographs of a series that figures draw; of more, evenly many."""

GATHERED = 3
"""So many vials of one condition in one place are labelled once."""


@dataclass(frozen=True, eq=False)
class Spot:
    """One sample: u'v' (2,), covariance (2, 2) or none, and the number that gives colour and marker.

    ``photograph`` is its short name where several are shown, else ''.
    """

    name: str
    photograph: str
    uv: Array
    covariance: Array | None
    number: int


@dataclass(frozen=True, eq=False)
class Path:
    """One storage condition: the u'v' (n, 2) of each of its vials in order of time, and its words."""

    names: tuple[str, ...]
    words: str
    vials: tuple[Array, ...]
    number: int

    @property
    def end(self) -> Array:
        """Where the vials have got to on average, u'v' (2,)."""
        return np.asarray(np.mean([v[-1] for v in self.vials], axis=0))


def outside_series(photos: Sequence[MeasuredPhoto], course: TimeCourse | None) -> Sequence[MeasuredPhoto]:
    """The photographs that are not part of a series, whose path has a diagram of its own; all if none is."""
    series = {p.path for s in course.samples for p in s.points} if course else set()
    return [p for p in photos if p.path not in series] or photos


def spots_of(photos: Sequence[MeasuredPhoto]) -> list[Spot]:
    """Every sample with a colour; vials of one condition keep one number through all photographs."""
    shown = _first_and_last(photos)
    conditions = by_condition(dict.fromkeys(s.name for p in shown for s in p.samples))
    many = max((len(names) for names in conditions.values()), default=0) >= GATHERED
    titles = _titles(shown, len(photos))
    numbers = {n: i for i, names in enumerate(conditions.values()) for n in names}
    if not many:
        numbers = {n: i for i, n in enumerate(numbers)}
    return [
        _spot(sample, title, numbers[sample.name])
        for photo, title in zip(shown, titles, strict=True)
        for sample in photo.samples
        if sample.u_prime is not None
    ]


def _titles(shown: Sequence[MeasuredPhoto], of: int) -> list[str]:
    """File names without their endings where that tells them apart; nothing for a single photograph."""
    if len(shown) == 1:
        return [""]
    if len(shown) < of:
        return ["first", "last"]
    names = [base_name(p.path) for p in shown]
    stems = [name.rpartition(".")[0] or name for name in names]
    return stems if len(set(stems)) == len(stems) else names


def _spot(sample: Sample, photograph: str, number: int) -> Spot:
    C = sample.u_prime_v_prime_covariance
    uv = np.array([sample.u_prime, sample.v_prime], dtype=float)
    return Spot(sample.name, photograph, uv, None if C is None else np.array(C, dtype=float), number)


def _first_and_last(photos: Sequence[MeasuredPhoto]) -> Sequence[MeasuredPhoto]:
    many = sum(len(p.samples) for p in photos) > MOST_SPOTS and len(photos) > 2
    return [photos[0], photos[-1]] if many else photos


def thinned(items: Sequence[T]) -> Sequence[T]:
    """Evenly many of a long row, the first and the last among them.

    >>> len(thinned(range(1000))), thinned("abc")
    (400, 'abc')
    """
    if len(items) <= MOST_DRAWN:
        return items
    return [items[round(i)] for i in np.linspace(0, len(items) - 1, MOST_DRAWN)]


def paths_of(course: TimeCourse) -> list[Path]:
    """The samples of a time course under their conditions; those without any colour are left out."""
    groups = by_storage(s for s in course.samples if _track(s).size)
    return [
        Path(tuple(s.name for s in vials), _words(condition, vials), tuple(_track(s) for s in vials), i)
        for i, (condition, vials) in enumerate(groups.items())
    ]


def _track(sample: SampleCourse) -> Array:
    points = thinned(sorted(sample.points, key=lambda p: p.time_s))
    uv = [(p.u_prime, p.v_prime) for p in points if p.u_prime is not None and p.v_prime is not None]
    return np.array(uv, dtype=float).reshape(-1, 2)


def _words(condition: str, vials: Sequence[SampleCourse]) -> str:
    return condition if len(vials) == 1 else f"{condition} ({len(vials)})"


def ellipse_uv(spot: Spot, n: int = 91) -> Array:
    """The boundary (n, 2) of the 95 % ellipse of a spot in u'v'; the spot itself where it has no error.

    Carried to xy point by point it encloses the same 95 %, which a first-order ellipse there would not.
    """
    if spot.covariance is None:
        return spot.uv[np.newaxis]
    t = np.linspace(0.0, 2 * np.pi, n)
    circle = np.stack([np.cos(t), np.sin(t)], axis=-1)
    return np.asarray(spot.uv + np.sqrt(CHI2_95_2D) * circle @ square_root(spot.covariance).T)
