"""Samples that touch are told apart: by how bright they are, by colour, and by the waist between them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

from glowkin.samples.levels import LEAST_AREA
from glowkin.samples.pieces import Piece, disc, largest_part, parts, typical

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.samples.levels import Levels, Patch

_MOST_PEELS = 12
_GAP = 3
_WIDER = 1.25
_STOUT = 0.25
_WHOLE = 0.9
_FADES = 2.0
_CONVEX = 0.93
_WAIST = 0.72
_LEAST_SHARE = 0.1
_COLOURS_APART, _COLOUR_SPREADS = 0.04, 3.0
_COMPACT, _MOSTLY = 0.8, 0.7


def own_pixels(levels: Levels, patch: Patch) -> Piece:
    """The sample's own pixels: above half of its level over its surroundings.

    So glass rims, menisci and halo stay out, and the outline is the same however bright the sample is.
    """
    box, label = levels.around(patch, 4 + int(0.25 * np.sqrt(patch.area)))
    bright, inside, around = levels.picture[box], label == patch.label, label == 0
    base = typical(bright[around]) if around.any() else 0.0
    level = base + 0.5 * (typical(bright[inside]) - base)
    return largest_part(((bright > level) & inside).view(np.uint8), box)


def peeled(levels: Levels, patch: Patch, wider: Patch | None) -> list[Piece]:
    """The sample of a patch, and those that lie against it within it or a wider patch with an edge."""
    first = own_pixels(levels, patch)
    wider = wider or patch
    if wider.area < _WIDER * first.area:
        return [first]
    box, label = levels.around(wider, 0)
    rest, pieces = (label == wider.label).astype(np.uint8), [first]
    least = max(LEAST_AREA, int(_LEAST_SHARE * first.area))
    for _ in range(_MOST_PEELS):
        rest[_spread(pieces[-1], box, rest.shape) == 1] = 0
        stout = cv2.morphologyEx(rest, cv2.MORPH_OPEN, disc(max(2.0, _STOUT * first.radius)))
        blobs = [blob for blob in parts(stout, box, least=least) if not _is_ring(blob)]
        if not blobs:
            break
        pieces.append(max(blobs, key=lambda p: p.area))
    return pieces


def _is_ring(piece: Piece) -> bool:
    """Whether a piece runs around something, as halo and glass do."""
    return piece.area < _WHOLE * cv2.contourArea(piece.contour)


def fades(piece: Piece, picture: NDArray[np.float32]) -> bool:
    """Whether brightness falls away within a piece, as in a halo."""
    low, high = np.quantile(picture[piece.box][piece.mask == 1], (0.1, 0.9))
    return bool(high > _FADES * low)


def _spread(piece: Piece, box: tuple[slice, slice], shape: tuple[int, ...]) -> NDArray[np.uint8]:
    """A piece and a gap around it, as a mask of 1 in another box."""
    mask = np.zeros(shape, np.uint8)
    top, left = piece.box[0].start - box[0].start, piece.box[1].start - box[1].start
    height, width = piece.mask.shape
    y0, x0 = max(top, 0), max(left, 0)
    y1, x1 = min(top + height, shape[0]), min(left + width, shape[1])
    mask[y0:y1, x0:x1] = piece.mask[y0 - top : y1 - top, x0 - left : x1 - left]
    return np.asarray(cv2.dilate(mask, disc(_GAP)))


def told_apart(piece: Piece, linear: NDArray[np.float32]) -> list[Piece]:
    """A piece as it is, or the touching samples it is made of."""
    if piece.solidity > _CONVEX or piece.area < 4 * LEAST_AREA:
        return [piece]
    halves = _by_colour(piece, linear[piece.box]) or _by_waist(piece)
    if not halves or max(half.area for half in halves) > _WHOLE * piece.area:
        return [piece]
    return [part for half in halves for part in told_apart(half, linear)]


def _by_colour(piece: Piece, linear: NDArray[np.float32]) -> list[Piece]:
    """Parts of two different colours, each compact and together most of the piece."""
    inner = (piece.depth > min(2.0, 0.4 * float(piece.depth.max()))).astype(np.uint8)
    light = np.clip(linear[inner == 1], 0.0, None)
    chroma = light[:, :2] / np.maximum(light.sum(axis=1, keepdims=True), 1e-9)
    if len(chroma) < 2 * LEAST_AREA:
        return []
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 1e-4)
    cv2.setRNGSeed(0)
    _, which, centres = cv2.kmeans(chroma.astype(np.float32), 2, None, criteria, 3, cv2.KMEANS_PP_CENTERS)
    which = which[:, 0]
    spread = max(float(np.std(chroma[which == k] - centres[k], axis=0).max()) for k in (0, 1))
    if np.linalg.norm(centres[0] - centres[1]) < max(_COLOURS_APART, _COLOUR_SPREADS * spread):
        return []
    return _regrown(piece, inner, which)


def _regrown(piece: Piece, inner: NDArray[np.uint8], which: NDArray[np.int32]) -> list[Piece]:
    """Every part of either kind of pixel, if these are compact and most of the piece."""
    seeds = []
    for kind in (0, 1):
        mask = np.zeros_like(inner)
        mask[inner == 1] = which == kind
        mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc(1))
        seeds += parts(mask, piece.box, least=max(LEAST_AREA, int(_LEAST_SHARE * piece.area)))
    solid = [seed for seed in seeds if seed.solidity > _COMPACT and not _is_ring(seed)]
    if len(solid) < 2 or sum(seed.area for seed in solid) < _MOSTLY * np.count_nonzero(inner):
        return []
    return _shared_out(piece, solid)


def _shared_out(piece: Piece, seeds: list[Piece]) -> list[Piece]:
    """Each pixel of the piece to the nearest seed."""
    distance = []
    for seed in seeds:
        away = np.ones(piece.mask.shape, np.uint8)
        top, left = seed.box[0].start - piece.box[0].start, seed.box[1].start - piece.box[1].start
        away[top : top + seed.mask.shape[0], left : left + seed.mask.shape[1]] -= seed.mask
        distance.append(cv2.distanceTransform(away, cv2.DIST_L2, 5))
    nearest = np.argmin(distance, axis=0)
    own = [((nearest == k) & (piece.mask == 1)).astype(np.uint8) for k in range(len(seeds))]
    return [largest_part(mask, piece.box) for mask in own]


def _by_waist(piece: Piece) -> list[Piece]:
    """Parts that hang together by a waist much narrower than each of them."""
    depth, deepest = piece.depth, float(piece.depth.max())
    for level in np.arange(1.0, _WAIST * deepest, 0.5):
        cores = parts((depth > level).astype(np.uint8), piece.box, least=4)
        peaks = [float(depth[_within(core, piece)][core.mask == 1].max()) for core in cores]
        least = max(level / _WAIST, _STOUT * deepest)
        cores = [core for core, peak in zip(cores, peaks, strict=True) if peak >= least]
        if len(cores) > 1:
            return _shared_out(piece, cores)
    return []


def _within(part: Piece, whole: Piece) -> tuple[slice, slice]:
    rows, columns = (
        slice(s.start - o.start, s.stop - o.start) for s, o in zip(part.box, whole.box, strict=True)
    )
    return rows, columns
