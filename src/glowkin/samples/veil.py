"""Light that bright parts of a picture spread over the rest of it, fitted to what should be dark.

The veil is the picture itself, blurred by bells of several widths, each with its own share: exponential and
power-law tails are mixtures of bells as well. Shares are never negative and the same in all channels, since
neither a lens nor a black ground colours much what it scatters. The ground's own light, from the lamp and
the room, is a plane with a bowl in each channel.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.linear import Frame

    Plane = NDArray[np.float32]
    Patch = tuple[tuple[slice, slice], NDArray[np.uint8]]

_GRID = 96
_WIDTHS = (0.012, 0.024, 0.048, 0.096, 0.2)
"""Sigma of the bells in shares of the long side."""
_PIXELS, _FEW = 800, 60
_BRIGHT = 0.05
"""Share of the brightest above which a thing that is no sample spreads light too: glass, reflections."""
_OUTLIERS, _ROUNDS = 3.0, 3
_PATCH, _ABOVE = 0.9, 3.0
"""A patch of light around a sample is a tenth of it or more, and above this many times the scatter."""
_FALL = 0.3
"""By how much of itself the ground's light may change over the frame, one standard deviation each way."""
_GHOST_SD, _GHOST_WIDTH, _GHOST_SHAPE, _GHOST_LEAST = 0.0015, 0.02, 0.5, 0.0001
"""What a lens reflects of a light to the place opposite it through the middle of the frame, as a share,
unless the ground shows it; how blurred it is, the error of its shape, and the least share
taken off (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Veil:
    """A picture on a coarse grid, taken apart.

    ``ground`` (3) is the dark ground's own light in the middle of the frame, ``spread`` (3) what a cell of
    it scatters by, ``over`` what neither ground nor veil nor ghost explains, ``whole`` the veil everywhere.
    ``ghost`` and ``ghost_sd`` are the lens's reflections of everything, and their error. ``quarters`` (4 x 2)
    are the ground's blue in each quarter of the frame, and its error; NaN where little of it is seen.
    """

    light: Plane
    scale_px: float
    shares: Array
    ground: Array
    spread: Array
    over: Plane
    whole: Plane
    ghost: Plane
    ghost_sd: Plane
    masks: list[Patch]
    covered: NDArray[np.uint8]
    quarters: Array

    def on(self, i: int, points_px: Array) -> Array:
        """The veil (n x 3) that everything but the i-th sample lays on points (n x 2, pixels) in it."""
        box, mask = self.masks[i]
        others = self.whole[box] - _veil(self.light[box] * mask[..., None], self.shares)
        return np.clip(self._at(others, points_px, (box[1].start, box[0].start)), 0.0, None)

    def _at(self, plane: Plane, points_px: Array, corner: tuple[int, int] = (0, 0)) -> Array:
        """A plane (of the picture, or of a box whose corner is given) at points (n x 2, pixels), n x 3."""
        x, y = ((points_px + 0.5) / self.scale_px - 0.5 - corner).T.astype(np.float32)
        found = cv2.remap(plane, x[None], y[None], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(found[0], dtype=float)

    def blind(self, faintest: float) -> bool:
        """Whether a rendered file shows hardly any veil: on most of the dark ground less than half a code."""
        laid = self.whole.max(axis=2)[self.covered == 0]
        return faintest > 0 and (not laid.size or float(np.quantile(laid, 0.95)) < faintest / 12.0)

    def ghost_on(self, points_px: Array) -> tuple[Array, Array]:
        """The lens's reflection on points (n x 2, pixels), n x 3, and its error."""
        return self._at(self.ghost, points_px), self._at(self.ghost_sd, points_px)

    def around(self, i: int) -> tuple[Array, Array]:
        """Light (3) just around the i-th sample that nothing explains, and its error (3); none if faint.

        A patch that only touches the sample is not on most of what is around it: the error is its height.
        """
        (rows, columns), _ = self.masks[i]
        reach = 1 + (rows.stop - rows.start) // 5
        box = np.s_[max(rows.start - reach, 0) : rows.stop + reach,
                    max(columns.start - reach, 0) : columns.stop + reach]  # fmt: skip
        own = np.zeros_like(self.covered)
        own[rows, columns] = self.masks[i][1]
        near = cv2.dilate(own[box], np.ones((2 * reach + 1, 2 * reach + 1), np.uint8))
        ring = self.over[box][(near == 1) & (self.covered[box] == 0)]
        if len(ring) < 4:
            return np.zeros(3), np.zeros(3)
        faint = 2.5 * self.spread / np.sqrt(len(ring))
        level = np.clip(np.median(ring, axis=0) - faint, 0.0, None)
        patch = np.quantile(ring, _PATCH, axis=0) - _ABOVE * self.spread
        return np.asarray(level, dtype=float), np.asarray(np.maximum(level, patch), dtype=float)


def fit_veil(frame: Frame, outlines: Sequence[Array], glowing: Sequence[Array]) -> Veil:
    """The veil of a reduced picture; ``glowing`` are outlines of whatever else glows in it."""
    height, width = frame.linear.shape[:2]
    ratio = max(1.0, max(width, height) / _GRID)
    size = (max(4, round(width / ratio)), max(4, round(height / ratio)))
    seen = np.asarray(cv2.resize(frame.linear, size, interpolation=cv2.INTER_AREA))
    scale = frame.scale_px * width / size[0]
    masks = [_mask(o, scale, seen.shape[:2]) for o in outlines]
    covered = np.zeros(seen.shape[:2], np.uint8)
    drawn = {id(outline) for outline in outlines}
    others = [_mask(o, scale, seen.shape[:2]) for o in glowing if id(o) not in drawn]
    for box, mask in [*masks, *others]:
        covered[box] |= mask
    light, dark = _sources(seen, covered == 0)
    bells = np.stack([_bell(light, w) for w in _WIDTHS], axis=2)
    shares, plane, spread = _fit(seen, bells, dark)
    whole = np.asarray(np.einsum("yxkc,k->yxc", bells, shares.astype(np.float32)))
    rows, columns = np.mgrid[: size[1], : size[0]]
    over = seen - whole - (_ground(rows, columns, seen.shape) @ plane).astype(np.float32)
    ghost, ghost_sd = _ghost(light, over, dark, np.maximum(spread, frame.faintest / 12.0))
    quarters = _quarters(seen[..., 2] - whole[..., 2], whole[..., 2], dark, float(spread[2]))
    left = over - ghost
    return Veil(
        light, scale, shares, plane[0], spread, left, whole, ghost, ghost_sd, masks, covered, quarters
    )


def _quarters(ground: Plane, veil: Plane, dark: NDArray[np.bool_], spread: float) -> Array:
    """The ground's blue in each quarter of the frame, and its error: noise, and what is wrong with the veil
    taken off, of which the fit leaves a tenth (common practice, no source).
    """
    half = [slice(None, n // 2) for n in dark.shape], [slice(n // 2, None) for n in dark.shape]
    out = np.full((4, 2), np.nan)
    for k in range(4):
        box = half[k // 2][0], half[k % 2][1]
        here = ground[box][dark[box]]
        if len(here) >= _FEW:
            error = np.hypot(spread / np.sqrt(len(here)), 0.1 * float(np.median(veil[box][dark[box]])))
            out[k] = float(np.median(here)), error
    return out


def _ghost(light: Plane, over: Plane, dark: NDArray[np.bool_], error: Array) -> tuple[Plane, Plane]:
    """Light reflected by the lens to the place opposite, and its error, each the picture's shape.

    Its share in each channel is fitted where the dark ground shows that place. Nothing is gained from many
    cells: what is left of the veil errs alike in all of them.
    """
    opposite = _bell(np.ascontiguousarray(light[::-1, ::-1]), _GHOST_WIDTH)
    g = np.where(dark[..., None], opposite, np.float32(0.0)).reshape(-1, 3).astype(float)
    fitted = (g * over.reshape(-1, 3)).sum(axis=0) / np.maximum(np.square(g).sum(axis=0), 1e-30)
    told = np.square(g.max(axis=0, initial=0.0) / np.maximum(error, 1e-9))
    weight = told + _GHOST_SD**-2
    share = fitted * told / weight
    share = np.where(share > _GHOST_LEAST, share, 0.0)
    sd = np.hypot(1.0 / np.sqrt(weight), _GHOST_SHAPE * share)
    return opposite * share.astype(np.float32), opposite * sd.astype(np.float32)


def _mask(outline: Array, scale: float, shape: tuple[int, ...]) -> Patch:
    """A sample with its rim: glass stands out by a quarter of the powder's radius (common practice)."""
    corners = np.round((outline + 0.5) / scale - 0.5).astype(np.int32)
    rim = 1 + int(0.15 * np.ptp(corners, axis=0).max())
    left, top = np.clip(corners.min(axis=0) - rim, 0, (shape[1] - 1, shape[0] - 1))
    right, bottom = np.clip(corners.max(axis=0) + rim + 1, (left + 1, top + 1), (shape[1], shape[0]))
    mask = np.zeros((bottom - top, right - left), np.uint8)
    cv2.fillPoly(mask, [corners - (left, top)], 1)
    around = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * rim + 1, 2 * rim + 1))
    return (slice(int(top), int(bottom)), slice(int(left), int(right))), np.asarray(cv2.dilate(mask, around))


def _sources(seen: Plane, dark: NDArray[np.bool_]) -> tuple[Plane, NDArray[np.bool_]]:
    """Light above the ground's of the samples and of whatever else is bright, and where neither is."""
    if np.count_nonzero(dark) < _FEW:
        return np.maximum(seen, 0.0), dark
    over = np.maximum(seen - np.median(seen[dark], axis=0), 0.0).astype(np.float32)
    dark = dark & (over < _BRIGHT * over.max()).all(axis=2)
    return np.where(dark[..., None], np.float32(0.0), over), dark


def _veil(light: Plane, shares: Array) -> Plane:
    out = np.zeros_like(light)
    for width, share in zip(_WIDTHS, shares, strict=True):
        if share > 0:
            out += np.float32(share) * _bell(light, width)
    return out


def _bell(light: Plane, width: float) -> Plane:
    return np.asarray(cv2.GaussianBlur(light, (0, 0), width * _GRID, borderType=cv2.BORDER_CONSTANT))


def _ground(rows: NDArray[np.int_], columns: NDArray[np.int_], shape: tuple[int, ...]) -> Array:
    """One, x, y and their squares' sum, ... x 4, the middle of the frame being 0."""
    y, x = rows / shape[0] - 0.5, columns / shape[1] - 0.5
    return np.stack([np.ones_like(x), x, y, x * x + y * y], axis=-1)


def _fit(seen: Plane, bells_at: Plane, dark: NDArray[np.bool_]) -> tuple[Array, Array, Array]:
    """Shares of the bells, the ground's plane (4 x 3), and scatter (3), over the dark; outliers left out."""
    rows, columns = np.nonzero(dark)
    nothing = np.zeros(len(_WIDTHS)), np.zeros((4, 3)), np.zeros(3)
    if rows.size < _FEW:
        nothing[1][0] = np.clip(np.quantile(seen.reshape(-1, 3), 0.02, axis=0), 0.0, None)
        return nothing
    few = slice(None, None, max(1, rows.size // _PIXELS))
    rows, columns = rows[few], columns[few]
    y = seen[rows, columns].astype(float)
    bells = bells_at[rows, columns].astype(float)
    ground = _ground(rows, columns, seen.shape)
    kept = np.ones(len(y), bool)
    spread = _scatter(y - np.median(y, axis=0))
    for _ in range(_ROUNDS):
        shares, plane = _least_squares(y[kept], bells[kept], ground[kept], spread)
        rest = y - ground @ plane - np.einsum("pkc,k->pc", bells, shares)
        spread = _scatter(rest[kept])
        inside = (np.abs(rest) < _OUTLIERS * spread).all(axis=1)
        if np.count_nonzero(inside) < _FEW:
            break
        kept = inside
    return shares, plane, spread


def _scatter(rest: Array) -> Array:
    """Robust standard deviation of each column."""
    return np.maximum(1.4826 * np.median(np.abs(rest), axis=0), 1e-7)


def _least_squares(y: Array, bells: Array, ground: Array, spread: Array) -> tuple[Array, Array]:
    """Shares, none negative, and the plane of each channel: normal equations, the plane eliminated."""
    from scipy.optimize import nnls

    k = bells.shape[1]
    H, g, backs = np.zeros((k, k)), np.zeros(k), []
    level = np.maximum(np.quantile(y, 0.1, axis=0), 0.0) + spread / 10.0
    for c in range(3):
        A, t = bells[:, :, c], y[:, c]
        even = np.diag([0.0, 1.0, 1.0, 1.0]) * np.square(spread[c] / (_FALL * level[c]))
        back = np.linalg.solve(ground.T @ ground + even, ground.T)
        H += A.T @ (A - ground @ (back @ A)) / spread[c] ** 2
        g += A.T @ (t - ground @ (back @ t)) / spread[c] ** 2
        backs.append(back)
    size = np.sqrt(np.diag(H)) + 1e-9 * np.sqrt(np.trace(H)) + 1e-30
    L = np.linalg.cholesky(H / np.outer(size, size) + 1e-9 * np.eye(k))
    shares = nnls(L.T, np.linalg.solve(L, g / size))[0] / size
    rest = y - np.einsum("pkc,k->pc", bells, shares)
    return shares, np.stack([back @ rest[:, c] for c, back in enumerate(backs)], axis=1)
