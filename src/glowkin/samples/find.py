"""Finding the samples: what stands out from its surroundings at whatever brightness, edges and halo cut away.

The picture is cut at many levels from bright to dark. A glowing sample has a steep edge: over a wide
range of levels the connected patch around it hardly grows. A halo has none: its patch grows with every
level. So each patch is followed down the levels, and kept where its area is most stable (maximally
stable extremal regions, Matas et al., Image Vis. Comput. 22, 761, 2004), on a logarithmic scale so that a
dim sample counts as much as one many times brighter.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.linear import Frame

_STEP = 1.45
_SPAN = 2
_LEAST_AREA = 20
_LARGEST_SHARE = 0.6
_STEADY = 0.55
_CONTRAST = 1.7
_NOISES = 6.0
_SOLID = 0.75


@dataclass(frozen=True)
class Found:
    """One sample: ``outline_px`` (vertices x 2), centre, area, and whether it touches the frame."""

    outline_px: Array
    centre_px: tuple[float, float]
    area_px: float
    at_edge: bool = False


@dataclass(eq=False)
class _Patch:
    """A connected patch at one level, ``seed`` one of its pixels, and those of the level above within it."""

    level: int
    label: int
    area: int
    box: tuple[int, int, int, int]
    seed: tuple[int, int]
    children: list[_Patch] = field(default_factory=list)
    growth: float = np.inf


def find_samples(frame: Frame) -> list[Found]:
    """The samples of a reduced photograph, left to right then top to bottom."""
    bright, noise = _brightness(frame.linear)
    labels, roots = _tree(bright, max(_NOISES * noise, frame.faintest))
    chosen = [patch for root in roots for patch in _choose(root, labels, bright)]
    found = [_outline(_half_level(labels[p.level], p, bright), frame.scale_px) for p in chosen]
    return in_reading_order([f for f in found if f is not None])


def _brightness(linear: NDArray[np.float32]) -> tuple[NDArray[np.float32], float]:
    """The brightest channel above the scene's dark floor, lightly smoothed, and the floor's own spread."""
    smooth = cv2.GaussianBlur(linear, (0, 0), 0.8)
    few = smooth[::5, ::5].reshape(-1, 3)
    floor = np.quantile(few, 0.25, axis=0)
    red, green, blue = cv2.split(smooth - floor.astype(np.float32))
    excess = np.asarray(cv2.max(cv2.max(red, green), blue))
    middle, high = np.quantile(excess[::5, ::5], (0.25, 0.45))
    return excess, max(float(high - middle), 2e-5)


def _tree(bright: NDArray[np.float32], lowest: float) -> tuple[list[NDArray[np.int32]], list[_Patch]]:
    """The labelled picture at each level, bright to dark, and the patches of the lowest level."""
    labels: list[NDArray[np.int32]] = []
    chains: list[list[_Patch]] = []
    level = float(np.quantile(bright[::2, ::2], 0.9995)) / _STEP
    while level > lowest and len(labels) < 48:
        mask = (bright > level).view(np.uint8)
        _, label = cv2.connectedComponents(mask, connectivity=8)
        here = _patches(mask, label, len(labels))
        by_label = {patch.label: patch for patch in here}
        for patch in chains[-1] if chains else []:
            by_label[int(label[patch.seed])].children.append(patch)
        labels.append(label)
        chains.append(here)
        level /= _STEP
    _measure_growth(chains)
    return labels, chains[-1] if chains else []


def _patches(mask: NDArray[np.uint8], label: NDArray[np.int32], level: int) -> list[_Patch]:
    """The patches of one level that are large enough, from their outer contours (holes count as filled)."""
    contours, hierarchy = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    found = []
    for contour, (_, _, _, inside_of) in zip(contours, hierarchy[0] if contours else (), strict=True):
        if inside_of >= 0 or len(contour) < 4:
            continue
        area = int(cv2.contourArea(contour) + 0.5 * cv2.arcLength(contour, closed=True) + 1)
        if area >= _LEAST_AREA:
            x, y = (int(v) for v in contour[0, 0])
            found.append(_Patch(level, int(label[y, x]), area, cv2.boundingRect(contour), (y, x)))
    return found


def _measure_growth(chains: list[list[_Patch]]) -> None:
    """How much each patch grows, in natural logarithm of area, over the next few levels down."""
    area_below: dict[int, list[int]] = {}
    for here in reversed(chains):
        for patch in here:
            below = area_below.get(id(patch), [])
            if len(below) >= _SPAN:
                patch.growth = float(np.log(below[_SPAN - 1] / patch.area))
            for child in patch.children:
                area_below[id(child)] = [patch.area, *below[: _SPAN - 1]]


def _choose(patch: _Patch, labels: list[NDArray[np.int32]], bright: NDArray[np.float32]) -> list[_Patch]:
    """The samples within a patch: those of two or more branches, else the steadiest good one of the chain."""
    chain = [patch]
    while len(chain[-1].children) == 1:
        chain.append(chain[-1].children[0])
    below = [c for child in chain[-1].children for c in _choose(child, labels, bright)]
    if len(below) > 1:
        return below
    for candidate in sorted([*chain, *below], key=lambda p: p.growth):
        if candidate in below or _is_sample(candidate, labels, bright):
            return [candidate]
    return []


def _is_sample(patch: _Patch, labels: list[NDArray[np.int32]], bright: NDArray[np.float32]) -> bool:
    """Steady over the levels, compact, not the whole frame, and brighter than a ring around it."""
    if patch.growth > _STEADY or patch.area > _LARGEST_SHARE * bright.size:
        return False
    left, top, width, height = patch.box
    reach = 3 + int(0.25 * np.sqrt(patch.area))
    box = np.s_[max(top - reach, 0) : top + height + reach, max(left - reach, 0) : left + width + reach]
    inside = (labels[patch.level][box] == patch.label).astype(np.uint8)
    ring = cv2.dilate(inside, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)) - inside
    ring &= (labels[patch.level][box] == 0).astype(np.uint8)
    if not ring.any() or not _compact(inside):
        return False
    return bool(np.median(bright[box][inside == 1]) > _CONTRAST * np.median(bright[box][ring == 1]))


def _compact(inside: NDArray[np.uint8]) -> bool:
    """Whether a patch fills most of its convex hull."""
    contours, _ = cv2.findContours(inside, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    edge = max(contours, key=len)
    return bool(np.count_nonzero(inside) >= _SOLID * cv2.contourArea(cv2.convexHull(edge)))


def _half_level(label: NDArray[np.int32], patch: _Patch, bright: NDArray[np.float32]) -> NDArray[np.uint8]:
    """The sample's own pixels, 1 in the whole frame's shape: above half of its level over its surroundings.

    So glass rims, menisci and halo stay out, and the outline is the same however bright the sample is.
    """
    left, top, width, height = patch.box
    reach = 4 + int(0.25 * np.sqrt(patch.area))
    box = np.s_[max(top - reach, 0) : top + height + reach, max(left - reach, 0) : left + width + reach]
    inside = label[box] == patch.label
    around = bright[box][label[box] == 0]
    base = float(np.median(around)) if around.size else 0.0
    level = base + 0.5 * (float(np.median(bright[box][inside])) - base)
    _, pieces = cv2.connectedComponents(((bright[box] > level) & inside).view(np.uint8), connectivity=4)
    counts = np.bincount(pieces.ravel())
    counts[0] = 0
    own = np.zeros(label.shape, np.uint8)
    own[box] = pieces == int(np.argmax(counts))
    return own


def _outline(own: NDArray[np.uint8], scale: int) -> Found | None:
    """A sample's pixels cut back from their edge, as a polygon in pixels of the photograph."""
    from skimage.measure import find_contours

    left, top, width, height = cv2.boundingRect(own)
    inside = own[top : top + height, left : left + width]
    depth = cv2.distanceTransform(cv2.copyMakeBorder(inside, 2, 2, 2, 2, cv2.BORDER_CONSTANT), cv2.DIST_L2, 5)
    depth = cv2.GaussianBlur(depth, (0, 0), 0.7)
    radius = float(np.sqrt(np.count_nonzero(inside) / np.pi))
    contours = find_contours(depth, min(1.0 + 0.06 * radius, 0.6 * float(depth.max())))
    if not contours:
        return None
    fine = max(contours, key=len)[:-1].astype(np.float32)
    rows_columns = cv2.approxPolyDP(fine[:, None], 0.1, closed=True)[:, 0].astype(float)
    corners = (rows_columns[:, ::-1] - 2 + (left, top) + 0.5) * scale - 0.5
    at_edge = left == 0 or top == 0 or left + width >= own.shape[1] or top + height >= own.shape[0]
    return found_from_outline(corners, at_edge=at_edge)


def found_from_outline(corners: Array, *, at_edge: bool = False) -> Found:
    """A sample from the corners of its outline (vertices x 2, pixels)."""
    x, y = corners[:, 0], corners[:, 1]
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    cross = x * y1 - x1 * y
    area = float(cross.sum() / 2)
    if area == 0:
        return Found(corners, (float(x.mean()), float(y.mean())), 0.0, at_edge)
    centre = float(((x + x1) * cross).sum() / (6 * area)), float(((y + y1) * cross).sum() / (6 * area))
    return Found(corners, centre, abs(area), at_edge)


def in_reading_order(found: list[Found]) -> list[Found]:
    """Left to right, then top to bottom: rows are samples whose heights overlap by half."""
    rows: list[list[Found]] = []
    for sample in sorted(found, key=lambda f: f.centre_px[1]):
        if rows and _same_row(rows[-1], sample):
            rows[-1].append(sample)
        else:
            rows.append([sample])
    return [sample for row in rows for sample in sorted(row, key=lambda f: f.centre_px[0])]


def _same_row(row: list[Found], sample: Found) -> bool:
    """Whether the sample's centre lies within half a typical height of the row's mean centre."""
    heights = [float(np.ptp(f.outline_px[:, 1])) for f in (*row, sample)]
    centre = float(np.mean([f.centre_px[1] for f in row]))
    return abs(sample.centre_px[1] - centre) < 0.6 * float(np.median(heights))
