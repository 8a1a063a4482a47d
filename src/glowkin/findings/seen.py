"""What is seen of a series before any fit: which frames are good, which spoiled, and whether it changes.

Two explanations of one odd photograph among constant ones: it is spoiled, or the sample changed. A change
only goes one way, so what comes back was none; but what differs at the first or at the last photograph alone
may be either, and is not called a change.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.findings.change import CANNOT_TELL, CHANGING, NO_CHANGE, see_change
from glowkin.findings.spoiled import most_spoiled, spoiled_frames
from glowkin.findings.unmix import believable, told_frames

if TYPE_CHECKING:
    from glowkin.findings.unmix import Index, Series

_CONSTANT = 0.1
"""Probability of so large a change under none from which on frames show one light: none is only not seen at
a tenth of that."""


@dataclass(frozen=True)
class Seen:
    """Whether a series changes, and the indices of its good frames, in order of time, and spoiled ones."""

    verdict: str
    good: Index
    spoiled: Index
    flags: tuple[str, ...] = ()


def seen_of(series: Series) -> Seen:
    """A change that single frames make is none, or cannot be told where they are the first or the last."""
    index = series.usable()
    usable = series.take(index)
    bad = spoiled_frames(usable)
    good = np.delete(index, bad)
    seen = Seen(see_change(series.take(good)).verdict, good, index[bad])
    odd = unlike_the_rest(usable) if seen.verdict == CHANGING else bad[:0]
    if len(odd) == 0:
        return seen
    at_an_end = _at_an_end(odd, len(index))
    if len(at_an_end) > 1:
        return seen
    bad = np.setdiff1d(odd, at_an_end)
    verdict, flags = (CANNOT_TELL, ("rests-on-one-photo",)) if len(at_an_end) else (NO_CHANGE, ())
    return Seen(verdict, np.delete(index, bad), index[bad], flags)


def unlike_the_rest(series: Series) -> Index:
    """Indices of the few frames without which all show one light, in order; none where many differ."""
    series = believable(series)
    frames = told_frames(series)
    away = frames.signals - np.median(frames.signals, axis=0)
    off = np.sum(np.einsum("nij,nj->ni", frames.whiteners, away) ** 2, axis=1)
    oddest = np.argsort(-off, kind="stable")
    for number in range(1, most_spoiled(len(off)) + 1):
        rest = series.take(np.sort(oddest[number:]))
        if see_change(rest).probability > _CONSTANT:
            return np.sort(oddest[:number])
    return oddest[:0]


def _at_an_end(odd: Index, n: int) -> Index:
    """Those of the odd ones of n frames that a one-way change could explain: the first or last in a row."""
    inside = np.setdiff1d(np.arange(n), odd)
    return np.asarray(odd[(odd < inside[0]) | (odd > inside[-1])])
