"""Camera raw and DNG: the mosaic, its black and white levels, and its colour matrices.

The mosaic is measured as recorded: float black subtracted, never clipped at black, never white-balanced.
The as-shot white adapts reflected colours and must not touch an emission.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.errors import CannotReadError
from glowkin.light.metadata import read_metadata
from glowkin.light.photo import Limits, Photograph, check_pixels, oriented
from glowkin.light.quiet import quiet

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array

_FLIP_TO_ORIENTATION = {0: 1, 1: 2, 2: 4, 3: 3, 4: 5, 5: 8, 6: 6, 7: 7}
"""The decoder's flips (bits: 1 left-right, 2 top-bottom, 4 transposed) as Exif orientations."""
_TUNGSTEN = (3, 17, 24)
"""Exif LightSource: tungsten, standard light A, ISO studio tungsten."""
_CLIP_SHARE = 0.99
"""Pixels saturate unequally; the top hundredth of the scale counts as clipped (common practice)."""


def decode_raw(path: Path, data: bytes, digest: str, limits: Limits) -> Photograph:
    """A raw photograph as its visible mosaic, orientation applied (copied: the decoder frees its own)."""
    import rawpy

    tags = _tiff_tags(data)
    try:
        with quiet(), rawpy.imread(io.BytesIO(data)) as raw:
            return _photograph(path, digest, raw, tags, limits)
    except (rawpy.LibRawError, NotImplementedError) as error:
        raise CannotReadError(f"{path}: not a raw file that can be decoded; convert it to DNG") from error


def _photograph(path: Path, digest: str, raw: Any, tags: Any, limits: Limits) -> Photograph:
    mosaic, colours = raw.raw_image_visible, raw.raw_colors_visible
    if mosaic is None or mosaic.ndim != 2 or raw.color_desc[:3] != b"RGB":
        raise CannotReadError(f"{path}: holds no red-green-blue mosaic; convert it to a mosaic DNG")
    check_pixels(path, mosaic.shape[1], mosaic.shape[0], limits)
    metadata = read_metadata(tags, path)
    turn = _FLIP_TO_ORIENTATION.get(raw.sizes.flip, 1)
    p = _period(colours)
    pattern = oriented(colours[:p, :p], turn)  # of a mosaic cut to whole periods all corners are the same
    white = float(raw.white_level)
    return Photograph(
        path=path,
        sha256=digest,
        kind="raw",
        codes=oriented(mosaic[: _whole(mosaic.shape[0], p), : _whole(mosaic.shape[1], p)].copy(), turn),
        clip=int(_CLIP_SHARE * white),
        metadata=metadata,
        to_xyz=_matrices(path, raw, tags),
        colour_space="camera",
        channels=np.where(pattern == 3, 1, pattern).astype(np.int_),
        black=_black(raw, tags, pattern, turn),
        white=white,
    )


def _whole(length: int, period: int) -> int:
    return length - length % period


def _period(colours: NDArray[Any]) -> int:
    """The smallest shift, both ways, after which the filter array repeats: 2 for Bayer."""
    for p in (2, 4, 6, 8):
        block = colours[: 4 * p, : 4 * p]
        if (block[p:] == block[:-p]).all() and (block[:, p:] == block[:, :-p]).all():
            return p
    return 12


def _black(raw: Any, tags: Any, pattern: NDArray[Any], turn: int) -> Array:
    """Black level of each position of a cell, unrounded where the DNG tells rationals."""
    level: Any = tags.get(50714) if tags else None
    if isinstance(level, int | float) or hasattr(level, "numerator"):
        return np.full(pattern.shape, float(level), dtype=np.float64)
    rows, columns = tags.get(50713, (1, 1)) if tags else (1, 1)
    p = len(pattern)
    if isinstance(level, tuple) and len(level) == rows * columns and p % rows == p % columns == 0:
        tile = np.array([float(v) for v in level]).reshape(rows, columns)
        return np.asarray(oriented(np.tile(tile, (p // rows, p // columns)), turn))
    return np.asarray(np.array(raw.black_level_per_channel, dtype=float)[pattern])


def _tiff_tags(data: bytes) -> Any:
    """The tags of a TIFF-based raw file (DNG and most makers'), else an empty mapping."""
    from PIL import Image

    exif = Image.Exif()
    try:
        exif.load_from_fp(io.BytesIO(data))
    except (SyntaxError, OSError, ValueError, KeyError):
        return Image.Exif()
    return exif


def _matrices(path: Path, raw: Any, tags: Any) -> tuple[Array, ...]:
    """Camera RGB to XYZ for each calibration illuminant (DNG 1.7, chapter 6), tungsten before daylight."""
    found = tuple(_invert(path, M) for M in _dng_matrices(tags))
    if found:
        return found[::-1] if tags.get(50779) in _TUNGSTEN and tags.get(50778) not in _TUNGSTEN else found
    M = np.asarray(raw.rgb_xyz_matrix, dtype=float)[:3]
    if not np.any(M):
        raise CannotReadError(f"{path}: tells no colour matrix of its camera; convert it to DNG")
    return (_invert(path, M),)


def _dng_matrices(tags: Any) -> Iterator[Array]:
    """AnalogBalance @ CameraCalibration @ ColorMatrix (XYZ to camera) for each illuminant."""
    balance = np.diag(_numbers(tags, 50727, 3, [1.0, 1.0, 1.0]))
    for colour_tag, calibration_tag in ((50721, 50723), (50722, 50724)):
        matrix = _numbers(tags, colour_tag, 9, [])
        if matrix.any():
            calibration = _numbers(tags, calibration_tag, 9, list(np.eye(3).ravel()))
            yield balance @ calibration.reshape(3, 3) @ matrix.reshape(3, 3)


def _numbers(tags: Any, tag: int, count: int, default: list[float]) -> Array:
    values = tags.get(tag) if tags else None
    if isinstance(values, tuple | list) and len(values) == count:
        return np.array([float(v) for v in values])
    return np.array(default, dtype=float)


def _invert(path: Path, M: Array) -> Array:
    """Camera to XYZ; a matrix that cannot be turned round is the file's fault."""
    if not np.isfinite(M).all() or abs(np.linalg.det(M)) < 1e-9:
        raise CannotReadError(f"{path}: its colour matrix is broken; convert it to DNG again")
    return np.asarray(np.linalg.inv(M))
