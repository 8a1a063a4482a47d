"""The tags of a raw file that is a TIFF file, as DNG and most makers' are: of its first directory, and of the
directory of the mosaic where that is another one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.light.metadata import tiff_tags
from glowkin.light.tiff import LINEAR_RAW, MOSAIC, SIGNATURES, pages

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array

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
        if not data.startswith(SIGNATURES):
            return cls(tiff_tags(data))
        try:
            found = pages(data)
        except Exception:  # noqa: BLE001 - broken bytes make the reader raise anything
            return cls(tiff_tags(data))
        pictures = [p for p in found if int(p.photometric) in (MOSAIC, LINEAR_RAW)]
        largest = sorted(pictures, key=lambda p: -p.imagewidth * p.imagelength)[:1]
        return cls(tiff_tags(data), (*largest, *found[:1]))

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


def _numbers(tag: Any) -> Array:
    value = tag.value
    values = np.array(list(value) if isinstance(value, tuple | bytes | list) else [value], dtype=float)
    if int(tag.dtype) not in _FRACTIONS:
        return values
    under = np.where(values[1::2] == 0, np.nan, values[1::2])
    return np.asarray(values[0::2] / under)
