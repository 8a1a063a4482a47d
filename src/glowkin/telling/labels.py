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

RINGS_PT = (9, 15, 24, 36, 52, 72, 96, 130, 170)
DIRECTIONS = 16
CROSSING, OVER_WORDS, AWAY = 1500.0, 8.0, 0.5
"""What is bad about a place, in square points of covered marks: a leader through other words, covered words
(as a factor), a point of distance.
"""


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
    written: list[Box] = []
    for label in labels:
        x, y = (float(v) for v in ax.transData.transform((label.x, label.y)) * scale)
        box = best_box(x, y, label.words, taken, inside, written=written)
        taken.append(box)
        written.append(box)
        _write(ax, label, (x, y), box)


def best_box(
    x: float,
    y: float,
    words: str,
    taken: Sequence[Box],
    inside: Box,
    first: float = 0.0,
    pad: float = 0.0,
    reach_pt: float = RINGS_PT[-1],
    written: Sequence[Box] = (),
) -> Box:
    """The nearest box for the words that overlaps nothing; the one that overlaps least if none is free.

    ``first`` is the direction tried first, in radians from the right; ``pad`` widens the words on all sides;
    ``reach_pt`` is how far off they may stand, ``written`` are words that no leader should cross.
    """
    lines = words.split("\n")
    width = max(map(width_pt, lines)) + 2 * pad
    height = 1.25 * SMALL_PT * len(lines) + 2 * pad
    rings = [r for r in RINGS_PT if r <= reach_pt]
    boxes = np.array(
        [_box(x, y, width, height, r, first + _turn(k)) for r in rings for k in range(DIRECTIONS)]
    )
    covered = _covered(boxes, taken) + OVER_WORDS * _covered(boxes, written)
    outside = width * height - overlap(boxes, np.array(inside))
    away = AWAY * np.repeat(rings, DIRECTIONS)
    cost = covered + 3 * outside + away + CROSSING * _crossings(boxes, np.array([x, y]), written)
    x0, y0, x1, y1 = (float(v) for v in boxes[np.argmin(np.round(cost, 6))])
    return (x0, y0, x1, y1)


def _crossings(boxes: Array, point: Array, written: Sequence[Box]) -> Array:
    """How much of the line from the point to each box's centre (n, 4) runs through written words, 0 to 1."""
    if not written:
        return np.zeros(len(boxes))
    centres = (boxes[:, :2] + boxes[:, 2:]) / 2
    along = np.linspace(0.0, 1.0, 16)[:, np.newaxis, np.newaxis]
    x, y = np.moveaxis(point + along * (centres - point), -1, 0)[..., np.newaxis]
    x0, y0, x1, y1 = np.array(written).T
    return np.asarray(((x > x0) & (x < x1) & (y > y0) & (y < y1)).any(axis=-1).mean(axis=0))


def width_pt(words: str) -> float:
    """How wide one line of small text is, in points."""
    from matplotlib.font_manager import FontProperties, fontManager, get_font

    font = get_font(fontManager.findfont(FontProperties(family="DejaVu Sans")))
    font.set_size(SMALL_PT, 72)
    font.set_text(words)
    return float(font.get_width_height()[0]) / 64


def _turn(k: int) -> float:
    """The k-th direction, alternating outwards from the first."""
    return 2 * math.pi * ((k + 1) // 2) * (1 if k % 2 else -1) / DIRECTIONS


def _box(x: float, y: float, width: float, height: float, r: float, angle: float) -> Box:
    """A box whose nearest edge is about r points away."""
    centre_x = x + math.cos(angle) * (r + width / 2)
    centre_y = y + math.sin(angle) * (r + height / 2)
    return (centre_x - width / 2, centre_y - height / 2, centre_x + width / 2, centre_y + height / 2)


def _covered(boxes: Array, others: Sequence[Box]) -> Array:
    return np.asarray(overlap(boxes[:, np.newaxis], np.array(others).reshape(1, -1, 4)).sum(axis=1))


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
