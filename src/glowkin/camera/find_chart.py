"""Finding the 24-patch chart in a photograph: patches as even quadrilaterals, and the lattice they lie on."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

import cv2
import numpy as np

from glowkin.camera.chart_file import PATCH_RGB

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.linear import Frame

COLUMNS, ROWS = 6, 4
_FEWEST = 10
"""Patches that must be seen before a lattice is believed."""
_ALIKE = 0.8
"""Correlation of the patches' colours with the chart's, below which it is none."""
_SHAPE, _NOT_ROUND = 0.75, 0.82
"""Area of a patch over that of its smallest rectangle, at least; and where round ones (0.785) are none."""
_ONE_SIZE = 0.35
"""Logarithm of sides of one size, at most."""


def find_corners(frame: Frame) -> Array | None:
    """Outer corners (4 x 2, pixels of the photograph) of the chart's cells, or None.

    The first patch's (dark skin) corner first, then along the first row, clockwise.
    """
    picture = _picture(frame)
    best: tuple[float, Array] | None = None
    for centres, side in _candidates(np.clip(picture, 0.0, 1.2)):
        lattice = _lattice(centres, side)
        for corners in [] if lattice is None else _orientations(lattice):
            likeness = _likeness(picture, corners)
            if best is None or likeness > best[0]:
                best = likeness, corners
    if best is None or best[0] < _ALIKE:
        return None
    return np.asarray((best[1] + 0.5) * frame.scale_px - 0.5)


def shows_chart(frame: Frame, outlines: Sequence[Array]) -> bool:
    """Whether outlines of samples (vertices x 2, pixels) are patches of the chart: for little time.

    Fewer than ``_FEWEST`` that are square and of one size cost nothing; ``find_corners`` would see more.
    """
    quads = np.array([q for q in map(_square, outlines) if q is not None]).reshape(-1, 3)
    alike = quads[np.abs(np.log(quads[:, 2] / np.median(quads[:, 2]))) < _ONE_SIZE] if len(quads) else quads
    if len(alike) < _FEWEST:
        return False
    centres = (alike[:, :2] + 0.5) / frame.scale_px - 0.5
    lattice = _lattice(centres, float(np.median(alike[:, 2])) / frame.scale_px)
    if lattice is None:
        return False
    picture = _picture(frame)
    return any(_likeness(picture, corners) >= _ALIKE for corners in _orientations(lattice))


def _square(outline: Array) -> tuple[float, float, float] | None:
    quad = _quad(np.asarray(outline, dtype=np.float32))
    if quad is None:
        return None
    (_, _), (w, h), _ = cv2.minAreaRect(np.asarray(outline, dtype=np.float32))
    return quad if quad[2] ** 2 > _NOT_ROUND * w * h else None


def _picture(frame: Frame) -> NDArray[np.float32]:
    top = max(float(np.quantile(frame.linear, 0.995)), 1e-9)
    return np.asarray(np.cbrt(np.clip(frame.linear, 0.0, None) / top))


def _candidates(picture: NDArray[np.float32]) -> Iterator[tuple[Array, float]]:
    """Centres (n x 2) of even quadrilaterals of one size, and that size, by several thresholds."""
    codes = (255 * np.clip(picture / 1.2, 0, 1)).astype(np.uint8)
    views = [codes[..., 0], codes[..., 1], codes[..., 2], cv2.cvtColor(codes, cv2.COLOR_RGB2GRAY)]
    spread = codes.max(axis=2) - codes.min(axis=2)
    found: list[tuple[float, float, float]] = []
    for view, block, offset in product((*views, spread), (21, 41, 81), (-6, -2, 2)):
        mask = cv2.adaptiveThreshold(view, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, block, offset)
        for one in (mask, 255 - mask):
            clean = cv2.morphologyEx(one, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
            contours, _ = cv2.findContours(clean, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
            found += [quad for quad in map(_quad, contours) if quad is not None]
    quads = _distinct(np.array(found).reshape(-1, 3))
    for size in np.unique(np.round(np.log(quads[:, 2]) * 4) / 4) if len(quads) else ():
        near = quads[np.abs(np.log(quads[:, 2]) - size) < _ONE_SIZE]
        if len(near) >= _FEWEST:
            yield near[:, :2], float(np.median(near[:, 2]))


def _quad(contour: NDArray[np.int32]) -> tuple[float, float, float] | None:
    """Centre and side of a contour that is a compact, four-sided patch."""
    area = cv2.contourArea(contour)
    if area < 40.0:
        return None
    (x, y), (w, h), _ = cv2.minAreaRect(contour)
    if min(w, h) < 0.55 * max(w, h) or area < _SHAPE * w * h:
        return None
    return float(x), float(y), float(np.sqrt(area))


def _distinct(quads: Array) -> Array:
    """One of several that lie on each other, the largest first."""
    kept: list[Array] = []
    for quad in quads[np.argsort(-quads[:, 2])]:
        if all(
            np.hypot(*(quad[:2] - k[:2])) > 0.4 * quad[2] or abs(np.log(k[2] / quad[2])) > 0.7 for k in kept
        ):
            kept.append(quad)
    return np.array(kept).reshape(-1, 3)


def _lattice(centres: Array, side: float) -> Array | None:
    """The homography (3 x 3) from cells to picture of the 6 x 4 lattice that most centres lie on."""
    best: tuple[int, Array] | None = None
    for at in range(len(centres)):
        for step in _steps(centres, at, side):
            cells = np.rint((centres - centres[at]) @ np.linalg.inv(step)).astype(int)
            fitted = _grown(centres, cells, at)
            if fitted is not None and (best is None or fitted[0] > best[0]):
                best = fitted
    return None if best is None or best[0] < _FEWEST else best[1]


def _steps(centres: Array, at: int, side: float) -> Iterator[Array]:
    """Pairs of steps (2 x 2) from one centre to neighbours at about right angles."""
    away = centres - centres[at]
    length = np.hypot(*away.T)
    near = away[(length > 0.9 * side) & (length < 1.9 * side)]
    for a, b in product(near, near):
        turn = (a[0] * b[1] - a[1] * b[0]) / (np.hypot(*a) * np.hypot(*b))
        if turn > 0.8 and 0.7 < np.hypot(*a) / np.hypot(*b) < 1.4:
            yield np.stack([a, b])


def _grown(centres: Array, cells: NDArray[np.int_], at: int) -> tuple[int, Array] | None:
    """Inliers and homography of a 6 x 4 window of cells, found from a local guess of the cells' numbers."""
    H = None
    for reach in (1.5, 3.0, 6.0):
        near = np.abs(cells - cells[at]).max(axis=1) <= reach
        if np.count_nonzero(near) < 4 or len({tuple(c) for c in cells[near]}) < 4:
            return None
        H, _ = cv2.findHomography(cells[near].astype(float), centres[near], cv2.RANSAC, 3.0)
        if H is None:
            return None
        exact = _apply(np.linalg.pinv(H), centres)
        cells = np.rint(exact).astype(int)
        sits = np.abs(exact - cells).max(axis=1) < 0.2
        cells = np.where(sits[:, None], cells, 10_000)
    seen = {tuple(c) for c in cells if abs(c[0]) < 50}
    window, count = _window(seen)
    if H is None or window is None:
        return None
    shift = np.array([[1, 0, window[0] - 0.5], [0, 1, window[1] - 0.5], [0, 0, 1.0]])
    if window[2]:  # the chart stands upright in these cells
        shift = shift @ np.array([[0, 1, 0], [1, 0, 0], [0, 0, 1.0]])
    return count, np.asarray(H @ shift)


def _window(seen: set[tuple[int, ...]]) -> tuple[tuple[int, int, bool] | None, int]:
    """Where a window of 6 x 4 or 4 x 6 cells holds most of the cells seen."""
    best, most = None, 0
    for (x, y), tall in product(seen, (False, True)):
        w, h = (ROWS, COLUMNS) if tall else (COLUMNS, ROWS)
        for left, top in product(range(x - w + 1, x + 1), range(y - h + 1, y + 1)):
            count = sum(left <= cx < left + w and top <= cy < top + h for cx, cy in seen)
            if count > most:
                best, most = (left, top, tall), count
    return best, most


def _orientations(H: Array) -> Iterator[Array]:
    """The four corners in the orders that a chart may stand in, clockwise in the picture."""
    corners = _apply(H, np.array([(0, 0), (COLUMNS, 0), (COLUMNS, ROWS), (0, ROWS)], dtype=float))
    edge = np.roll(corners, -1, axis=0) - corners
    if edge[0, 0] * edge[1, 1] - edge[0, 1] * edge[1, 0] < 0:
        corners = corners[[1, 0, 3, 2]]
    yield corners
    yield np.roll(corners, 2, axis=0)


def _likeness(picture: NDArray[np.float32], corners: Array) -> float:
    """Correlation of the patches' colours with the chart's, each channel in its own units."""
    grid = np.array([(0, 0), (COLUMNS, 0), (COLUMNS, ROWS), (0, ROWS)], dtype=np.float32)
    H = cv2.getPerspectiveTransform(grid, corners.astype(np.float32))
    at = _apply(H, np.array([(c + 0.5, r + 0.5) for r in range(ROWS) for c in range(COLUMNS)]))
    height, width = picture.shape[:2]
    if at.min() < 0 or (at > (width - 1, height - 1)).any():
        return 0.0
    seen = cv2.remap(
        cv2.blur(picture, (3, 3)), at[None, :, 0].astype(np.float32), at[None, :, 1].astype(np.float32),
        cv2.INTER_LINEAR,
    )[0]  # fmt: skip
    likeness = [
        np.corrcoef(a, b)[0, 1] for a, b in zip(_opposed(seen).T, _opposed(np.cbrt(PATCH_RGB)).T, strict=True)
    ]
    return float(np.nanmin(likeness)) if np.isfinite(likeness).all() else 0.0


def _opposed(rgb: Array) -> Array:
    """Lightness, red against green, blue against both: white balance shifts them, and hardly turns them."""
    r, g, b = np.asarray(rgb, dtype=float).T
    return np.stack([r + g + b, r - g, b - (r + g) / 2], axis=1)


def _apply(H: Array, points: Array) -> Array:
    return np.asarray(cv2.perspectiveTransform(points[None].astype(float), H)[0], dtype=float)
