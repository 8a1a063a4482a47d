"""One sample of a photograph as a small picture in linear light, for maps; never more than 64 x 64."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from glowkin.light.region import cells_by_block, coding_variance, outline_mask

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.masters import Correction
    from glowkin.light.noise import Noise
    from glowkin.light.photo import Photograph

MOST = 64
"""Pixels along the longer side of a crop."""
_FILLED = 0.5


@dataclass(frozen=True, eq=False)
class Crop:
    """``linear`` (h x w x 3, full scale 1; NaN outside the outline and where clipped) and its ``variance``.

    ``inside`` (h x w) tells the outline's pixels, ``pixel_px`` how many of the photograph's pixels one of the
    crop is wide. The variance is that of independent noise, which developed files do not have.
    """

    linear: NDArray[np.float32]
    variance: NDArray[np.float32]
    inside: NDArray[np.bool_]
    pixel_px: int


def crops_of(
    photo: Photograph, outlines: Sequence[Array], noise: Noise, correction: Correction | None = None
) -> list[Crop]:
    """A crop of each outline (vertices x 2, pixels)."""
    return [_crop(photo, np.asarray(outline, dtype=float), noise, correction) for outline in outlines]


def _crop(photo: Photograph, outline: Array, noise: Noise, correction: Correction | None) -> Crop:
    mask, window = outline_mask(photo, outline)
    side = max(1, -(-max(mask.shape) // MOST))
    means, counts = cells_by_block(photo, mask, window, side)
    shape = (-(-mask.shape[0] // side), -(-mask.shape[1] // side))
    if correction is not None:
        means = correction.blocks(mask, window, side, means)
    full = cv2.resize(_padded(mask, side), shape[::-1], interpolation=cv2.INTER_AREA) >= _FILLED
    linear = np.where((counts >= _FILLED * side**2)[:, None], means, np.nan).reshape(*shape, 3)
    level = np.nan_to_num(linear)
    variance = noise.variance(level) / np.maximum(counts.reshape(*shape, 1), 1.0)
    variance += coding_variance(photo, level)
    linear[~full] = np.nan
    small = np.asarray(linear, dtype=np.float32), np.asarray(variance, dtype=np.float32)
    return Crop(*small, full, side * photo.period)


def _padded(mask: NDArray[np.uint8], side: int) -> NDArray[np.float32]:
    bottom, right = -mask.shape[0] % side, -mask.shape[1] % side
    wide = cv2.copyMakeBorder(mask, 0, bottom, 0, right, cv2.BORDER_CONSTANT, value=0)
    return np.asarray(wide, dtype=np.float32)
