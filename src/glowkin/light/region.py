"""Means of regions with their covariance by block variance.

Neighbouring pixels are correlated (demosaicing, JPEG blocks, powder texture), so the error of a mean is
read from the scatter of the means of blocks larger than that correlation, not from single pixels. With
few blocks the scatter itself is uncertain; the covariance is scaled so that the usual chi-square ellipse
for two components holds 95 % (Hotelling's T-squared).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from glowkin.base.uncertainty import CHI2_95_2D, Array
from glowkin.light.linear import Window, clipped_cells, linear_cells, window_codes

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from glowkin.light.masters import Correction
    from glowkin.light.photo import Photograph

_BLOCKS = 48
_STRIP = 256
_SHIFT = 4
_CODE_SD = 0.4
"""Error of a rendered mean, in steps of its codes, that its scatter cannot show: where the picture is smooth,
rounding errs alike all over (0.29 of a step, as a rectangular distribution does), and compression adds to it.
With 0.4, 95 % regions of ``benchmarks/coverage.py`` hold; without it, 30-60 % of them."""


@dataclass(frozen=True)
class Signals:
    """Per region: ``mean`` (n x 3, full scale 1), ``covariance`` of the mean (n x 3 x 3), ``scatter`` of
    block means within the region (n x 3 x 3), ``clipped`` share of cells, ``at_zero`` share of cells
    with the channel at code zero (n x 3), ``blocks`` counted, and ``block_cells`` in one of them. NaN
    where too little unclipped is left: fewer than 4 cells, or than 3 blocks. ``patches`` are the blocks of
    each region (blocks x 6): centre x, y in pixels, cells counted, mean RGB.
    """

    mean: Array
    covariance: Array
    scatter: Array
    clipped: Array
    at_zero: Array
    blocks: Array
    block_cells: Array
    patches: tuple[Array, ...] = ()


def region_means(
    photo: Photograph,
    outlines: Sequence[Array],
    channel: int | None = None,
    correction: Correction | None = None,
) -> Signals:
    """Mean linear RGB of each outline (vertices x 2, pixels), clipped cells left out.

    With ``channel`` only those clipped in that channel of a raw file; the others' means are then no good.
    A ``correction`` is made on the means of blocks, so that their scatter is that of what is left.
    """
    regions = [_region(photo, np.asarray(outline, dtype=float), channel, correction) for outline in outlines]
    shapes: tuple[tuple[int, ...], ...] = ((3,), (3, 3), (3, 3), (), (3,), (), ())
    columns = (np.array([r[i] for r in regions]).reshape(-1, *shape) for i, shape in enumerate(shapes))
    parts: list[Any] = [*columns, tuple(r[-1] for r in regions)]
    return Signals(*parts)


def _region(
    photo: Photograph, outline: Array, channel: int | None, correction: Correction | None
) -> tuple[Any, ...]:
    mask, window = outline_mask(photo, outline)
    side = block_side(photo, int(np.count_nonzero(mask)))
    sums, counts, clipped = _block_sums(photo, mask, window, side, channel)
    if correction is not None:
        means = correction.blocks(mask, window, side, _per_cell(sums, counts))
        counts = np.where(np.isfinite(means).all(axis=1), counts, 0.0)
        sums = np.nan_to_num(means) * counts[:, None]
    whole = max(int(np.count_nonzero(mask)), 1)
    nothing = np.full(3, np.nan), np.full((3, 3), np.nan), np.full((3, 3), np.nan)
    if counts.sum() < 4:
        return *nothing, clipped / whole if mask.any() else np.nan, np.zeros(3), 0, 0.0, np.zeros((0, 6))
    mean, covariance, scatter, blocks = statistics(sums, counts, side)
    if blocks < 3:
        return *nothing, clipped / whole, np.zeros(3), blocks, 0.0, np.zeros((0, 6))
    coding = coding_variance(photo, mean) * (1.0 if correction is None else 1.0 + correction.weight**2)
    covariance = covariance + np.diag(coding)
    zero = _at_zero(photo, mask, window)
    patches = _patches(photo, mask, window, side, sums, counts)
    return mean, covariance, scatter, clipped / whole, zero, blocks, counts.sum() / blocks, patches


def _patches(
    photo: Photograph, mask: NDArray[np.uint8], window: Window, side: int, sums: Array, counts: Array
) -> Array:
    """Centre, cells and mean of each well-filled block (blocks x 6)."""
    row, column = np.divmod(np.arange(counts.size), -(-mask.shape[1] // side))
    corner = np.stack([window.left + column * side, window.top + row * side], axis=1)
    centre = (corner + 0.5 * side) * photo.period - 0.5
    kept = _well_filled(counts, side)
    return np.column_stack([centre, counts, _per_cell(sums, counts)])[kept]


def block_means(photo: Photograph, mask: NDArray[np.uint8], window: Window, side: int) -> Array:
    """Mean linear RGB of the unclipped cells of each block of a mask (blocks x 3); NaN without any."""
    sums, counts, _ = _block_sums(photo, mask, window, side, None)
    return _per_cell(sums, counts)


def cells_by_block(
    photo: Photograph, mask: NDArray[np.uint8], window: Window, side: int
) -> tuple[Array, Array]:
    """``block_means`` and how many cells each is of (blocks x 3, blocks)."""
    sums, counts, _ = _block_sums(photo, mask, window, side, None)
    return _per_cell(sums, counts), np.asarray(counts)


def _per_cell(sums: Array, counts: Array) -> Array:
    return np.asarray(sums / np.where(counts > 0, counts, np.nan)[:, None])


def coding_variance(photo: Photograph, mean: Array) -> Array:
    """Variance that coding left on means (... x 3); none in raw files, whose noise spans many codes."""
    if photo.curves is None or photo.kind == "raw":
        return np.zeros(np.shape(mean))
    curves = photo.curves.astype(float)
    slope = [np.interp(m, c, np.gradient(c)) for m, c in zip(np.moveaxis(mean, -1, 0), curves.T, strict=True)]
    return np.asarray(np.square(_CODE_SD * photo.code_step * np.stack(slope, axis=-1)))


def outline_mask(photo: Photograph, outline: Array) -> tuple[NDArray[np.uint8], Window]:
    """The cells inside an outline as a mask of 1 within its window of cells."""
    p = photo.period
    width, height = photo.size_cells
    cells = (outline + 0.5) / p - 0.5
    left, top = np.clip(np.floor(cells.min(axis=0)).astype(int), 0, (width - 1, height - 1))
    right, bottom = np.clip(np.ceil(cells.max(axis=0)).astype(int) + 1, (left + 1, top + 1), (width, height))
    mask = np.zeros((bottom - top, right - left), dtype=np.uint8)
    corners = np.round((cells - (left, top)) * (1 << _SHIFT)).astype(np.int32)
    cv2.fillPoly(mask, [corners], 1, shift=_SHIFT)
    return mask, Window(int(left), int(top), int(right), int(bottom))


def block_side(photo: Photograph, cells: int) -> int:
    """About 48 blocks, larger than what compression and demosaicing correlate; at least 8 where they fit."""
    smallest = 3 if photo.curves is None else 8
    side = max(1, min(max(smallest, int(np.sqrt(cells / _BLOCKS))), int(np.sqrt(cells / 8))))
    return side if side < 16 else side - side % (4 if side < 48 else 8)


def _block_sums(
    photo: Photograph, mask: NDArray[np.uint8], window: Window, side: int, channel: int | None
) -> tuple[Any, ...]:
    """Sums and counts of unclipped cells in each block, strip by strip.

    Of a large sample in a rendered file every other row or less is read: its pixels tell no more.
    """
    every = _rows_apart(photo, mask, side)
    sums, counts, clipped = [], [], 0
    for rows, strip in _strips(mask, window, side):
        piece = rows[::every]
        over = _spread(photo, clipped_cells(photo, strip, every, channel)) & piece
        valid = piece & ~over
        clipped += every * int(np.count_nonzero(over))
        sums.append(every * block_totals(cv2.copyTo(linear_cells(photo, strip, every), valid), side, every))
        counts.append(every * block_totals(valid.astype(np.float32), side, every))
    return np.concatenate(sums).reshape(-1, 3), np.concatenate(counts).ravel(), clipped


def _rows_apart(photo: Photograph, mask: NDArray[np.uint8], side: int) -> int:
    """1, 2, 4 or 8: every so-many-th row is enough, and blocks are whole multiples of it."""
    apart = 1
    if photo.kind == "rendered":
        while apart < 8 and mask.size > 30_000 * apart**2 and side % (2 * apart) == 0:
            apart *= 2
    return apart


def _at_zero(photo: Photograph, mask: NDArray[np.uint8], window: Window) -> Array:
    """Share of a rendered region's cells with each channel at step 0 or 1, from some thousands of them."""
    if photo.kind == "raw":
        return np.zeros(3)
    step = max(1, int(np.sqrt(mask.size / 4000)))
    few = mask[::step, ::step, None]
    hits = (window_codes(photo, window)[::step, ::step] <= photo.code_step) & (few == 1)
    return np.asarray(hits.reshape(-1, 3).sum(axis=0) / max(few.sum(), 1))


def _strips(mask: NDArray[np.uint8], window: Window, side: int) -> Iterator[tuple[NDArray[np.uint8], Window]]:
    step = side * max(1, _STRIP // side)
    for top in range(0, mask.shape[0], step):
        piece = mask[top : top + step]
        yield piece, Window(window.left, window.top + top, window.right, window.top + top + piece.shape[0])


def _spread(photo: Photograph, clipped: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Demosaicing and chroma subsampling bend the neighbours of a clipped pixel of a rendered file."""
    if photo.curves is None or not clipped.any():
        return clipped
    return np.asarray(cv2.dilate(clipped, np.ones((5, 5), np.uint8)))


def block_totals(values: NDArray[Any], side: int, every: int) -> NDArray[np.float64]:
    """Sums over blocks of side x side cells, each so-many-th row there, the last blocks padded with zeros."""
    height, width = values.shape[:2]
    rows = side // every
    bottom, right = -height % rows, -width % side
    padded = cv2.copyMakeBorder(values, 0, bottom, 0, right, cv2.BORDER_CONSTANT, value=0)
    size = (padded.shape[1] // side, padded.shape[0] // rows)
    return np.asarray(cv2.resize(padded, size, interpolation=cv2.INTER_AREA), dtype=float) * side * rows


def statistics(sums: Array, counts: Array, side: int) -> tuple[Array, Array, Array, int]:
    """Weighted mean of the cells, covariance of that mean, scatter of block means, blocks counted."""
    mean = sums.sum(axis=0) / counts.sum()
    kept = _well_filled(counts, side)
    n, block_means = counts[kept], sums[kept] / counts[kept, None]
    deviation = (block_means - mean) * n[:, None]
    blocks = int(n.size)
    if blocks < 3:
        return mean, np.full((3, 3), np.nan), np.full((3, 3), np.nan), blocks
    covariance = deviation.T @ deviation / counts.sum() ** 2 * blocks / (blocks - 1)
    scatter = np.cov(block_means.T, aweights=n)
    return mean, covariance * few_blocks_factor(blocks), scatter, blocks


def _well_filled(counts: Array, side: int) -> NDArray[np.bool_]:
    kept = counts >= 0.25 * side**2
    return np.asarray(kept if np.count_nonzero(kept) >= 4 else counts > 0)


def few_blocks_factor(blocks: int) -> float:
    """T-squared over chi-square at 95 %, two components: 2 (n - 1) / (n - 2) F(2, n - 2) / 5.99.

    Hotelling, Ann. Math. Stat. 2, 360 (1931); n blocks, at least 3.
    """
    from scipy.special import fdtri

    return float(2 * (blocks - 1) / (blocks - 2) * fdtri(2, blocks - 2, 0.95) / CHI2_95_2D)
