"""Pieces of a picture that may be samples: where they are, their shape, what surrounds them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array

Box = tuple[slice, slice]


@dataclass(frozen=True, eq=False)
class Piece:
    """The pixels of one candidate: a ``mask`` of 1 within its ``box`` of the picture."""

    box: Box
    mask: NDArray[np.uint8]

    @cached_property
    def area(self) -> int:
        """Pixels in it."""
        return int(np.count_nonzero(self.mask))

    @property
    def radius(self) -> float:
        """That of a disc of its area."""
        return float(np.sqrt(self.area / np.pi))

    @cached_property
    def contour(self) -> NDArray[np.int32]:
        """Its longest outer contour, n x 1 x 2, in pixels of the box."""
        contours, _ = cv2.findContours(self.mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        return np.asarray(max(contours, key=len))

    @cached_property
    def solidity(self) -> float:
        """Share of its convex hull that it fills; the hull runs through the middle of its outer pixels."""
        hull = cv2.convexHull(self.contour)
        return self.area / (cv2.contourArea(hull) + 0.5 * cv2.arcLength(hull, closed=True) + 1)

    @cached_property
    def depth(self) -> NDArray[np.float32]:
        """Distance of each pixel of the box to the piece's edge; outside 0. The frame's edge is no edge."""
        return np.asarray(cv2.distanceTransform(self.mask, cv2.DIST_L2, 5))

    @cached_property
    def sides(self) -> tuple[float, float]:
        """Long and short side of the smallest rectangle around it, pixels."""
        _, (a, b), _ = cv2.minAreaRect(self.contour)
        return max(a, b) + 1, min(a, b) + 1

    @property
    def corners(self) -> Array:
        """Its contour in pixels of the whole picture, n x 2."""
        return np.asarray(self.contour[:, 0] + (self.box[1].start, self.box[0].start), dtype=float)

    def touches(self, shape: tuple[int, ...]) -> int:
        """How many sides of a picture of this shape it touches."""
        rows, columns = np.nonzero(self.mask)
        top, left = rows.min() + self.box[0].start, columns.min() + self.box[1].start
        bottom, right = rows.max() + self.box[0].start, columns.max() + self.box[1].start
        return int(top == 0) + int(left == 0) + int(bottom == shape[0] - 1) + int(right == shape[1] - 1)

    def grown(self, reach: int, shape: tuple[int, ...]) -> Piece:
        """The same pixels in a box with this margin more, within a picture of this shape."""
        rows, columns = self.box
        box = (
            slice(max(rows.start - reach, 0), min(rows.stop + reach, shape[0])),
            slice(max(columns.start - reach, 0), min(columns.stop + reach, shape[1])),
        )
        mask = np.zeros((box[0].stop - box[0].start, box[1].stop - box[1].start), np.uint8)
        top, left = rows.start - box[0].start, columns.start - box[1].start
        mask[top : top + self.mask.shape[0], left : left + self.mask.shape[1]] = self.mask
        return Piece(box, mask)


def largest_part(mask: NDArray[np.uint8], box: Box, connectivity: int = 4) -> Piece:
    """The largest connected part of a mask, its box drawn tight and its holes filled."""
    part = max(parts(mask, box, connectivity), key=lambda p: p.area, default=Piece(box, mask))
    if part.area:
        cv2.drawContours(part.mask, [part.contour], -1, 1, cv2.FILLED)
    return Piece(part.box, part.mask)


def parts(mask: NDArray[np.uint8], box: Box, connectivity: int = 4, least: int = 1) -> list[Piece]:
    """The connected parts of a mask of at least so many pixels, each in its own tight box."""
    count, label, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=connectivity)
    found = []
    for i in range(1, count):
        left, top, width, height, area = (int(v) for v in stats[i])
        if area >= least:
            own = (label[top : top + height, left : left + width] == i).astype(np.uint8)
            row, column = box[0].start + top, box[1].start + left
            found.append(Piece((slice(row, row + height), slice(column, column + width)), own))
    return found


def typical(values: NDArray[np.float32]) -> float:
    """Median of some two thousand of the values, which tells enough."""
    return float(np.median(values[:: max(1, len(values) // 2000)]))


def disc(radius: float) -> NDArray[np.uint8]:
    """A round structuring element."""
    size = 2 * int(np.ceil(radius)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)))
