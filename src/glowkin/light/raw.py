"""Camera raw and DNG: the mosaic, or three channels without one, black and white levels, colour matrices.

The mosaic is measured as recorded: float black subtracted, never clipped at black, never white-balanced.
The as-shot white adapts reflected colours and must not touch an emission.
"""

from __future__ import annotations

import io
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.errors import CannotReadError
from glowkin.light.metadata import Metadata, read_metadata
from glowkin.light.photo import Limits, Photograph, check_pixels, oriented
from glowkin.light.raw_tags import RawTags

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array

_FLIP_TO_ORIENTATION = {0: 1, 1: 2, 2: 4, 3: 3, 4: 5, 5: 8, 6: 6, 7: 7}
"""The decoder's flips (bits: 1 left-right, 2 top-bottom, 4 transposed) as Exif orientations."""
_TUNGSTEN = (3, 17, 24)
"""Exif LightSource: tungsten, standard light A, ISO studio tungsten."""
_BEFORE_CAMERAS = 1990
_CLIP_SHARE = 0.99
"""Pixels saturate unequally; the top hundredth of the scale counts as clipped (common practice)."""


def decode_raw(path: Path, data: bytes, digest: str, limits: Limits) -> Photograph:
    """A raw photograph as its visible mosaic, orientation applied (copied: the decoder frees its own)."""
    import rawpy

    try:
        with rawpy.imread(io.BytesIO(data)) as raw:
            if raw.sizes.width:
                check_pixels(path, raw.sizes.width, raw.sizes.height, limits)
            return _photograph(path, digest, raw, RawTags.of(data))
    except (rawpy.LibRawError, NotImplementedError) as error:
        raise CannotReadError(
            f"{path}: a broken raw file, or of a kind that cannot be decoded; copy it from the camera again, "
            "or convert it to DNG"
        ) from error


def _photograph(path: Path, digest: str, raw: Any, tags: RawTags) -> Photograph:
    codes = raw.raw_image_visible
    if codes is None or raw.color_desc[:3] != b"RGB":
        raise CannotReadError(f"{path}: holds no red, green and blue; convert it to DNG")
    turn = _FLIP_TO_ORIENTATION.get(raw.sizes.flip, 1)
    white = float(tags.numbers(50717)[0] if tags.numbers(50717).size else raw.white_level)
    common: dict[str, Any] = {
        "path": path, "sha256": digest, "kind": "raw", "clip": int(_CLIP_SHARE * white),
        "metadata": _metadata(path, raw, tags), "to_xyz": _matrices(path, raw, tags),
        "colour_space": "camera", "white": white,
    }  # fmt: skip
    if codes.ndim == 3:
        black = _channel_black(raw, tags)
        return Photograph(
            codes=oriented(codes[..., :3].copy(), turn), curves=_straight(codes.dtype, black, white), **common
        )
    colours = tags.mosaic(raw.raw_colors_visible)
    p = _period(colours)
    pattern = oriented(colours[:p, :p], turn)  # of a mosaic cut to whole periods all corners are the same
    whole = codes[: _whole(codes.shape[0], p), : _whole(codes.shape[1], p)]
    return Photograph(
        codes=oriented(whole.copy(), turn),
        channels=np.where(pattern == 3, 1, pattern).astype(np.int_),
        black=_black(raw, tags, pattern, turn),
        **common,
    )


def _metadata(path: Path, raw: Any, tags: RawTags) -> Metadata:
    """By the file's Exif tags; what they leave out, by the decoder, which knows some makers' own."""
    told, other = read_metadata(tags.exif, path), raw.other
    shot = other.timestamp.isoformat() if other.timestamp.year > _BEFORE_CAMERAS else None
    return replace(
        told,
        taken_at=told.taken_at or shot,
        exposure_s=told.exposure_s or other.shutter_speed or None,
        iso=told.iso or other.iso_speed or None,
        f_number=told.f_number or other.aperture or None,
    )


def _straight(dtype: Any, black: Array, white: float) -> NDArray[np.float32]:
    """The straight lines of a raw file without a mosaic, below zero too; one row for each code."""
    codes = np.arange(np.iinfo(dtype).max + 1.0)[:, None]
    return np.asarray((codes - black) / (white - black), dtype=np.float32)


def _channel_black(raw: Any, tags: RawTags) -> Array:
    """Black level of red, green and blue: the mean over what repeats, unrounded where the DNG tells."""
    levels = tags.numbers(50714)
    if levels.size and levels.size % 3 == 0:
        return np.asarray(levels.reshape(-1, 3).mean(axis=0))
    return levels if levels.size == 1 else np.array(raw.black_level_per_channel[:3], dtype=float)


def _whole(length: int, period: int) -> int:
    return length - length % period


def _period(colours: NDArray[Any]) -> int:
    """The smallest shift, both ways, after which the filter array repeats: 2 for Bayer."""
    for p in (2, 4, 6, 8):
        block = colours[: 4 * p, : 4 * p]
        if (block[p:] == block[:-p]).all() and (block[:, p:] == block[:, :-p]).all():
            return p
    return 12


def _black(raw: Any, tags: RawTags, pattern: NDArray[Any], turn: int) -> Array:
    """Black level of each position of a cell, unrounded where the DNG tells rationals."""
    levels, p = tags.numbers(50714), len(pattern)
    if levels.size == 1:
        return np.full(pattern.shape, levels[0])
    rows, columns = (int(n) for n in tags.numbers(50713)) if tags.numbers(50713).size == 2 else (1, 1)
    if levels.size == rows * columns and p % rows == p % columns == 0:
        tile = levels.reshape(rows, columns)
        return np.asarray(oriented(np.tile(tile, (p // rows, p // columns)), turn))
    return np.asarray(np.array(raw.black_level_per_channel, dtype=float)[pattern])


def _matrices(path: Path, raw: Any, tags: RawTags) -> tuple[Array, ...]:
    """Camera RGB to XYZ for each calibration illuminant (DNG 1.7, chapter 6), tungsten before daylight."""
    found = tuple(_invert(path, M) for M in _dng_matrices(tags))
    if found:
        first, second = tags.numbers(50778), tags.numbers(50779)
        turned = second.size and second[0] in _TUNGSTEN and not (first.size and first[0] in _TUNGSTEN)
        return found[::-1] if turned else found
    M = np.asarray(raw.rgb_xyz_matrix, dtype=float)[:3]
    if not np.any(M):
        raise CannotReadError(f"{path}: tells no colour matrix of its camera; convert it to DNG")
    return (_invert(path, M),)


def _dng_matrices(tags: RawTags) -> Iterator[Array]:
    """AnalogBalance @ CameraCalibration @ ColorMatrix (XYZ to camera) for each illuminant."""
    balance = np.diag(tags.numbers(50727, 3, (1.0, 1.0, 1.0)))
    for colour_tag, calibration_tag in ((50721, 50723), (50722, 50724)):
        matrix = tags.numbers(colour_tag, 9)
        if matrix.any():
            calibration = tags.numbers(calibration_tag, 9, np.eye(3).ravel())
            yield balance @ calibration.reshape(3, 3) @ matrix.reshape(3, 3)


def _invert(path: Path, M: Array) -> Array:
    """Camera to XYZ; a matrix that cannot be turned round is the file's fault."""
    if not np.isfinite(M).all() or abs(np.linalg.det(M)) < 1e-9:
        raise CannotReadError(f"{path}: its colour matrix is broken; convert it to DNG again")
    return np.asarray(np.linalg.inv(M))
