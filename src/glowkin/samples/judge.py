"""Is it a sample? What speaks against a candidate, in a sentence; None where nothing does."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.samples.levels import LEAST_AREA, STEADY
from glowkin.samples.pieces import Piece, parts, typical

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.light.linear import Frame
    from glowkin.samples.levels import Levels, Patch

_LARGEST_SHARE = 0.6
_CONTRAST = 1.7
_SOLID = 0.75
_THIN = 0.3
_LEAST_CONTRAST, _SPECKLE = 0.12, 0.35
_BAND, _STRAIGHT, _BAND_CONTRAST = 3.0, 0.8, 0.2
"""Speckles are not so long, and do not fill the rectangle around them."""
_BLUE_V = 0.3
"""Below this v' lie the lamp's violet and the blue of optical brighteners in paper, cotton and plastics."""
_RECTANGLE = 0.87
_LONG = 2.2
_SMALL = 0.2
_DIM = 0.08
_GROUND_SHARE = 0.2
_ROUGH = 0.12
_WHITE = 0.8


def against_patch(levels: Levels, patch: Patch) -> str | None:
    """What speaks against a patch at one level."""
    if patch.growth > STEADY:
        return "it has no edge: the light fades outwards, as a halo does"
    if patch.area > _LARGEST_SHARE * levels.picture.size:
        return "it is most of the photograph, as a ground that glows is"
    box, label = levels.around(patch, 3 + int(0.25 * np.sqrt(patch.area)))
    inside = (label == patch.label).astype(np.uint8)
    if max(parts(inside, box, 8), key=lambda p: p.area).solidity < _SOLID:
        return "its shape is open or branched, as a reflection on glass or a rim is"
    reach = 3 + int(0.25 * np.sqrt(patch.area))
    ring = cv2.dilate(inside, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)) - inside
    ring &= (label == 0).astype(np.uint8)
    bright = levels.picture[box]
    if not ring.any() or typical(bright[inside == 1]) < _CONTRAST * typical(bright[ring == 1]):
        return "it is hardly brighter than what surrounds it"
    return None


def against_pieces(pieces: Sequence[Piece], frame: Frame, *, glows: bool) -> list[str | None]:
    """What speaks against each candidate, seen beside the others, on a ground that ``glows`` or not."""
    light = np.array([cv2.mean(frame.linear[p.box], p.mask)[:3] for p in pieces]).reshape(-1, 3)
    brightest = float(light.max(initial=0.0))
    blue = _v_prime(light, frame) < _BLUE_V
    others = [p.area for p, b in zip(pieces, blue, strict=True) if not b and p.depth.max() > _THIN * p.radius]
    usual = float(np.median(others)) if others else 0.0
    reasons = []
    for piece, colour, is_blue in zip(pieces, light, blue, strict=True):
        reason = _against_shape(piece) or (_against_contrast(piece, frame) if glows else None)
        if reason is None and is_blue:
            dim = colour.max() < _DIM * brightest
            reason = _against_blue(piece, frame, usual, dim=bool(dim))
        reasons.append(reason)
    return reasons


def is_blue(piece: Piece, frame: Frame) -> bool:
    """Whether a piece is violet or blue, as reflections of the lamp and paper are."""
    light = np.median(frame.linear[piece.box][piece.mask == 1], axis=0)
    return bool(_v_prime(light[None], frame)[0] < _BLUE_V)


def _v_prime(light: np.ndarray, frame: Frame) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(XYZ_to_uv_prime(light @ frame.to_xyz.T)[:, 1])


def _against_shape(piece: Piece) -> str | None:
    if piece.area < LEAST_AREA // 2:
        return "it is too small to be measured"
    if piece.depth.max() < _THIN * piece.radius:
        return "it is a thin line, as a meniscus or a rim is"
    return None


def _contrast(piece: Piece, frame: Frame) -> float:
    """The most any colour of a piece exceeds its surroundings by, in shares of their brightest colour."""
    wide = piece.grown(4 + int(0.25 * piece.radius), frame.linear.shape)
    gap = cv2.dilate(wide.mask, np.ones((5, 5), np.uint8))
    around = frame.linear[wide.box][gap == 0]
    if not len(around):
        return np.inf
    light, ground = np.array(cv2.mean(frame.linear[piece.box], piece.mask)[:3]), np.median(around, axis=0)
    return float((light - ground).max() / max(ground.max(), 1e-9))


def _against_contrast(piece: Piece, frame: Frame) -> str | None:
    """A sample adds light of some colour to what its ground sends out, more than the ground's own unrest."""
    if _contrast(piece, frame) < _LEAST_CONTRAST:
        return "in no colour is it clearly brighter than the ground around it"
    return None


def against_speckle(piece: Piece, frame: Frame) -> str | None:
    """A small thing on a ground that glows is brighter than the ground's own speckles, or a straight band."""
    long, short = piece.sides
    band = long > _BAND * short and piece.area > _STRAIGHT * long * short
    if _contrast(piece, frame) <= (_BAND_CONTRAST if band else _SPECKLE):
        return "it is small, and hardly brighter than the speckles of a ground that glows may be"
    return None


def _against_blue(piece: Piece, frame: Frame, usual: float, *, dim: bool) -> str | None:
    """Blue and violet things are often no samples, but the lamp's light thrown back, or a label's paper."""
    long, short = piece.sides
    if piece.area > _RECTANGLE * long * short:
        return "it is blue or violet and rectangular, as a label, a cap or a card is"
    if piece.area < _SMALL * usual:
        return "it is blue or violet and small beside the samples, as a reflection of the lamp is"
    if long > _LONG * short:
        return "it is blue or violet and long, as a reflection of the lamp is"
    if dim and piece.touches(frame.linear.shape):
        return "it is blue or violet, dim, and reaches in from the edge, as a hand or a holder does"
    return None


def fills(piece: Piece, frame: Frame) -> bool:
    """Whether a piece is large and reaches across the photograph, as a ground does."""
    return piece.area > _GROUND_SHARE * frame.linear[..., 0].size and piece.touches(frame.linear.shape) > 1


def against_filling(piece: Piece, frame: Frame) -> str | None:
    """What speaks against a piece that fills much of the photograph."""
    light = np.median(frame.linear[piece.box][piece.mask == 1], axis=0)
    if light.min() > _WHITE * light.max():
        return "it is white and fills the photograph, as paper in a lit room does"
    if is_blue(piece, frame):
        return "it is blue or violet and fills the photograph, as the lamp's own glow or paper does"
    bright = frame.linear[piece.box].max(axis=2)
    fine = bright / np.maximum(cv2.GaussianBlur(bright, (0, 0), 6.0), 1e-9) - 1.0
    inner = piece.depth > 3
    if inner.any() and np.median(np.abs(fine[inner])) > _ROUGH * 0.67:
        return "it fills the photograph and is many things, not one"
    return None
