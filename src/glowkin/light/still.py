"""HEIC and AVIF, 8, 10 or 12 bits a channel."""

from __future__ import annotations

import io
import struct
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.errors import CannotReadError
from glowkin.light.boxes import SEQUENCE_BRANDS, StillHeader, brand, read_still
from glowkin.light.cicp import coded_space
from glowkin.light.metadata import exif_of
from glowkin.light.photo import Limits, Photograph, check_pixels
from glowkin.light.rendered import Told, broken, no_colour, pixels_as_coded, rendered_photo

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from glowkin.light.profile import ColourSpace


def decode_still(path: Path, data: bytes, digest: str, limits: Limits) -> Photograph:
    """The primary picture of a HEIC or AVIF file, RGB, opaque."""
    if brand(data) in SEQUENCE_BRANDS:
        raise CannotReadError(f"{path}: an animated picture; save the one picture to be measured")
    try:
        header = read_still(data)
    except (ValueError, IndexError, KeyError, StopIteration, struct.error) as error:
        raise broken(path, "HEIC or AVIF") from error
    if header.grey:
        raise no_colour(path, "greyscale picture")
    check_pixels(path, *header.size, limits)
    avif = header.coding == b"av01"
    told = Told(
        "AVIF" if avif else "HEIC", exif_of(header.exif), header.xmp, header.icc, _space(path, header),
        header.bits, lossy=True, orientation=header.orientation if avif else 1, gain_map=header.gain_map,
    )  # fmt: skip
    pixels = pixels_as_coded(path, data, "AVIF") if avif else _heic(data, header.bits)
    return rendered_photo(path, digest, pixels, told)


def _space(path: Path, header: StillHeader) -> ColourSpace | None:
    """The space of the code points where no profile is embedded; of a profile these tell its coding only."""
    try:
        return None if header.icc or not header.nclx else coded_space(*header.nclx)
    except CannotReadError as error:
        raise CannotReadError(f"{path}: {error}") from error


def _heic(data: bytes, bits: int) -> NDArray[Any]:
    """Pixels already turned as the file asks; the decoder aligns more than eight bits to the left."""
    from pi_heif import open_heif

    file = open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
    pixels = np.array(file[file.primary_index])  # a copy: the decoder frees its own
    return pixels if bits == 8 else pixels >> (16 - bits)
