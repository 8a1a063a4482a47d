"""PNG of 8 or 16 bits a channel (PNG specification, third edition)."""

from __future__ import annotations

import struct
import zlib
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotReadError
from glowkin.light.cicp import coded_space, gamma_space
from glowkin.light.metadata import exif_of
from glowkin.light.photo import Limits, Photograph, check_pixels
from glowkin.light.profile import ColourSpace, named_space
from glowkin.light.rendered import Told, broken, no_colour, pixels_as_coded, rendered_photo

if TYPE_CHECKING:
    from pathlib import Path


SIGNATURE = b"\x89PNG\r\n\x1a\n"
_KINDS = {0: "greyscale PNG", 3: "PNG with a palette", 4: "greyscale PNG"}
_MAX_PROFILE = 10_000_000


def decode_png(path: Path, data: bytes, digest: str, limits: Limits) -> Photograph:
    """A PNG photograph, RGB, opaque."""
    chunks = _chunks(path, data)
    width, height, bits, kind = struct.unpack_from(">IIBB", chunks[b"IHDR"])
    if b"acTL" in chunks:
        raise CannotReadError(f"{path}: an animated PNG; save the one picture to be measured")
    if kind in _KINDS or bits not in (8, 16):
        raise no_colour(path, _KINDS.get(kind, "PNG"))
    check_pixels(path, width, height, limits)
    try:
        space, icc = _colour(chunks)
    except CannotReadError as error:
        raise CannotReadError(f"{path}: {error}") from error
    told = Told("PNG", exif_of(chunks.get(b"eXIf", b"")), _xmp(chunks), icc, space, bits)
    return rendered_photo(path, digest, pixels_as_coded(path, data, "PNG"), told)


def _chunks(path: Path, data: bytes) -> dict[bytes, bytes]:
    """The first chunk of each kind but the pixels', after every chunk's checksum was found right.

    The decoder fills in what is lost and goes on, and what it fills in must not be measured.
    """
    at = len(SIGNATURE)
    chunks: dict[bytes, bytes] = {}
    while b"IEND" not in chunks:
        if at + 12 > len(data):
            raise broken(path, "PNG")
        size, kind = struct.unpack_from(">I4s", data, at)
        body = memoryview(data)[at + 4 : at + 8 + size]
        check = data[at + 8 + size : at + 12 + size]
        if check != struct.pack(">I", zlib.crc32(body)):
            raise broken(path, "PNG")
        chunks.setdefault(kind, b"" if kind in (b"IDAT", b"fdAT") else bytes(body[4:]))
        at += 12 + size
    if len(chunks.get(b"IHDR", b"")) != 13 or b"IDAT" not in chunks:
        raise broken(path, "PNG")
    return chunks


def _colour(chunks: dict[bytes, bytes]) -> tuple[ColourSpace | None, bytes | None]:
    """A space told outright, or a profile: cICP, else iCCP, else sRGB, else gAMA and cHRM (section 4.3)."""
    if len(chunks.get(b"cICP", b"")) == 4:
        space = coded_space(*chunks[b"cICP"][:2])
        if space is not None:
            return space, None
    if b"iCCP" in chunks:
        return None, _inflated(chunks[b"iCCP"].split(b"\x00", 1)[1][1:])
    if b"sRGB" in chunks:
        return named_space("sRGB"), None
    if b"gAMA" not in chunks and b"cHRM" not in chunks:
        return None, None
    gamma = struct.unpack(">I", chunks[b"gAMA"])[0] / 100_000 if b"gAMA" in chunks else None
    corners = [v / 100_000 for v in struct.unpack(">8I", chunks[b"cHRM"])] if b"cHRM" in chunks else None
    return gamma_space(gamma, corners), None


def _inflated(data: bytes) -> bytes:
    """Unpacked to at most some megabytes, more than any profile has."""
    return zlib.decompressobj().decompress(data, _MAX_PROFILE)


def _xmp(chunks: dict[bytes, bytes]) -> bytes:
    text = chunks.get(b"iTXt", b"")
    return text if text.startswith(b"XML:com.adobe.xmp") else b""
