"""JPEG: codes, colour space by profile or tag, orientation."""

from __future__ import annotations

import io
import struct
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.errors import CannotReadError
from glowkin.light.metadata import Metadata, read_metadata
from glowkin.light.photo import Limits, Photograph, check_pixels, oriented
from glowkin.light.profile import ColourSpace, named_space, read_profile
from glowkin.light.quiet import quiet

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

JPEG_CLIP = 250
"""Compression scatters a clipped patch a few codes below 255, so the top five count as clipped."""

_DAMAGED = ("Corrupt JPEG data", "Premature end")
"""What libjpeg says of lost data; most decoders fill in grey and go on, and grey must not be measured."""


def decode_jpeg(path: Path, data: bytes, digest: str, limits: Limits) -> Photograph:
    """A JPEG photograph, 8 bits a channel, RGB."""
    metadata, icc = _header(path, data, limits)
    space, flags = _colour_space(path, metadata, icc)
    codes = oriented(_pixels(path, data), metadata.orientation)
    return Photograph(
        path=path,
        sha256=digest,
        kind="rendered",
        codes=codes,
        clip=JPEG_CLIP,
        metadata=metadata,
        to_xyz=(space.rgb_to_xyz,),
        colour_space=space.name,
        flags=("rendered-file", *flags, *_white_balance(metadata)),
        curves=np.ascontiguousarray(space.curves, dtype=np.float32),
    )


def _header(path: Path, data: bytes, limits: Limits) -> tuple[Metadata, bytes | None]:
    from PIL.JpegImagePlugin import JpegImageFile

    try:
        with JpegImageFile(io.BytesIO(data)) as image:
            size, mode, icc, exif = image.size, image.mode, image.info.get("icc_profile"), image.getexif()
    except (OSError, SyntaxError, ValueError, struct.error, IndexError, KeyError) as error:
        raise CannotReadError(f"{path}: a broken JPEG file; copy it from the camera again") from error
    if mode != "RGB":
        raise CannotReadError(f"{path}: a {mode} JPEG has no three colour channels; export it as RGB")
    check_pixels(path, *size, limits)
    return read_metadata(exif, path), icc


def _colour_space(path: Path, metadata: Metadata, icc: bytes | None) -> tuple[ColourSpace, tuple[str, ...]]:
    if icc:
        try:
            return read_profile(icc), ()
        except CannotReadError as error:
            raise CannotReadError(f"{path}: {error}") from error
    if metadata.colour_space:
        return named_space(metadata.colour_space), ()
    return named_space("sRGB"), ("no-profile",)


def _white_balance(metadata: Metadata) -> tuple[str, ...]:
    """A file silent about white balance was, as a rule, balanced automatically (common practice)."""
    flags = () if metadata.automatic_white_balance is False else ("automatic-white-balance",)
    return (*flags, "merged-by-phone") if metadata.merged else flags


def _pixels(path: Path, data: bytes) -> NDArray[Any]:
    try:
        import simplejpeg

        return np.asarray(simplejpeg.decode_jpeg(data, colorspace="RGB"))
    except ValueError as error:
        if str(error).startswith(_DAMAGED):
            raise CannotReadError(f"{path}: a broken JPEG file; copy it from the camera again") from error
        return _pixels_second_way(path, data)


def _pixels_second_way(path: Path, data: bytes) -> NDArray[Any]:
    import cv2

    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    with quiet():
        codes = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if codes is None:
        raise CannotReadError(f"{path}: a broken JPEG file; copy it from the camera again")
    return np.asarray(codes)
