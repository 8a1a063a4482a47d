"""How sharp a photograph is, from the edges of its samples and the grain within them.

The width of an edge is its step over its steepest slope: a lens out of focus widens edges all round, a
camera that moved only those across its path. Mist on glass leaves a core of each edge sharp and spreads the
rest over the glass, which shows as a skirt of light outside an edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from glowkin.light.linear import Window, linear_cells

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.noise import Noise
    from glowkin.light.photo import Photograph

_RAYS, _TOGETHER = 96, 4
_STEP = 0.5
_LEAST_RADIUS, _LEAST_RADIUS_PX = 7.0, 12.0
"""In cells and in pixels; the edges of smaller samples run into each other."""
_LEAST_CONTRAST, _SKIRT_CONTRAST = 6.0, 20.0
"""Noises of one averaged ray by which an edge must step to be read, and for its skirt to be."""


@dataclass(frozen=True)
class Edge:
    """The edge of one sample: ``widths_px`` of stretches of it, NaN where not read, and the ``directions``
    (radians) across which each is that wide. ``skirt``: light just outside the edge's own width, as a share
    of the step; NaN where not read. ``radius_px``: that of a disc of its area.
    """

    directions: Array
    widths_px: Array
    skirt: float
    radius_px: float

    @property
    def width_px(self) -> float:
        """Its typical width, NaN if none of it was read."""
        read = self.widths_px[np.isfinite(self.widths_px)]
        return float(np.median(read)) if read.size else float("nan")


def edges(photo: Photograph, outlines: Sequence[Array], noise: Noise) -> list[Edge]:
    """The edge of each outline (vertices x 2, pixels)."""
    return [_edge(photo, np.asarray(outline, dtype=float), noise) for outline in outlines]


def _edge(photo: Photograph, outline: Array, noise: Noise) -> Edge:
    cells = (outline + 0.5) / photo.period - 0.5
    radius = float(np.sqrt(cv2.contourArea(cells.astype(np.float32)) / np.pi))
    if radius < max(_LEAST_RADIUS, _LEAST_RADIUS_PX / photo.period):
        return Edge(np.zeros(0), np.zeros(0), float("nan"), radius * photo.period)
    points, normals = _resampled(cells)
    reach = 0.35 * radius + 6.0
    window = _window(photo, points, reach + 2)
    light = linear_cells(photo, window)
    inside = np.zeros(light.shape[:2], np.uint8)
    cv2.fillPoly(inside, [np.round(cells - (window.left, window.top)).astype(np.int32)], 1)
    level = cv2.mean(light, inside)[:3]
    channel = int(np.argmax(level))
    plane = np.ascontiguousarray(light[..., channel])
    profiles = _profiles(plane, points - (window.left, window.top), normals, (0.2 * radius, reach))
    grouped = profiles.reshape(-1, _TOGETHER, profiles.shape[1]).mean(axis=1)
    spread = float(np.sqrt(noise.variance(np.array(level))[channel] / _TOGETHER))
    read = np.array([_read(p, spread, 0.14 * radius) for p in grouped])
    across = normals.reshape(-1, _TOGETHER, 2).mean(axis=1)
    skirts = read[np.isfinite(read[:, 1]), 1]
    return Edge(
        directions=np.arctan2(across[:, 1], across[:, 0]),
        widths_px=read[:, 0] * photo.period,
        skirt=float(np.median(skirts)) if skirts.size else float("nan"),
        radius_px=radius * photo.period,
    )


def _resampled(corners: Array) -> tuple[Array, Array]:
    """Points evenly along a closed polygon (``_RAYS`` x 2) and the outward normals there."""
    closed = np.vstack([corners, corners[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = np.linspace(0.0, along[-1], _RAYS, endpoint=False)
    points = np.stack([np.interp(at, along, closed[:, i]) for i in (0, 1)], axis=1)
    tangent = np.roll(points, -3, axis=0) - np.roll(points, 3, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    outward = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
    if np.sum((points - points.mean(axis=0)) * outward) < 0:
        outward = -outward
    return points, outward


def _window(photo: Photograph, points: Array, margin: float) -> Window:
    width, height = photo.size_cells
    left, top = np.clip(np.floor(points.min(axis=0) - margin).astype(int), 0, (width - 2, height - 2))
    right, bottom = np.clip(np.ceil(points.max(axis=0) + margin).astype(int) + 1, 2, (width, height))
    return Window(int(left), int(top), int(right), int(bottom))


def _profiles(plane: NDArray[np.float32], points: Array, normals: Array, span: tuple[float, float]) -> Array:
    """Brightness along each normal, ``span`` cells inside to outside (rays x steps); NaN off the frame."""
    t = np.arange(-span[0], span[1], _STEP)
    where = points[:, None, :] + normals[:, None, :] * t[None, :, None]
    x, y = (np.ascontiguousarray(where[..., i], dtype=np.float32) for i in (0, 1))
    out = cv2.remap(plane, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=np.nan)
    return np.asarray(out, dtype=float)


def _read(profile: Array, noise: float, beyond: float) -> tuple[float, float]:
    """Step over steepest slope of one profile, in cells, and the light ``beyond`` the edge as a share of the
    step; NaN where there is no clear fall.
    """
    nothing = float("nan"), float("nan")
    p = profile[np.isfinite(profile)]
    if p.size < 12 or p.size < 0.6 * profile.size:
        return nothing
    smooth = np.convolve(np.pad(p, 2, mode="edge"), (0.1, 0.25, 0.3, 0.25, 0.1), mode="valid")
    inside = float(np.median(smooth[: max(p.size // 4, 3)]))
    lowest = float(smooth.min())
    step = inside - lowest
    end = int(np.flatnonzero(smooth <= lowest + 0.01 * step)[-1])
    if end < 4 or step < _LEAST_CONTRAST * noise or step < 0.3 * inside:
        return nothing
    slopes = -np.diff(smooth[: end + 1]) / _STEP
    if slopes.max() <= 0:
        return nothing
    width = step / float(slopes.max())
    outside = int(np.argmax(slopes)) + round(max(beyond, 0.75 * width) / _STEP)
    far = float(np.median(smooth[-max(p.size // 6, 3) :]))
    readable = outside < end and step > _SKIRT_CONTRAST * noise
    skirt = (float(smooth[outside]) - far) / step if readable else float("nan")
    return width, skirt
