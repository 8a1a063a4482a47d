"""How much each place of a photograph stands out from its ground: by brightness, or by colour.

On a dark ground brightness tells. On a ground that glows (paper, a gel, a leaking lamp) the ground's own
light is taken off as far as every channel allows, pixel by pixel: what is left differs from it in colour,
however uneven the lamp. A blue sample on blue paper still stands out by brightness. Both are counted in
units of their own unrest on the ground, channel by channel, so that the larger of them can be taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.linear import Frame

_SMALLEST = 2e-5
_GLOWS = 0.02
_GROUND_RANK, _UNREST_RANK = 0.25, 0.45
"""Quantiles of the ground's level and of its unrest: more than half of a photograph may be samples."""
_APART, _CALM, _NOISE = 2, 0.75, 0.34
"""Pixels between neighbours that are compared, the quantile of their differences taken (edges of samples are
few), and the spread above per such difference, for normal noise: 0.55 of sigma to 1.63."""
_COARSE = 8
_WINDOWS = (0.5, 0.09)
"""A wide window leaves large samples whole; a narrow one lifts small ones off the blur of their own light."""
_WEIGHTY = 0.15
_LEAST_OF_GROUND, _COMPRESSED = 0.002, 0.01
"""Least unrest of the ground in shares of its level: a raw file's, and what compression leaves."""


@dataclass(frozen=True, eq=False)
class Standout:
    """A ``picture`` (height x width) of how far the brightest channel is above the ground, in units of the
    ground's unrest, and, where that ground glows, the same for ``small`` things above what is close around.
    """

    picture: NDArray[np.float32]
    small: NDArray[np.float32] | None = None


def standing_out(frame: Frame, inside: NDArray[np.bool_] | None = None) -> Standout:
    """How each place stands out; the ground is what is ``inside``, else the whole frame."""
    smooth = cv2.GaussianBlur(frame.linear, (0, 0), 0.8)
    few = _few(smooth, inside)
    floor, spread = _ground(smooth, inside)
    if floor.max() <= max(_GLOWS * np.quantile(few.max(axis=1), 0.9995), _SMALLEST):
        return Standout(_over(smooth, floor, _unrest(spread, frame)))
    least = (_COMPRESSED if frame.faintest else _LEAST_OF_GROUND) * float(floor.max())
    views = [smooth - _uneven_floor(smooth, share) for share in _WINDOWS]
    views.append(_other_colour(smooth, few))
    pictures = []
    for view in views:
        low, spread = _ground(view, inside)
        pictures.append(_over(view, low, _unrest(spread, frame, least)))
    wide, narrow, colour = pictures
    return Standout(cv2.max(wide, colour), narrow)


def _few(view: NDArray[np.float32], inside: NDArray[np.bool_] | None, shift: int = 0) -> NDArray[np.float32]:
    """Every fifth pixel both ways, n x 3; or, with a ``shift``, its neighbours so many columns on."""
    few = view[::5, shift : view.shape[1] - _APART + shift : 5]
    return few.reshape(-1, 3) if inside is None else few[inside[::5, : view.shape[1] - _APART : 5]]


def _ground(view: NDArray[np.float32], inside: NDArray[np.bool_] | None) -> tuple[Array, Array]:
    """Level and unrest of the ground (3 each): how its level spreads, and no less than its noise makes it.

    Noise that a camera cut off at black spreads upwards only, which the level's quantiles do not show.
    """
    few = _few(view, inside)
    low, high = np.quantile(few, (_GROUND_RANK, _UNREST_RANK), axis=0)
    step = np.quantile(np.abs(few - _few(view, inside, _APART)), _CALM, axis=0)
    return low, np.maximum(high - low, _NOISE * step)


def _unrest(spread: Array, frame: Frame, least: float = _SMALLEST) -> Array:
    return np.maximum(spread, max(least, frame.faintest / 6.0))


def _over(channels: NDArray[np.float32], floor: Array, unrest: Array) -> NDArray[np.float32]:
    """The largest of (channel - floor) / unrest."""
    in_units = np.column_stack([np.diag(1.0 / unrest), -floor / unrest]).astype(np.float32)
    red, green, blue = cv2.split(cv2.transform(channels, in_units))
    return np.asarray(cv2.max(cv2.max(red, green), blue))


def _uneven_floor(smooth: NDArray[np.float32], share: float) -> NDArray[np.float32]:
    """The level of a glowing ground around each place, within a window of this share of the long side."""
    from scipy.ndimage import percentile_filter

    height, width = smooth.shape[:2]
    size = max(width // _COARSE, 4), max(height // _COARSE, 4)
    coarse = cv2.resize(smooth, size, interpolation=cv2.INTER_AREA)
    window = max(int(share * max(size)), 3)
    ranks = [percentile_filter(coarse[..., c], 100 * _GROUND_RANK, window, mode="nearest") for c in range(3)]
    floor = cv2.GaussianBlur(np.stack(ranks, axis=2), (0, 0), window / 6)
    return np.asarray(cv2.resize(floor, (width, height), interpolation=cv2.INTER_LINEAR))


def _other_colour(smooth: NDArray[np.float32], few: NDArray[np.float32]) -> NDArray[np.float32]:
    """What is left of each pixel when as much of the ground's colour as it can hold is taken off."""
    total = few.sum(axis=1)
    low, high = np.quantile(total, (0.2, 0.4))
    ground = np.clip(np.median(few[(total >= low) & (total <= high)], axis=0), 0.0, None)
    weighty = np.flatnonzero(ground > _WEIGHTY * ground.max())
    share = np.min([smooth[..., c] / np.float32(ground[c]) for c in weighty], axis=0)
    return np.asarray(smooth - share[..., None] * ground.astype(np.float32))
