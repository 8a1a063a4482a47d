"""From integer codes to linear light, for one window of cells at a time, or for the whole frame reduced."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from glowkin.colour.spaces import RGB_TO_XYZ

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.photo import Photograph

cv2.setNumThreads(1)  # photographs are measured side by side; threads inside one would compete


_FAINTEST_CODE = 6


@dataclass(frozen=True)
class Window:
    """A half-open rectangle of cells."""

    left: int
    top: int
    right: int
    bottom: int


@dataclass(frozen=True, eq=False)
class Frame:
    """A photograph reduced: ``linear`` (height x width x 3) and ``scale_px``, pixels to one of its own.

    Below ``faintest`` a rendered file holds a few codes only, and blotches of compression. ``to_xyz`` (3 x 3)
    is good enough to tell blue from red, not to measure.
    """

    linear: NDArray[np.float32]
    scale_px: int
    faintest: float = 0.0
    to_xyz: Array = field(default_factory=lambda: RGB_TO_XYZ["sRGB"])

    def mask(self, outlines: list[Array]) -> NDArray[np.uint8]:
        """1 inside any of the outlines (vertices x 2, pixels of the photograph), height x width."""
        out = np.zeros(self.linear.shape[:2], dtype=np.uint8)
        for outline in outlines:
            corners = np.round((outline + 0.5) / self.scale_px - 0.5).astype(np.int32)
            cv2.fillPoly(out, [corners], 1)
        return out

    def patch(self, outline: Array, margin: int = 0) -> tuple[tuple[slice, slice], NDArray[np.uint8]]:
        """The part of the frame around one outline, with a margin, and the outline's mask in it."""
        corners = np.round((outline + 0.5) / self.scale_px - 0.5).astype(np.int32)
        height, width = self.linear.shape[:2]
        left, top = np.clip(corners.min(axis=0) - margin, 0, (width - 1, height - 1))
        right, bottom = np.clip(corners.max(axis=0) + margin + 1, (left + 1, top + 1), (width, height))
        mask = np.zeros((bottom - top, right - left), dtype=np.uint8)
        cv2.fillPoly(mask, [corners - (left, top)], 1)
        return (slice(top, bottom), slice(left, right)), mask


def window_codes(photo: Photograph, window: Window) -> NDArray[Any]:
    """A view of the codes of these cells."""
    p = photo.period
    return photo.codes[window.top * p : window.bottom * p, window.left * p : window.right * p]


def linear_cells(photo: Photograph, window: Window, every: int = 1) -> NDArray[np.float32]:
    """Linear light of each cell, height x width x 3, full scale 1; raw noise may go below zero.

    With ``every`` only each so-many-th row of a rendered file.
    """
    codes = window_codes(photo, window)
    if photo.curves is not None:
        return looked_up(codes[::every], photo.curves)
    return _mosaic_cells(photo, codes, lambda plane: plane.astype(np.float32))


def looked_up(codes: NDArray[Any], curves: NDArray[np.float32]) -> NDArray[np.float32]:
    """Linear light of codes, height x width x 3, of eight bits or more."""
    if codes.dtype == np.uint8:
        return np.asarray(cv2.LUT(codes, curves[None]))
    out = np.empty(codes.shape, dtype=np.float32)
    for c in range(3):
        out[..., c] = curves[:, c].take(codes[..., c], mode="clip")
    return out


def _mosaic_cells(photo: Photograph, codes: NDArray[Any], plane_of: Any) -> NDArray[np.float32]:
    """Average each CFA colour over its positions in the cell, float black subtracted."""
    p, out = photo.period, None
    for row, column in np.ndindex(p, p):
        channel = photo.channels[row, column]
        share = 1.0 / np.count_nonzero(photo.channels == channel)
        black = photo.black[row, column]
        plane = plane_of(codes[row::p, column::p])
        if out is None:
            out = np.zeros((*plane.shape, 3), dtype=np.float32)
        out[..., channel] += (plane - np.float32(black)) * np.float32(share / (photo.white - black))
    assert out is not None  # noqa: S101 - a period is at least 1
    return out


def clipped_cells(
    photo: Photograph, window: Window, every: int = 1, channel: int | None = None
) -> NDArray[np.uint8]:
    """1 where any value of the cell is clipped, height x width; rows as in ``linear_cells``.

    Of a raw file also those of one ``channel`` alone, since there no channel bends another.
    """
    codes = window_codes(photo, window)[:: every if photo.curves is not None else 1]
    p = photo.period
    if photo.curves is not None:
        return np.asarray(cv2.inRange(codes, (0, 0, 0), (photo.clip - 1,) * 3) == 0, dtype=np.uint8)
    top = np.zeros_like(codes[0::p, 0::p])
    for row, column in np.ndindex(p, p):
        if channel is None or photo.channels[row, column] == channel:
            top = np.maximum(top, codes[row::p, column::p])
    return np.asarray(top >= photo.clip, dtype=np.uint8)


def reduced(photo: Photograph, long_side: int = 512) -> Frame:
    """The whole frame in linear light, shrunk by a whole number of cells to at most ``long_side``.

    Rendered files are averaged in codes: good enough to find samples, never used to measure them.
    """
    width, height = photo.size_cells
    k = min(max(1, -(-max(width, height) // long_side)), width, height)
    size = (width // k, height // k)
    codes = window_codes(photo, Window(0, 0, size[0] * k, size[1] * k))
    if photo.curves is not None:
        codes = codes[:: max(k // 2, 1)] if k % 2 == 0 else codes  # two rows of each block tell enough

    def shrink(plane: NDArray[Any]) -> NDArray[Any]:
        return np.asarray(cv2.resize(plane, size, interpolation=cv2.INTER_AREA))

    if photo.curves is not None:
        linear, faintest = looked_up(shrink(codes), photo.curves), _faintest(photo, photo.curves)
        return Frame(linear, k * photo.period, faintest, photo.to_xyz[-1])
    linear = _mosaic_cells(photo, codes, lambda plane: shrink(np.ascontiguousarray(plane)).astype(np.float32))
    return Frame(linear, k * photo.period, to_xyz=photo.to_xyz[-1])


def _faintest(photo: Photograph, curves: NDArray[np.float32]) -> float:
    """The level of the sixth step of a rendered file; a raw file has no least level."""
    return float(curves[round(_FAINTEST_CODE * photo.code_step)].max()) if photo.kind == "rendered" else 0.0
