"""How a measurement is to be made: one frozen record from any door to the recipes."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Settings:
    """``white_point`` is a name or "x,y"; ``observer`` 2 or 10 degrees; ``names`` in reading order;
    ``outlines`` are polygons of (x, y) pixels that replace the finder.
    """

    white_point: str = "E"
    observer: int = 2
    names: tuple[str, ...] = ()
    outlines: tuple[tuple[tuple[float, float], ...], ...] | None = None
