"""Samples from outlines drawn by hand, or from a file that may be of another picture, also of one series."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

from glowkin.base.errors import CannotMeasureError
from glowkin.samples.find import Found, found_from_outline
from glowkin.samples.follow import follow, pairs, similarity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array
    from glowkin.light.photo import Photograph

_LEAST_PX = 4.0
_CANVAS = 1000
_MORE = 1.3
"""What lies within a ring that crosses itself adds up to more than its corners' sum, whose parts cancel."""

_TELLING, _OFF = 2, 0.25
"""So many samples that glow tell how the camera moved, if they then lie on their outlines within this share
of an outline's radius, in the middle of them."""
_TURN, _ZOOM = np.deg2rad(15.0), 1.2
"""A camera that is put back turns and zooms no more (common practice, no source)."""


def laid(
    outlines: Sequence[Sequence[tuple[float, float]]], glowing: Sequence[Found]
) -> Sequence[Sequence[tuple[float, float]]]:
    """Outlines drawn on another photograph of a series, moved as the camera was: by the samples that glow.

    As they are where fewer than two are met with again, they do not agree, or nothing moved.
    """
    if len(outlines) < _TELLING or len(glowing) < _TELLING:
        return outlines
    drawn_there = [found_from_outline(np.array(outline, dtype=float)) for outline in outlines]
    there, here = (np.array([f.centre_px for f in each]) for each in (drawn_there, glowing))
    step = follow(there, here)
    met = np.flatnonzero(np.array(step.place) >= 0)
    if not step.moved or len(met) < _TELLING:
        return outlines
    place = np.array(step.place)[met]
    lay = similarity(there[place], here[met])
    off = np.linalg.norm(lay(there[place]) - here[met], axis=1)
    radius = np.sqrt([drawn_there[p].area_px / np.pi for p in place])
    turned = abs(lay.rotation) > _TURN or not 1.0 / _ZOOM < lay.scale < _ZOOM
    if turned or np.median(off / radius) > _OFF:
        return outlines
    return [pairs(lay(f.outline_px)) for f in drawn_there]


def drawn(outlines: Sequence[Sequence[tuple[float, float]]], photo: Photograph) -> list[Found]:
    """The user's outlines, in the order given, each at least half within the photograph."""
    return [_sample(number, np.array(outline), photo) for number, outline in enumerate(outlines, 1)]


def _sample(number: int, corners: Array, photo: Photograph) -> Found:
    width, height = photo.size_px
    beyond = bool((corners.min(axis=0) < -1.0).any() or (corners.max(axis=0) > (width, height)).any())
    found = found_from_outline(corners, at_edge=beyond)
    if beyond and 2.0 * _filled(corners, (0.0, 0.0, width, height)) < _filled(corners):
        raise CannotMeasureError(
            f"{photo.path}: outline {number} lies outside the photograph of {width} x {height} pixels, or "
            "half of it does; outlines are in its pixels, x right, y down"
        )
    x, y = np.ptp(corners, axis=0)
    if x * y < _LEAST_PX:
        raise CannotMeasureError(
            f"{photo.path}: outline {number} is only {x:.2g} x {y:.2g} pixels large; outlines are "
            "in pixels of the photograph, not in shares of it or in degrees"
        )
    if found.area_px < 1.0 or _crosses_itself(corners):
        raise CannotMeasureError(
            f"{photo.path}: outline {number} crosses itself; put its corners in order around the sample"
        )
    return found


def _crosses_itself(corners: Array) -> bool:
    """Whether far more lies within a ring (vertices x 2) than its corners' sum, even without its border.

    The ring is turned and stretched to be as wide as it is long, which keeps shares of areas, so that pixels
    are small beside a thin one too.
    """
    along = np.linalg.svd(corners - corners.mean(axis=0), full_matrices=False)[2]
    ring = corners @ along.T
    ring *= _CANVAS / np.maximum(np.ptp(ring, axis=0), 1e-9)
    around = np.roll(ring, -1, axis=0)
    border = float(np.linalg.norm(around - ring, axis=1).sum())
    area = abs(float((ring[:, 0] * around[:, 1] - around[:, 0] * ring[:, 1]).sum())) / 2.0
    return _filled(ring) - border > _MORE * area


def _filled(corners: Array, frame: tuple[float, float, float, float] | None = None) -> float:
    """Area within a ring (vertices x 2), where told only what lies in a frame of left, top, right, bottom."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    scale = _CANVAS / max(float((high - low).max()), 1e-9)
    mask = np.zeros((_CANVAS + 1, _CANVAS + 1), dtype=np.uint8)
    cv2.fillPoly(mask, [np.round((corners - low) * scale).astype(np.int32)], 1)
    if frame is not None:
        left, top, right, bottom = np.round((np.reshape(frame, (2, 2)) - low) * scale).astype(int).ravel()
        mask[: max(top, 0)] = mask[max(bottom, 0) :] = 0
        mask[:, : max(left, 0)] = mask[:, max(right, 0) :] = 0
    return float(np.count_nonzero(mask)) / scale**2
