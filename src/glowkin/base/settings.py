"""How a measurement is to be made: one frozen record from any door to the recipes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


FRAME_KINDS = ("lamp_off", "lens_capped", "flat", "blank")
"""Frames taken beside a photograph, by the settings that name them."""


@dataclass(frozen=True)
class Likely:
    """What a study file tells of photographs as a rule: ``names`` are taken where as many samples are found
    and no others are given, ``references`` where a sample of that name is.
    """

    names: tuple[str, ...] = ()
    references: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Settings:
    """``white_point`` is a name or "x,y"; ``observer`` 2 or 10 degrees; ``names`` in reading order;
    ``outlines`` are polygons of (x, y) pixels that replace the finder. ``lamp_off``, ``lens_capped``,
    ``flat`` and ``blank`` are paths of frames taken beside the photograph, several of a kind to be averaged.
    ``camera`` is a camera file, ``filter`` the transmittance of a filter before the lens.
    ``references`` are names of samples with the glow that is known of each, ``likely`` what holds where it
    fits. In ``series`` outlines drawn on one photograph are moved on the others as the camera was.
    """

    white_point: str = "E"
    observer: int = 2
    names: tuple[str, ...] = ()
    outlines: tuple[tuple[tuple[float, float], ...], ...] | None = None
    lamp_off: tuple[str | Path, ...] = ()
    lens_capped: tuple[str | Path, ...] = ()
    flat: tuple[str | Path, ...] = ()
    blank: tuple[str | Path, ...] = ()
    camera: str | Path | None = None
    filter: str | Path | None = None
    references: tuple[tuple[str, str], ...] = field(default=(), kw_only=True)
    likely: Likely = field(default_factory=Likely, kw_only=True)
    series: bool = field(default=False, kw_only=True)
