"""TIFF of 8 or 16 bits a channel: chunky or planar, strips or tiles, either byte order, compressed or not."""

from __future__ import annotations

import io
import logging
from itertools import islice
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.errors import CannotReadError
from glowkin.light.metadata import tiff_tags
from glowkin.light.photo import Limits, Photograph, check_pixels
from glowkin.light.rendered import Told, broken, no_colour, rendered_photo

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

SIGNATURES = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
MOSAIC, LINEAR_RAW, DNG_VERSION = 32803, 34892, 50706
_RGB, _YCBCR = 2, 6
_WITHOUT_COLOUR = {0: "greyscale TIFF", 1: "greyscale TIFF", 3: "TIFF with a palette", 5: "CMYK TIFF"}
_UINT, _FLOAT = 1, 3
_LOSSY = (7, 34712, 34927, 34934, 50001, 50002)
"""JPEG, JPEG 2000, WebP (two numbers), JPEG XR and JPEG XL."""
_LOSSLESS = (1, 5, 8, 32773, 32946, 34887, 34925, 34926, 34933, 50000)
"""None, LZW, deflate (two numbers), PackBits, LERC, LZMA, Zstandard (two numbers) and PNG."""
_MOST_PAGES = 100
_SMALLER, _MASK = 1, 4
"""Bits of NewSubfileType: a smaller version of another picture, a mask."""


def pages(data: bytes) -> list[Any]:
    """All pictures of a TIFF file, those inside others too, by tifffile; it may raise anything."""
    from tifffile import TiffFile

    logging.getLogger("tifffile").setLevel(logging.CRITICAL)
    with TiffFile(io.BytesIO(data)) as file:
        return list(islice(_all_pages(file.pages), _MOST_PAGES))


def _all_pages(series: Any) -> Iterator[Any]:
    for page in series:
        yield page.aspage()
        if page.aspage().pages is not None:
            yield from _all_pages(page.aspage().pages)


def is_raw(found: list[Any]) -> bool:
    """Whether these are a camera's raw file in TIFF's clothes."""
    return any(DNG_VERSION in p.tags or int(p.photometric) in (MOSAIC, LINEAR_RAW) for p in found)


def has_picture(found: list[Any]) -> bool:
    """Whether one of these is an ordinary picture, not a small version of another."""
    return any(
        int(p.photometric) in (_RGB, _YCBCR) and p.imagewidth and not int(p.subfiletype) & _SMALLER
        for p in found
    )


def decode_tiff(path: Path, data: bytes, found: list[Any], digest: str, limits: Limits) -> Photograph:
    """A TIFF photograph, RGB, opaque, of its pages ``found``."""
    page = _only_page(path, found)
    check_pixels(path, page.imagewidth, page.imagelength, limits)
    ends = [a + n for a, n in zip(page.dataoffsets, page.databytecounts, strict=True)]
    if not ends or max(ends) > len(data) or min(page.databytecounts) == 0:
        raise broken(path, "TIFF")
    _check_kind(path, page)
    tags = tiff_tags(data)
    told = Told(
        "TIFF", tags, _bytes(page, 700), _bytes(page, 34675) or None, bits=int(page.bitspersample),
        lossy=int(page.compression) in _LOSSY,
    )  # fmt: skip
    return rendered_photo(path, digest, _pixels(data, page), told)


def _only_page(path: Path, found: list[Any]) -> Any:
    whole = [p for p in found if not int(p.subfiletype) & (_SMALLER | _MASK)]
    if not whole:
        raise broken(path, "TIFF")
    if len(whole) > 1:
        raise CannotReadError(
            f"{path}: holds {len(whole)} pictures; save the one to be measured in a file of its own"
        )
    return whole[0]


def _check_kind(path: Path, page: Any) -> None:
    """Three channels of integers are measured, nothing else."""
    photometric = int(page.photometric)
    if photometric in _WITHOUT_COLOUR:
        raise no_colour(path, _WITHOUT_COLOUR[photometric])
    if photometric != _RGB and not (photometric == _YCBCR and int(page.compression) in _LOSSY):
        raise no_colour(path, "TIFF of this kind")
    if int(page.compression) not in _LOSSY + _LOSSLESS:
        raise CannotReadError(f"{path}: is compressed in a way that is not read; save it with LZW, or as PNG")
    if int(page.sampleformat) == _FLOAT:
        raise CannotReadError(
            f"{path}: holds floating-point numbers, whose scale it does not tell; save it with 16 bits"
        )
    if int(page.sampleformat) != _UINT or page.bitspersample not in (8, 16):
        raise CannotReadError(
            f"{path}: holds {page.bitspersample} bits a channel; save it with 8 or 16 whole ones"
        )
    if page.samplesperpixel not in (3, 4) or page.imagedepth != 1:
        raise no_colour(path, f"TIFF with {page.samplesperpixel} channels")


def _bytes(page: Any, tag: int) -> bytes:
    value = page.tags[tag].value if tag in page.tags else b""
    return value if isinstance(value, bytes) else b""


def _pixels(data: bytes, page: Any) -> NDArray[Any]:
    """Height x width x channels in the machine's byte order."""
    from tifffile import TiffFile

    with TiffFile(io.BytesIO(data)) as file:
        page.parent = file
        codes = page.asarray()
    planar = int(page.planarconfig) == 2
    codes = np.moveaxis(codes, 0, 2) if planar else codes
    return np.asarray(codes.astype(codes.dtype.newbyteorder("="), copy=False))
