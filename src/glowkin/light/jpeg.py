"""JPEG: codes, colour space by profile or tag, orientation."""

from __future__ import annotations

import io
import struct
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.light.photo import Limits, Photograph, check_pixels
from glowkin.light.rendered import Told, broken, no_colour, rendered_photo

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

_MODES = {"L": "greyscale"}
_DAMAGED = ("Corrupt JPEG data", "Premature end")
"""What libjpeg says of lost data; most decoders fill in grey and go on, and grey must not be measured."""


def decode_jpeg(path: Path, data: bytes, digest: str, limits: Limits) -> Photograph:
    """A JPEG photograph, 8 bits a channel, RGB."""
    told = _header(path, data, limits)
    return rendered_photo(path, digest, _pixels(path, data), told)


def _header(path: Path, data: bytes, limits: Limits) -> Told:
    from PIL.JpegImagePlugin import JpegImageFile

    try:
        with JpegImageFile(io.BytesIO(data)) as image:
            size, mode, info, exif = image.size, image.mode, image.info, image.getexif()
    except (OSError, SyntaxError, ValueError, struct.error, IndexError, KeyError) as error:
        raise broken(path, "JPEG") from error
    if mode != "RGB":
        raise no_colour(path, f"{_MODES.get(mode, mode)} JPEG")
    check_pixels(path, *size, limits)
    return Told("JPEG", exif, info.get("xmp", b""), info.get("icc_profile"), lossy=True)


def _pixels(path: Path, data: bytes) -> NDArray[Any]:
    try:
        import simplejpeg

        return np.asarray(simplejpeg.decode_jpeg(data, colorspace="RGB"))
    except ValueError as error:
        if str(error).startswith(_DAMAGED):
            raise broken(path, "JPEG") from error
        return _pixels_second_way(path, data)


def _pixels_second_way(path: Path, data: bytes) -> NDArray[Any]:
    import cv2

    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    codes = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if codes is None:
        raise broken(path, "JPEG")
    return np.asarray(codes)
