"""Which words go with which spots: vials gathered, photographs gathered, crowds found."""

from __future__ import annotations

from dataclasses import dataclass, replace
from textwrap import wrap
from typing import TYPE_CHECKING

import numpy as np

from glowkin.telling.naming import by_condition
from glowkin.telling.spots import FORM, GATHERED, ellipse_uv

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.telling.spots import Spot

CROWDED = 0.035
"""u'v' distance below which two spots cannot both be labelled at the scale of the whole diagram."""

SAME = 0.012
"""u'v' distance below which a sample in two photographs is labelled once."""

WIDEST = 0.14
"""Extent in u'v' from which a crowd gains too little from being enlarged."""

LINE, LINES = 30, 4


@dataclass(frozen=True, eq=False)
class Named:
    """A name for spots in one place, u'v' (2,), and the photographs they are from."""

    name: str
    photographs: tuple[str, ...]
    uv: Array
    spots: tuple[Spot, ...]

    @property
    def number(self) -> int:
        """That of its first spot, for the colour."""
        return self.spots[0].number

    @property
    def text(self) -> str:
        """The name, how many vials it stands for, and which photographs where there are several."""
        where = ", ".join(p for p in self.photographs if p)
        vials = len({s.name for s in self.spots})
        words = f"{self.name}, {vials} vials" if vials > 1 else self.name
        lines = wrap(f"{words} ({where})" if where else words, LINE) or [""]
        return "\n".join(lines if len(lines) <= LINES else [*lines[: LINES - 1], "…"])


def named(spots: Sequence[Spot]) -> list[Named]:
    """Words for the spots: three or more vials of a condition that lie together share one label, and so
    does a sample that stays in its place from photograph to photograph.
    """
    out: list[Named] = []
    for photograph in dict.fromkeys(s.photograph for s in spots):
        here = [s for s in spots if s.photograph == photograph]
        for condition, names in by_condition(s.name for s in here).items():
            for label in _labels_of(condition, [s for s in here if s.name in names]):
                _add(out, label)
    return out


def _labels_of(condition: str, spots: Sequence[Spot]) -> list[Named]:
    centre = np.mean([s.uv for s in spots], axis=0)
    together = all(np.hypot(*(s.uv - centre)) < CROWDED for s in spots)
    if len(spots) >= GATHERED and together:
        return [Named(condition, (spots[0].photograph,), centre, tuple(spots))]
    return [Named(s.name, (s.photograph,), s.uv, (s,)) for s in spots]


def _add(labels: list[Named], new: Named) -> None:
    """Add a label, or join it to the one of equal words in the same place."""
    for i, old in enumerate(labels):
        if old.name == new.name and np.hypot(*(old.uv - new.uv)) < SAME:
            photographs = (*old.photographs, *new.photographs)
            labels[i] = replace(old, photographs=photographs, spots=(*old.spots, *new.spots))
            return
    labels.append(new)


def crowds(labels: Sequence[Named], most: int = 2) -> list[list[Named]]:
    """The largest groups of labels too close to be read apart on the whole diagram, at most so many.

    Groups with ellipses so wide that enlarging would show little more are left out.
    """
    groups = [g for g in clusters(labels, CROWDED) if len(g) > 1 and _extent(g) < WIDEST]
    return sorted(groups, key=len, reverse=True)[:most]


def clusters(labels: Sequence[Named], distance: float) -> list[list[Named]]:
    """Labels in groups, each member nearer than the distance to another one (single linkage)."""
    groups: list[list[Named]] = []
    for label in labels:
        near = [g for g in groups if any(np.hypot(*(label.uv - o.uv)) < distance for o in g)]
        apart = [g for g in groups if not any(g is n for n in near)]
        groups = [*apart, [*(o for g in near for o in g), label]]
    return groups


def _extent(group: Sequence[Named]) -> float:
    edge = np.concatenate([ellipse_uv(s) for label in group for s in label.spots])
    return float(np.max(edge.max(axis=0) - edge.min(axis=0)))


def joined(labels: Sequence[Named]) -> list[Named]:
    """The labels, three or more samples in one place made one; a known form keeps its own."""
    out = [label for label in labels if label.number == FORM]
    for group in clusters([label for label in labels if label.number != FORM], SAME):
        out += [_join(group)] if len(group) >= GATHERED else group
    return out


def _join(group: Sequence[Named]) -> Named:
    photographs = tuple(dict.fromkeys(p for label in group for p in label.photographs))
    spots = tuple(s for label in group for s in label.spots)
    name = ", ".join(dict.fromkeys(label.name for label in group))
    return Named(name, photographs, np.mean([label.uv for label in group], axis=0), spots)
