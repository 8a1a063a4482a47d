"""Figures at the size they are printed in: one or two columns wide, the PNG with 300 dots an inch.

Journals' columns differ by some millimetres; these widths fit the usual ones (common practice, no source).
Text comes out at 7 pt, small text at 6.3, in both.
"""

from __future__ import annotations

import re
from contextlib import contextmanager
from typing import TYPE_CHECKING, Literal, TypeAlias

from glowkin.base.files import write_whole
from glowkin.telling import drawing

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from matplotlib.figure import Figure

Column: TypeAlias = Literal["single", "double"]

COLUMN_MM: dict[Column, float] = {"single": 85.0, "double": 175.0}
TALLEST_MM = 235.0
"""Higher than that no figure is, so that its caption fits on the page; it is narrower then."""
DPI = 300
_MM = 25.4
_SHRUNK = COLUMN_MM["single"] / (drawing.WIDTH_IN * _MM)


@contextmanager
def drawn_for(column: Column) -> Iterator[None]:
    """Figures made meanwhile have room for what two columns show: they are larger, their text is not."""
    with drawing.grown(COLUMN_MM[column] / COLUMN_MM["single"], TALLEST_MM / _MM / _SHRUNK):
        yield


def save_for_print(fig: Figure, stem: Path, column: Column) -> tuple[float, float]:
    """Write ``stem``.svg and ``stem``.png of a figure that was made within ``drawn_for``; answers width and
    height in mm.
    """
    wide, high = (float(v) * _MM for v in fig.get_size_inches())
    shrunk = min(_SHRUNK, COLUMN_MM[column] / wide, TALLEST_MM / high)
    size_mm = wide * shrunk, high * shrunk
    write_whole(stem.with_name(f"{stem.name}.png"), drawing.png(fig, DPI * shrunk, DPI))
    head = '<?xml version="1.0" encoding="utf-8"?>\n'
    text = _sized(drawing.svg(fig, stem.name), size_mm)
    write_whole(stem.with_name(f"{stem.name}.svg"), (head + text).encode())
    return size_mm


def _sized(svg: str, size_mm: tuple[float, float]) -> str:
    """The element with its size in millimetres; what is in it is scaled by its viewBox."""
    start, rest = svg[: svg.index(">")], svg[svg.index(">") :]
    for side, mm in zip(("width", "height"), size_mm, strict=True):
        start = re.sub(rf'\b{side}="[^"]*"', f'{side}="{mm:.2f}mm"', start, count=1)
    return start + rest
