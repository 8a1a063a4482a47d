"""Every figure glowkin draws, and how it is written: read this to find the one you want."""

from __future__ import annotations

from glowkin.telling.diagram import chromaticity_diagram, locus_marks
from glowkin.telling.drawing import png, save, svg
from glowkin.telling.mass_figure import mass_against_light
from glowkin.telling.picture import annotated_photograph, swatches
from glowkin.telling.progress import fraction_against_time
from glowkin.telling.strip import map_strip

__all__ = [
    "annotated_photograph",
    "chromaticity_diagram",
    "fraction_against_time",
    "locus_marks",
    "map_strip",
    "mass_against_light",
    "png",
    "save",
    "svg",
    "swatches",
]
