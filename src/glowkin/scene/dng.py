"""Raw files: a DNG of the mosaic, uncompressed, its codes exactly as the sensor gave them.

Tags after the DNG specification 1.4 and TIFF/EP. Twelve-bit mosaics are packed, two pixels in three bytes.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.errors import WrongUseError
from glowkin.scene.cameras import daylight
from glowkin.scene.metadata import describe, rational

if TYPE_CHECKING:
    from PIL.Image import Exif

    from glowkin.scene.shot import Shot

ILLUMINANT_A, ILLUMINANT_D65 = 17, 21


def write_dng(shot: Shot, path: str | Path) -> Path:
    """Write the shot as a DNG file and return its path."""
    path = Path(path)
    path.write_bytes(dng_bytes(shot))
    return path


def dng_bytes(shot: Shot) -> bytes:
    """The whole file; the same shot gives the same bytes."""
    from PIL import Image

    packed = shot.camera.bits == 12 and shot.codes.shape[1] % 2 == 0
    size = shot.codes.size * 3 // 2 if packed else shot.codes.size * 2
    exif = Image.Exif()
    describe(exif, shot, shot.exposure.orientation)
    for tag, value in {**_layout(shot, packed, size), **_colour(shot)}.items():
        exif[tag] = value
    head = _tiff(exif)
    return head + (pack12(shot.codes) if packed else _words(shot, head))


def pack12(codes: np.ndarray[Any, Any]) -> bytes:
    """Twelve-bit codes (h x w, w even) packed high bit first, as TIFF 6.0 lays out BitsPerSample 12."""
    if codes.shape[1] % 2:
        raise WrongUseError(f"a mosaic {codes.shape[1]} px wide cannot be packed: take an even width")
    a, b = (codes[:, i::2].astype(np.uint16) for i in (0, 1))
    return np.stack([a >> 4, ((a & 15) << 4) | (b >> 8), b & 255], axis=-1).astype(np.uint8).tobytes()


def _tiff(exif: Exif) -> bytes:
    """The TIFF header and directories; Pillow points StripOffsets just behind them."""
    data = exif.tobytes()
    return data[6:] if data.startswith(b"Exif\x00\x00") else data


def _words(shot: Shot, head: bytes) -> bytes:
    """Sixteen-bit codes in the byte order of the header."""
    return shot.codes.astype("<u2" if head.startswith(b"II") else ">u2").tobytes()


def _layout(shot: Shot, packed: bool, size: int) -> dict[int, Any]:
    h, w = shot.codes.shape
    cfa = shot.camera.cfa_index
    return {
        254: 0, 256: w, 257: h, 258: 12 if packed else 16, 259: 1, 262: 32803, 273: 0,
        277: 1, 278: h, 279: size, 284: 1, 33421: cfa.shape, 33422: cfa.tobytes(),
        50706: bytes([1, 4, 0, 0]), 50707: bytes([1, 1, 0, 0]),
        50708: f"{shot.camera.make} {shot.camera.name}",
        50714: shot.camera.black, 50717: shot.camera.white,
    }  # fmt: skip


def _colour(shot: Shot) -> dict[int, Any]:
    matrix_A, matrix_D65 = shot.camera.color_matrices
    neutral = shot.camera.neutral(daylight(shot.exposure.white_balance_kelvin))
    return {
        50721: _rationals(matrix_A), 50722: _rationals(matrix_D65), 50728: _rationals(neutral),
        50778: ILLUMINANT_A, 50779: ILLUMINANT_D65,
    }  # fmt: skip


def _rationals(values: np.ndarray[Any, Any]) -> tuple[Any, ...]:
    return tuple(rational(round(float(v), 6)) for v in values.ravel())
