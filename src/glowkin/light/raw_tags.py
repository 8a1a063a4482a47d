"""The tags of a raw file that is a TIFF file, as DNG and most makers' are: of its first directory, and of the
directory of the mosaic where that is another one.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.light.boxes import brand
from glowkin.light.metadata import exif_of, tiff_tags
from glowkin.light.tiff import LINEAR_RAW, MOSAIC, SIGNATURES, pages

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array

_EXIF_IFD = 0x8769
_UNUSUAL = {b"IIRO": b"II*\x00", b"IIRS": b"II*\x00", b"IIU\x00": b"II*\x00", b"MMOR": b"MM\x00*"}
_FRACTIONS = (5, 10)
_PATTERN, _REPEATS = 33422, 33421


@dataclass(frozen=True)
class RawTags:
    """``exif`` of the file; ``directories`` (by tifffile) to look in for numbers, the mosaic's first."""

    exif: Any
    directories: tuple[Any, ...] = ()

    @classmethod
    def of(cls, data: bytes) -> RawTags:
        """The tags of a file; none where it is no TIFF file or a broken one."""
        exif = raw_exif(data)
        if not data.startswith(SIGNATURES):
            return cls(exif)
        try:
            found = pages(data)
        except Exception:  # noqa: BLE001 - broken bytes make the reader raise anything
            return cls(exif)
        pictures = [p for p in found if int(p.photometric) in (MOSAIC, LINEAR_RAW)]
        largest = sorted(pictures, key=lambda p: -p.imagewidth * p.imagelength)[:1]
        return cls(exif, (*largest, *found[:1]))

    def numbers(self, tag: int, count: int | None = None, default: Sequence[float] | Array = ()) -> Array:
        """The numbers of a tag; ``default`` where it is missing or has not ``count`` of them."""
        for directory in self.directories:
            if tag in directory.tags:
                values = _numbers(directory.tags[tag])
                if count in (None, values.size):
                    return values
        return np.array(default, dtype=float)

    def mosaic(self, colours: NDArray[Any]) -> NDArray[Any]:
        """The colour of each position: by the file's own tag where it has one, for the decoder knows no
        patterns of 4 x 4; else ``colours``, the decoder's.
        """
        repeats, pattern = self.numbers(_REPEATS, 2), self.numbers(_PATTERN)
        if not pattern.size or repeats.prod() != pattern.size or not set(pattern) <= {0, 1, 2}:
            return colours
        rows, columns = (int(n) for n in repeats)
        tile = pattern.reshape(rows, columns).astype(int)
        if (rows, columns) in ((2, 2), (6, 6)):
            return colours  # both know these, and the decoder knows what it cut off at the edges
        height, width = colours.shape
        return np.tile(tile, (-(-height // rows), -(-width // columns)))[:height, :width]


def raw_exif(data: bytes) -> Any:
    """The Exif tags of a raw file, wherever its maker keeps them; empty where they are not found.

    Most are TIFF files; ORF and RW2 are as well, but for their first bytes. RAF holds a JPEG with them, CR3
    two boxes, CMT1 of the picture's tags and CMT2 of the shot's.
    """
    for start, usual in _UNUSUAL.items():
        if data.startswith(start):
            return tiff_tags(usual + data[4:])
    if data.startswith(b"FUJIFILMCCD-RAW"):
        offset, length = struct.unpack_from(">II", data, 84) if len(data) >= 92 else (0, 0)
        jpeg = data[offset : offset + length]
        at = jpeg.find(b"Exif\x00\x00", 0, 4096)
        return exif_of(jpeg[at:]) if at > 0 else exif_of(b"")
    if brand(data) == b"crx ":
        exif = exif_of(_cr3_box(data, b"CMT1"))
        exif.get_ifd(_EXIF_IFD).update(exif_of(_cr3_box(data, b"CMT2")))
        return exif
    return tiff_tags(data)


def _cr3_box(data: bytes, kind: bytes) -> bytes:
    """The content of the first box of that kind in the file's head."""
    at = data.find(kind, 0, 1 << 20)
    size = int.from_bytes(data[at - 4 : at], "big") if at >= 4 else 0
    return data[at + 4 : at - 4 + size] if size else b""


def _numbers(tag: Any) -> Array:
    value = tag.value
    values = np.array(list(value) if isinstance(value, tuple | bytes | list) else [value], dtype=float)
    if int(tag.dtype) not in _FRACTIONS:
        return values
    under = np.where(values[1::2] == 0, np.nan, values[1::2])
    return np.asarray(values[0::2] / under)
