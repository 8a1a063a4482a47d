"""Stray light on the samples: its colour from their surroundings, its amount left open.

Three parts. Dark surroundings far from all samples tell the colour of what the lamp and the room throw on
everything (lamp violet, room light); powder sends back several times more of it than black cloth does.
The ring just outside a sample shows, above that, light scattered from brighter neighbours (and from the
sample itself, which does not change its colour). And what neighbours throw on the powder itself shows
nowhere else: how much it may be is reckoned from their brightness, size and distance, and nothing of it is
taken off. Of the first two the likely amount is taken off, and as much again is carried as error along the
colour, each sample's own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.linear import Frame
    from glowkin.light.region import Signals

_LAMP, _LAMP_SD = 2.0, 2.0
"""Lamp and room light on a sample in multiples of the dark surroundings' (common practice, no source)."""
_BLANK, _BLANK_SD = 1.0, 0.6
"""Lamp light on a sample in multiples of a blank's in the same place: powders differ, and glass sends back
less than powder (common practice, no source)."""
_ROOM_LEFT = {"raw": 0.02, "rendered": 0.1}
"""What a lamp-off frame may leave of the room's light."""
_CROSS_SD = 0.012
"""Light a neighbour may throw on a sample, as a share of its own, for distances of the root of its area:
powder facing powder sends on about a hundredth (common practice, no source)."""
_POWDER_OVER_CLOTH = 40.0
"""How much more of such light white powder sends back than the black ground around it, which so shows the
most there can be (common practice, no source)."""
_SCATTER, _SCATTER_SD = 1.0, 1.0
"""Scattered light on a sample in multiples of the ring around it (common practice, no source)."""


KINDS = ("lamp", "room", "scattered", "thrown")
"""Light of the lamp itself, of the room, scattered in the lens, thrown on the sample by neighbours."""


@dataclass(frozen=True)
class Stray:
    """Stray light expected on each of n samples.

    ``level`` (n x 3), and its error as ``loadings`` (n x 3 x 4), a column for each of ``KINDS``.
    """

    level: Array
    loadings: Array


def surroundings(frame: Frame, outlines: list[Array], glowing: Sequence[Array] = ()) -> Stray:
    """Stray light on each outline from what the reduced photograph shows around them.

    ``glowing`` are outlines of whatever else glows: around an outline drawn within a sample lies the sample,
    and its own light is no stray light on it.
    """
    samples = frame.mask([*outlines, *glowing])
    dark = _far_level(frame, samples)
    apart = _distance_to(samples)
    rings = np.array([_ring_level(frame, apart, outline) for outline in outlines]).reshape(-1, 3)
    lamp = np.broadcast_to(dark, rings.shape)
    scattered = np.clip(np.nan_to_num(rings) - dark, 0.0, None)
    thrown = _CROSS_SD * _neighbours_light(frame, outlines, [*glowing] or outlines)
    seen = np.where(np.isfinite(rings), _POWDER_OVER_CLOTH * np.abs(rings), np.inf)
    room = np.zeros_like(rings)
    loadings = np.stack([_LAMP_SD * lamp, room, _SCATTER_SD * scattered, np.minimum(thrown, seen)], axis=2)
    return Stray(_LAMP * lamp + _SCATTER * scattered, loadings)


def with_frames(stray: Stray, blank: Array | None, room: Array, kind: str) -> Stray:
    """The same with what frames taken beside the photograph tell.

    ``blank`` (n x 3, or None) is the lamp's light where each sample stands and takes the place of the
    surroundings' guess; of the ``room`` light (n x 3) that was taken off, a share may be left.
    """
    level, loadings = stray.level, stray.loadings.copy()
    if blank is not None:
        guess = loadings[:, :, 0] * (_LAMP / _LAMP_SD)
        known = np.isfinite(blank)
        level = level + np.where(known, _BLANK * blank - guess, 0.0)
        loadings[:, :, 0] = np.where(known, _BLANK_SD * blank, loadings[:, :, 0])
    loadings[:, :, 1] += _ROOM_LEFT[kind] * room
    return Stray(level, loadings)


def _far_level(frame: Frame, samples: NDArray[np.uint8]) -> Array:
    """Mean of the middle half, by brightness, of what lies well away from all samples; never below zero."""
    near = cv2.dilate(samples, np.ones((31, 31), np.uint8))
    away = frame.linear[::2, ::2][near[::2, ::2] == 0]
    if len(away) < 100:
        away = frame.linear.reshape(-1, 3)
    total = away.sum(axis=1)
    low, high = np.quantile(total, (0.25, 0.75))
    middle = away[(total >= low) & (total <= high)].mean(axis=0, dtype=float)
    return np.asarray(np.clip(middle, 0.0, None), dtype=float)


def _ring_level(frame: Frame, apart: NDArray[np.float32], outline: Array) -> Array:
    """Median of a ring around one sample, clear of all edges; NaN if there is no such ring."""
    gap = 2 + int(0.25 * np.ptp(outline, axis=0).max() / frame.scale_px)
    box, own = frame.patch(outline, margin=2 * gap)
    ring = (apart[box] > gap) & (_distance_to(own) <= 2 * gap)
    if not ring.any():
        return np.full(3, np.nan)
    return np.asarray(np.median(frame.linear[box][ring], axis=0), dtype=float)


def _neighbours_light(frame: Frame, outlines: list[Array], sources: list[Array]) -> Array:
    """For each outline (n x 3) the light of the sources that are not itself, falling as distance squared."""
    patches = [frame.patch(s) for s in sources]
    light = np.array([cv2.mean(frame.linear[box], mask)[:3] for box, mask in patches]).reshape(-1, 3)
    moments = [cv2.moments(np.asarray(s, dtype=np.float32)) for s in sources]
    area = np.array([m["m00"] for m in moments])
    centre = np.array([(m["m10"] / (m["m00"] or 1), m["m01"] / (m["m00"] or 1)) for m in moments])
    rows = []
    for outline in outlines:
        own = cv2.moments(np.asarray(outline, dtype=np.float32))
        here = np.array([own["m10"], own["m01"]]) / (own["m00"] or 1)
        squared = np.square(centre.reshape(-1, 2) - here).sum(axis=1)
        share = np.where(squared > area / np.pi, area / np.maximum(squared, 1e-9), 0.0)
        rows.append(share @ np.clip(light, 0.0, None))
    return np.array(rows).reshape(-1, 3)


def _distance_to(mask: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Distance of every pixel to the mask, in pixels of the frame; far where the mask is empty."""
    if not mask.any():
        return np.full(mask.shape, np.inf, dtype=np.float32)
    return np.asarray(cv2.distanceTransform(1 - mask, cv2.DIST_L2, 3))


def remove(seen: Signals, stray: Stray) -> Signals:
    """The signals without the stray light expected on them; what that is uncertain by stays apart."""
    return replace(seen, mean=seen.mean - stray.level)
