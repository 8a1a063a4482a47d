"""Finding the samples: what stands out from its ground by brightness or colour, and has an edge.

Rooms of this way: ``stands_out`` makes one picture of how much each place stands out, ``levels`` follows its
patches from bright to dark, ``apart`` takes touching samples apart and cuts glass and halo off, ``judge``
says what speaks against a candidate. Here they are wired, and outlines are drawn.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

from glowkin.base.records import Rejected
from glowkin.samples.apart import fades, peeled, told_apart
from glowkin.samples.judge import (
    against_filling,
    against_patch,
    against_pieces,
    against_speckle,
    fills,
    is_blue,
)
from glowkin.samples.levels import FINER, STEADY, Levels, Patch, cut
from glowkin.samples.pieces import Piece, largest_part
from glowkin.samples.stands_out import standing_out

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.linear import Frame

_WIDER, _WIDEST = 1.25, 8.0
_BRIGHT_ENOUGH = 0.02
_FILLS = 0.6
_BLURRED_PX = 2.6
_FINER = 3
_INSIDE = 0.9


@dataclass(frozen=True)
class Found:
    """One sample: ``outline_px`` (vertices x 2), centre, area, and whether it touches the frame."""

    outline_px: Array
    centre_px: tuple[float, float]
    area_px: float
    at_edge: bool = False


@dataclass(frozen=True)
class Finding:
    """The samples in reading order, and every other bright place with the reason why it is none."""

    samples: tuple[Found, ...]
    rejected: tuple[Rejected, ...] = ()


def find_samples(frame: Frame) -> Finding:
    """The samples of a reduced photograph, left to right then top to bottom."""
    pieces, rejected = _candidates(frame)
    if not pieces:
        pieces, rejected = _filling(frame, rejected)
    found = [_outline(piece, frame) for piece in pieces]
    return Finding(tuple(in_reading_order(found)), tuple(rejected))


@dataclass(frozen=True, eq=False)
class _Choice:
    """A patch to be a sample, or what speaks ``against`` it; ``wider``: a patch it may share with others;
    ``within``: a good one around it, its stead if it is no sample after all.
    """

    patch: Patch
    against: str | None = None
    wider: Patch | None = None
    within: Patch | None = None


def _candidates(frame: Frame, inside: NDArray[np.bool_] | None = None) -> tuple[list[Piece], list[Rejected]]:
    """Pieces that are samples, and what was rejected; a ground that glows is looked at once more within."""
    seen = standing_out(frame, inside)
    if seen.small is None:
        pieces, rejected = _judged(cut(seen.picture), frame, glows=False)
    else:
        pieces, rejected = _judged(cut(seen.picture, FINER), frame, glows=True)
        small, _ = _judged(cut(seen.small, FINER, _BLURRED_PX), frame, glows=True)
        reasons = [(p, against_speckle(p, frame)) for p in small]
        pieces = _besides(pieces, [p for p, reason in reasons if reason is None], frame)
        taken = _mask(pieces, frame)
        speckles = [(p, why) for p, why in reasons if why and not taken[p.box][p.mask == 1].any()]
        rejected += [_rejected(p, frame, why) for p, why in speckles]
    if inside is not None:
        return [p for p in pieces if inside[p.box][p.mask == 1].mean() > _INSIDE], rejected
    kept = []
    for piece in pieces:
        if fills(piece, frame):
            inner, more = _sample_or_ground(piece, frame)
            kept += inner
            rejected += more
        else:
            kept.append(piece)
    return kept, rejected


def _judged(levels: Levels, frame: Frame, *, glows: bool) -> tuple[list[Piece], list[Rejected]]:
    """What has an edge and nothing speaks against, touching samples told apart; and the rest with reasons."""
    choices = [choice for root in levels.roots for choice in _choose(root, levels, frame)]
    rejected = [_rejected(_mask_of(levels, c.patch), frame, c.against) for c in choices if c.against]
    chosen = [c for c in choices if c.against is None]
    kept, more = _unopposed(chosen, levels, frame, glows=glows)
    standing = {id(choice.within) for _, choice in kept}
    fallen = {id(c.within): c.within for c in chosen if c.within and id(c.within) not in standing}
    instead, _ = _unopposed([_Choice(patch) for patch in fallen.values()], levels, frame, glows=glows)
    pieces = [piece for piece, _ in kept]
    new = [p for p, _ in instead if not is_blue(p, frame)]
    return _besides(pieces, new, frame), rejected + more


def _besides(pieces: list[Piece], more: list[Piece], frame: Frame) -> list[Piece]:
    """The pieces, and those of the others that lie clear of them."""
    taken = _mask(pieces, frame)
    return pieces + [p for p in more if not taken[p.box][p.mask == 1].any()]


def _unopposed(
    chosen: list[_Choice], levels: Levels, frame: Frame, *, glows: bool
) -> tuple[list[tuple[Piece, _Choice]], list[Rejected]]:
    """The pieces nothing speaks against, with the choice they are from, and the others with the reason."""
    pieces = [(piece, choice) for choice in chosen for piece in _apart(levels, choice, frame)]
    reasons = against_pieces([piece for piece, _ in pieces], frame, glows=glows)
    kept = [p for p, reason in zip(pieces, reasons, strict=True) if reason is None]
    fallen = [(p, reason) for (p, _), reason in zip(pieces, reasons, strict=True) if reason is not None]
    return kept, [_rejected(p, frame, reason) for p, reason in fallen]


def _apart(levels: Levels, choice: _Choice, frame: Frame) -> list[Piece]:
    """The samples of a choice; what lay against the first of them must not fade away as its halo does."""
    first, *others = peeled(levels, choice.patch, choice.wider)
    against = [p for other in others for p in told_apart(other, frame.linear) if not fades(p, levels.picture)]
    return told_apart(first, frame.linear) + against


def _choose(patch: Patch, levels: Levels, frame: Frame) -> list[_Choice]:
    """The samples within a patch, or else what speaks against it.

    Those of two or more branches, unless the patch around them is more samples that touch; else the steadiest
    good one of the chain.
    """
    chain = [patch]
    while len(chain[-1].children) == 1:
        chain.append(chain[-1].children[0])
    below = [c for child in chain[-1].children for c in _choose(child, levels, frame)]
    chain = [p for p in chain if not p.faint]
    good = [c for c in below if c.against is None]
    if len(good) > 1:
        return _branches_or_all(chain, below, levels, frame)
    first: str | None = None
    for candidate in sorted([*chain, *(c.patch for c in good)], key=lambda p: p.growth):
        own = next((c for c in good if c.patch is candidate), None)
        reason = None if own else against_patch(levels, candidate)
        if reason is None:
            wider = _wider(candidate, chain) or (own.wider if own else None)
            return [_Choice(candidate, wider=wider, within=own.within if own else None)]
        first = first or reason
    return [*(_Choice(p, first) for p in chain[:1]), *below]


def _branches_or_all(chain: list[Patch], below: list[_Choice], levels: Levels, frame: Frame) -> list[_Choice]:
    """The branches, or the steadiest patch around them if that falls into more samples than they are."""
    steady = min(chain, key=lambda p: p.growth, default=None)
    if steady is None or against_patch(levels, steady) is not None:
        return below
    good = [c for c in below if c.against is None]
    if steady.area > _WIDER * sum(c.patch.area for c in good):
        whole = _Choice(steady, wider=steady)
        if len(_apart(levels, whole, frame)) > len(good):
            return [whole]
    return [replace(c, within=c.within or steady) for c in below]


def _mask(pieces: list[Piece], frame: Frame) -> NDArray[np.uint8]:
    mask = np.zeros(frame.linear.shape[:2], np.uint8)
    for piece in pieces:
        mask[piece.box] |= piece.mask
    return mask


def _sample_or_ground(piece: Piece, frame: Frame) -> tuple[list[Piece], list[Rejected]]:
    """A large piece itself, or, where it is a ground that glows, the samples within it."""
    reason = against_filling(piece, frame)
    if reason is None:
        return [piece], []
    inner, rejected = _candidates(*_only(piece, frame))
    return inner, [_rejected(piece, frame, reason), *rejected]


def _wider(patch: Patch, chain: list[Patch]) -> Patch | None:
    """The patch with the steadiest edge around one: a dimmer sample may touch this one."""
    around = [p for p in chain if p.growth <= STEADY and _WIDER < p.area / patch.area < _WIDEST]
    return min(around, key=lambda p: p.growth, default=None)


def _mask_of(levels: Levels, patch: Patch) -> Piece:
    box, label = levels.around(patch, 0)
    return Piece(box, (label == patch.label).astype(np.uint8))


def _rejected(piece: Piece, frame: Frame, reason: str) -> Rejected:
    """The contour of what is no sample, in pixels of the photograph."""
    contour = cv2.approxPolyDP(piece.contour, 0.7, closed=True)[:, 0].astype(float)
    corners = (contour + (piece.box[1].start, piece.box[0].start) + 0.5) * frame.scale_px - 0.5
    return Rejected(tuple((float(x), float(y)) for x, y in corners), reason)


def _only(piece: Piece, frame: Frame) -> tuple[Frame, NDArray[np.bool_]]:
    """The frame with everything but a piece at the piece's own middle level, and where that piece is."""
    inside = cv2.erode(_mask([piece], frame), np.ones((5, 5), np.uint8), borderValue=1) == 1
    linear = np.where(inside[..., None], frame.linear, np.median(frame.linear[inside], axis=0))
    return replace(frame, linear=linear), inside


def _filling(frame: Frame, rejected: list[Rejected]) -> tuple[list[Piece], list[Rejected]]:
    """One sample that fills the photograph, or nearly; if that is the ground's own glow, what is within."""
    bright = cv2.GaussianBlur(frame.linear, (0, 0), 0.8).max(axis=2)
    middle = float(np.median(bright))
    if middle < max(_BRIGHT_ENOUGH, frame.faintest):
        return [], rejected
    whole = np.s_[0 : bright.shape[0], 0 : bright.shape[1]]
    piece = largest_part((bright > 0.5 * middle).view(np.uint8), whole)
    if piece.area < _FILLS * bright.size:
        return [], rejected
    return _sample_or_ground(piece, frame)


def _outline(piece: Piece, frame: Frame) -> Found:
    """A sample's pixels cut back from their edge, as a polygon in pixels of the photograph."""
    depth = cv2.distanceTransform(
        cv2.copyMakeBorder(piece.mask, 2, 2, 2, 2, cv2.BORDER_CONSTANT), cv2.DIST_L2, 5
    )
    depth = cv2.GaussianBlur(depth, (0, 0), 0.7)
    cut_back = min(1.0 + 0.06 * piece.radius, 0.6 * float(depth.max()))
    finer = cv2.resize(depth, None, fx=_FINER, fy=_FINER, interpolation=cv2.INTER_LINEAR)
    contours, _ = cv2.findContours(
        (finer >= cut_back - 0.5 / _FINER).view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    points = cv2.approxPolyDP(max(contours, key=len), 0.5, closed=True)[:, 0]
    start = np.array([piece.box[1].start - 2, piece.box[0].start - 2])
    corners = ((points + 0.5) / _FINER + start) * frame.scale_px - 0.5
    return found_from_outline(corners, at_edge=piece.touches(frame.linear.shape) > 0)


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
