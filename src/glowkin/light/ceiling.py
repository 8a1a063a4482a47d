"""What a clipped region shows: which channels are at the ceiling, and the means of the others there.

Of the region's cells only those count that are clipped in the same channels as most of the clipped ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glowkin.light.linear import clipped_cells, linear_cells, window_codes
from glowkin.light.region import block_side, block_totals, coding_variance, outline_mask, statistics

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.linear import Window
    from glowkin.light.masters import Correction
    from glowkin.light.photo import Photograph

_MOST_CELLS = 2_000_000
_HARDLY = 1e-4
"""Share of a region's cells that may clip in a channel without moving its mean by what matters."""
_RANKS = np.array([1, 2, 4], dtype=np.uint8)


@dataclass(frozen=True)
class Ceiling:
    """Of n regions: ``mean`` (n x 3, full scale 1), its ``covariance`` (n x 3 x 3), and which channels are
    ``clipped`` (n x 3): their means are what the light is at least. NaN where too little is clipped alike.
    """

    mean: Array
    covariance: Array
    clipped: NDArray[np.bool_]


def at_ceiling(photo: Photograph, outlines: Sequence[Array], correction: Correction | None = None) -> Ceiling:
    """The clipped cells of each outline (vertices x 2, pixels)."""
    return _of_all([_region(photo, np.asarray(outline, dtype=float), correction) for outline in outlines])


def _region(
    photo: Photograph, outline: Array, correction: Correction | None
) -> tuple[Array, Array, NDArray[np.bool_]]:
    mask, window = outline_mask(photo, outline)
    side = block_side(photo, int(np.count_nonzero(mask)))
    every = _rows_apart(photo, mask, side)
    pattern = _clipped_channels(photo, window, every) * mask[::every]
    most = int(np.argmax(np.bincount(pattern.ravel(), minlength=8)[1:])) + 1
    alike = (pattern == most).astype(np.uint8)
    linear = linear_cells(photo, window, every) * alike[..., None]
    sums = block_totals(linear, side, every).reshape(-1, 3)
    counts = block_totals(alike.astype(np.float32), side, every).ravel()
    clipped = (most & _RANKS) > 0
    if correction is not None:
        sums, counts = _corrected(correction, mask, window, side, sums, counts)
    mean, covariance = _mean(sums, counts, side)
    return mean, covariance + np.diag(coding_variance(photo, mean)), clipped


def at_least(photo: Photograph, outlines: Sequence[Array], correction: Correction | None = None) -> Ceiling:
    """All cells of each outline in a raw file: a channel that clips in any is at least its mean.

    The others' means are values: the channels of a raw file clip each by itself.
    """
    return _of_all([_whole(photo, np.asarray(outline, dtype=float), correction) for outline in outlines])


def _of_all(found: Sequence[tuple[Array, Array, NDArray[np.bool_]]]) -> Ceiling:
    mean, covariance, clipped = zip(*found, strict=True) if found else ((), (), ())
    return Ceiling(
        np.array(mean, dtype=float).reshape(-1, 3),
        np.array(covariance, dtype=float).reshape(-1, 3, 3),
        np.array(clipped, dtype=bool).reshape(-1, 3),
    )


def _whole(
    photo: Photograph, outline: Array, correction: Correction | None
) -> tuple[Array, Array, NDArray[np.bool_]]:
    mask, window = outline_mask(photo, outline)
    side = block_side(photo, int(np.count_nonzero(mask)))
    over = [np.count_nonzero(clipped_cells(photo, window, 1, c) & mask) for c in range(3)]
    clipped = np.array(over) > _HARDLY * max(int(np.count_nonzero(mask)), 1)
    sums = block_totals(linear_cells(photo, window) * mask[..., None], side, 1).reshape(-1, 3)
    counts = block_totals(mask.astype(np.float32), side, 1).ravel()
    if correction is not None:
        sums, counts = _corrected(correction, mask, window, side, sums, counts)
    return *_mean(sums, counts, side), clipped


def _corrected(
    correction: Correction, mask: NDArray[np.uint8], window: Window, side: int, sums: Array, counts: Array
) -> tuple[Array, Array]:
    """Sums (b x 3) and counts (b) of blocks after the masters; what these cannot tell counts for nothing."""
    means = correction.blocks(mask, window, side, sums / np.where(counts > 0, counts, np.nan)[:, None])
    counts = np.where(np.isfinite(means).all(axis=1), counts, 0.0)
    return np.nan_to_num(means) * counts[:, None], counts


def _mean(sums: Array, counts: Array, side: int) -> tuple[Array, Array]:
    """Mean (3) and its covariance (3 x 3) of blocks; NaN where there are too few cells."""
    if counts.sum() < 4:
        return np.full(3, np.nan), np.full((3, 3), np.nan)
    mean, covariance, _, _ = statistics(sums, counts, side)
    return mean, covariance


def _clipped_channels(photo: Photograph, window: Window, every: int) -> NDArray[np.uint8]:
    """The sum over a cell's clipped channels of 1, 2 and 4."""
    if photo.curves is not None:
        return np.asarray((window_codes(photo, window)[::every] >= photo.clip) @ _RANKS, dtype=np.uint8)
    planes = (rank * clipped_cells(photo, window, 1, c) for c, rank in enumerate(_RANKS))
    return np.asarray(sum(planes), dtype=np.uint8)


def _rows_apart(photo: Photograph, mask: NDArray[np.uint8], side: int) -> int:
    """Of a very large region in a rendered file every other row or less is read."""
    every = 1
    if photo.curves is not None:
        while mask.size > _MOST_CELLS * every and side % (2 * every) == 0:
            every *= 2
    return every
