"""A decoded photograph in integer codes, with all that reading them needs.

A photograph is seen as a grid of cells: one pixel of a rendered file, one period of the colour filter
array of a raw one (2 x 2 for Bayer). Floats are made for the cells of one outline or strip at a time.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.errors import CannotReadError

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.metadata import Metadata

RENDERED_SUFFIXES = (
    ".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", ".hif", ".avif",
)  # fmt: skip
RAW_SUFFIXES = (
    ".dng", ".cr2", ".cr3", ".crw", ".nef", ".nrw", ".arw", ".sr2", ".raf", ".orf", ".rw2", ".pef", ".srw",
    ".3fr", ".fff", ".iiq", ".mrw", ".erf", ".mef", ".mos", ".rwl", ".dcr", ".kdc",
)  # fmt: skip
SUFFIXES = RENDERED_SUFFIXES + RAW_SUFFIXES


@dataclass(frozen=True)
class Limits:
    """What is refused before it is decoded."""

    max_pixels: int = 200_000_000
    max_bytes: int = 500_000_000


@dataclass(frozen=True, eq=False)
class Photograph:
    """One decoded photograph.

    ``codes`` are height x width x 3 (rendered files, and raw ones without a mosaic) or height x width (raw
    mosaic), integers, orientation applied. ``channels`` (p x p) tells the channel of each position of a cell,
    ``black`` (p x p) its black level, ``white`` the code of full scale; ``curves`` (codes x 3, one row for
    every code there can be) linearise three channels. ``code_step`` is the step, in codes, to which the file
    tells levels: 1 of 8 bits, 4 of 10 bits compressed with loss.
    ``to_xyz`` holds one or two 3 x 3 matrices from linear RGB to XYZ (a raw file's two illuminants).
    A code of ``clip`` or more is clipped. ``container`` names the format of a rendered file, as JPEG.
    """

    path: Path
    sha256: str
    kind: str
    codes: NDArray[np.integer[Any]]
    clip: int
    metadata: Metadata
    to_xyz: tuple[Array, ...]
    colour_space: str
    flags: tuple[str, ...] = ()
    curves: NDArray[np.float32] | None = None
    channels: NDArray[np.int_] = field(default_factory=lambda: np.zeros((1, 1), dtype=np.int_))
    black: Array = field(default_factory=lambda: np.zeros((1, 1)))
    white: float = 255.0
    code_step: float = 1.0
    container: str = ""

    @property
    def period(self) -> int:
        """Pixels along one side of a cell."""
        return int(self.channels.shape[0])

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return int(self.codes.shape[1]), int(self.codes.shape[0])

    @property
    def size_cells(self) -> tuple[int, int]:
        """Width and height in whole cells."""
        width, height = self.size_px
        return width // self.period, height // self.period


def check_pixels(path: Path, width: int, height: int, limits: Limits) -> None:
    """Refuse a picture too large to measure or too small to hold a sample."""
    if width * height > limits.max_pixels:
        raise CannotReadError(f"{path}: {width} x {height} pixels is too large; crop it or export it smaller")
    if min(width, height) < 16:
        raise CannotReadError(
            f"{path}: {width} x {height} pixels is too small to hold a sample; send the camera's own file"
        )
    np.empty((height, width, 6), dtype=np.uint8)  # a MemoryError here; some decoders keep it to themselves


def oriented(array: NDArray[Any], orientation: int) -> NDArray[Any]:
    """The array turned as Exif orientation 1-8 asks, so that it stands as a viewer shows it."""
    if orientation in (5, 6, 7, 8):
        array = array.swapaxes(0, 1)
    if orientation in (3, 4, 7, 8):
        array = array[::-1]
    if orientation in (2, 3, 6, 7):
        array = array[:, ::-1]
    return np.ascontiguousarray(array)
