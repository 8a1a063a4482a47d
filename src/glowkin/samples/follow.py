"""Which sample is which from photograph to photograph, although the camera moved by some per cent.

Samples keep their arrangement; the camera shifts, turns and zooms a little. So the similarity transform
that lays most samples on the places of the first photograph is sought, and each sample takes the name of
the place it falls on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from glowkin.base.uncertainty import Array

_NEAR = 0.4
"""A sample belongs to a place within this share of the distance between neighbouring places."""
_MOVED = 0.01


@dataclass(frozen=True)
class Step:
    """How one photograph lies on the reference: ``place`` of each sample (n, -1 for none), whether the
    camera ``moved`` by more than a hundredth of the arrangement, and where in the reference each sample is
    ``laid`` (n, pixels).
    """

    place: tuple[int, ...]
    moved: bool
    laid: tuple[tuple[float, float], ...]


def follow(reference: Array, seen: Array) -> Step:
    """Match sample centres ``seen`` (n x 2) to places ``reference`` (m x 2), pixels."""
    reference, seen = (np.asarray(a, dtype=float).reshape(-1, 2) for a in (reference, seen))
    if not len(reference) or not len(seen):
        return Step((-1,) * len(seen), moved=False, laid=pairs(seen))
    reach = reach_of(reference)
    moved_back = _best_shift(reference, seen, reach)
    for _ in range(3):
        place = _assign(reference, moved_back, reach)
        known = place >= 0
        if np.count_nonzero(known) < 2:
            break
        moved_back = similarity(seen[known], reference[place[known]])(seen)
    place = _assign(reference, moved_back, reach)
    extent = float(np.ptp(reference, axis=0).max()) or 1.0
    shift = float(np.linalg.norm(moved_back - seen, axis=1).max())
    return Step(tuple(int(p) for p in place), shift > _MOVED * extent, pairs(moved_back))


def reach_of(reference: Array) -> float:
    """How far from a place of the reference (m x 2) a sample still belongs to it; anywhere if it is one."""
    return _NEAR * _spacing(reference)


def pairs(points: Array) -> tuple[tuple[float, float], ...]:
    """Points (n x 2) as records keep them."""
    return tuple((float(x), float(y)) for x, y in points)


def _spacing(points: Array) -> float:
    """The smallest distance between two places; for a single one, anywhere."""
    if len(points) < 2:
        return np.inf
    distance = np.linalg.norm(points[:, None] - points, axis=2)
    return float(distance[~np.eye(len(points), dtype=bool)].min())


def _best_shift(reference: Array, seen: Array, reach: float) -> Array:
    """The seen centres after the shift that lays the most of them within reach of a place.

    Of shifts that lay as many, the shorter: rows that lost their last column fit one column further as well.
    """
    shifts = (reference[:, None] - seen[None]).reshape(-1, 2)
    laid = seen[None] + shifts[:, None]
    nearest = np.linalg.norm(laid[:, :, None] - reference[None, None], axis=3).min(axis=2)
    hits = (nearest < reach).sum(axis=1)
    rest = np.minimum(nearest, min(reach, 1e9)).sum(axis=1)
    size = np.linalg.norm(shifts, axis=1)
    return np.asarray(laid[np.lexsort((size, np.round(rest, 6), size // reach, -hits))[0]])


def _assign(reference: Array, laid: Array, reach: float) -> Array:
    """One place for each sample and the reverse, least total distance, none beyond reach."""
    from scipy.optimize import linear_sum_assignment

    distance = np.linalg.norm(laid[:, None] - reference, axis=2)
    rows, columns = linear_sum_assignment(np.minimum(distance, 1e12))
    place = np.full(len(laid), -1)
    near = distance[rows, columns] < reach
    place[rows[near]] = columns[near]
    return place


def similarity(source: Array, target: Array):  # type: ignore[no-untyped-def]
    """Least-squares rotation, scale and shift (Umeyama, IEEE Trans. PAMI 13, 376, 1991)."""
    from skimage.transform import SimilarityTransform

    return SimilarityTransform.from_estimate(source, target)
