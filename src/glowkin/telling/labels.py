"""Labels beside their points: they keep clear of each other, and a thin line leads back where they must."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from glowkin.telling import drawing
from glowkin.telling.drawing import INK, SMALL_PT

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from matplotlib.axes import Axes

    from glowkin.base.uncertainty import Array

Box: TypeAlias = "tuple[float, float, float, float]"
"""x low, y low, x high, y high, in points of the figure."""

RINGS_PT = (9, 15, 24, 36, 52, 72, 96)
DIRECTIONS = 16
_CHARACTER_WIDTH = 0.68
"""Of the font's size; DejaVu Sans averages 0.6, and browsers' stand-ins are narrower."""


@dataclass(frozen=True)
class Label:
    """Words for a point in data coordinates."""

    x: float
    y: float
    words: str
    colour: str = INK


def place(ax: Axes, labels: Sequence[Label], obstacles: Iterable[tuple[float, float]] = ()) -> None:
    """Write the labels, each at the first free place round its point (the axes' limits must be set).

    Points of labels and obstacles (data coordinates) are kept clear too.
    """
    fig = drawing.root(ax)
    fig.draw_without_rendering()  # settles the layout, so that points can be told
    scale = 72.0 / fig.dpi
    frame = ax.get_window_extent()
    inside = (frame.x0 * scale, frame.y0 * scale, frame.x1 * scale, frame.y1 * scale)
    taken = [_dot(*(ax.transData.transform(p) * scale)) for p in (*obstacles, *((k.x, k.y) for k in labels))]
    for label in labels:
        x, y = (float(v) for v in ax.transData.transform((label.x, label.y)) * scale)
        box = best_box(x, y, label.words, taken, inside)
        taken.append(box)
        _write(ax, label, (x, y), box)


def best_box(
    x: float, y: float, words: str, taken: Sequence[Box], inside: Box, first: float = 0.0, pad: float = 0.0
) -> Box:
    """The nearest box for the words that overlaps nothing; the one that overlaps least if none is free.

    ``first`` is the direction tried first, in radians from the right; ``pad`` widens the words on all sides.
    """
    lines = words.split("\n")
    width = max(map(len, lines)) * SMALL_PT * _CHARACTER_WIDTH + 2 * pad
    height = 1.25 * SMALL_PT * len(lines) + 2 * pad
    boxes = np.array(
        [_box(x, y, width, height, r, first + _turn(k)) for r in RINGS_PT for k in range(DIRECTIONS)]
    )
    # Boxes come nearest first, and the first of equal cost is kept.
    covered = overlap(boxes[:, np.newaxis], np.array(taken).reshape(1, -1, 4)).sum(axis=1)
    outside = width * height - overlap(boxes, np.array(inside))
    x0, y0, x1, y1 = (float(v) for v in boxes[np.argmin(np.round(covered + 3 * outside, 6))])
    return (x0, y0, x1, y1)


def _turn(k: int) -> float:
    """The k-th direction, alternating outwards from the first."""
    return 2 * math.pi * ((k + 1) // 2) * (1 if k % 2 else -1) / DIRECTIONS


def _box(x: float, y: float, width: float, height: float, r: float, angle: float) -> Box:
    """A box whose nearest edge is about r points away."""
    centre_x = x + math.cos(angle) * (r + width / 2)
    centre_y = y + math.sin(angle) * (r + height / 2)
    return (centre_x - width / 2, centre_y - height / 2, centre_x + width / 2, centre_y + height / 2)


def overlap(a: Array, b: Array) -> Array:
    """Area common to boxes (..., 4) and (..., 4), which broadcast."""
    width = np.minimum(a[..., 2], b[..., 2]) - np.maximum(a[..., 0], b[..., 0])
    height = np.minimum(a[..., 3], b[..., 3]) - np.maximum(a[..., 1], b[..., 1])
    return np.asarray(np.maximum(width, 0.0) * np.maximum(height, 0.0))


def _dot(x: float, y: float) -> Box:
    return (x - 5, y - 5, x + 5, y + 5)


def _write(ax: Axes, label: Label, point: tuple[float, float], box: Box) -> None:
    from matplotlib.patheffects import withStroke

    centre = ((box[0] + box[2]) / 2 - point[0], (box[1] + box[3]) / 2 - point[1])
    near = math.hypot(*_gap(point, box)) < RINGS_PT[1] - 1
    line = None if near else {"arrowstyle": "-", "color": label.colour, "linewidth": 0.7, "shrinkB": 5}
    note = ax.annotate(
        label.words, (label.x, label.y), xytext=centre, textcoords="offset points", fontsize=SMALL_PT,
        ha="center", va="center", color=INK, arrowprops=line, zorder=6, parse_math=False,
        path_effects=[withStroke(linewidth=2.5, foreground="white")],
    )  # fmt: skip
    note.set_in_layout(False)


def _gap(point: tuple[float, float], box: Box) -> tuple[float, float]:
    return (
        max(box[0] - point[0], 0.0, point[0] - box[2]),
        max(box[1] - point[1], 0.0, point[1] - box[3]),
    )
