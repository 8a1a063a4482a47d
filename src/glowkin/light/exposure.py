"""How the scale was used: the peaks of each sample in each channel, what is clipped, and by how much."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.light.linear import window_codes
from glowkin.light.region import outline_mask

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from glowkin.base.uncertainty import Array
    from glowkin.light.photo import Photograph

_ENOUGH = 20_000
_PEAK = 0.999
_PEAK_SIGMAS = 3.1
"""The quantile 0.999 of a normal distribution, in sigmas above its middle."""


@dataclass(frozen=True)
class ScaleUse:
    """Of n samples: ``peak`` (n x 3, full scale 1), the value that one pixel in a thousand exceeds;
    ``clipped`` share of pixels of each channel at the top (n x 3); ``over_stops`` (n x 3), by how much the
    brightest pixels would pass the top, judged from those below it: 0 where nothing is clipped, infinite
    where more than half is.
    """

    peak: Array
    clipped: Array
    over_stops: Array
    top: Array

    @property
    def headroom_stops(self) -> Array:
        """For each channel (3,) how many stops its brightest sample stays below the top, 0 where clipped."""
        if not len(self.peak):
            return np.full(3, np.nan)
        room = np.log2(self.top / np.maximum(self.peak.max(axis=0), 1e-6))
        return np.asarray(np.where(self.clipped.max(axis=0) > 0.001, 0.0, np.maximum(room, 0.0)))


def scale_use(photo: Photograph, outlines: Sequence[Array]) -> ScaleUse:
    """The use of the scale by each outline (vertices x 2, pixels)."""
    top = np.array([_linear(photo, np.array([float(photo.clip)]), c)[0] for c in range(3)])
    rows = [[_channel(photo, values, c) for c, values in _values(photo, o)] for o in outlines]
    table = np.array(rows, dtype=float).reshape(-1, 3, 3)
    return ScaleUse(table[..., 0], table[..., 1], table[..., 2], top)


def _values(photo: Photograph, outline: Array) -> Iterator[tuple[int, NDArray[Any]]]:
    """The codes of each channel within an outline, thinned to some thousands."""
    mask, window = outline_mask(photo, np.asarray(outline, dtype=float))
    codes, p = window_codes(photo, window), photo.period
    step = max(1, int(np.sqrt(mask.size / _ENOUGH)))
    few = mask[::step, ::step] == 1
    for c in range(3):
        if photo.curves is not None:
            yield c, codes[::step, ::step, c][few]
        else:
            at = [codes[i::p, j::p][::step, ::step][few] for i, j in np.argwhere(photo.channels == c)]
            yield c, np.concatenate(at)


def _channel(photo: Photograph, codes: NDArray[Any], channel: int) -> tuple[float, float, float]:
    """Peak, clipped share and stops above the top of one channel of one sample."""
    if not codes.size:
        return 0.0, 0.0, 0.0
    peak = float(_linear(photo, np.quantile(codes, [_PEAK]), channel)[0])
    clipped = float(np.mean(codes >= photo.clip))
    if clipped <= 1 - _PEAK:
        return peak, clipped, 0.0
    if clipped >= 0.5:
        return peak, clipped, float("inf")
    low, middle = _linear(photo, np.quantile(codes, [0.25, 0.5]), channel)
    true_peak = middle + _PEAK_SIGMAS * (middle - low) / 0.674
    top = float(_linear(photo, np.array([float(photo.clip)]), channel)[0])
    return peak, clipped, max(float(np.log2(true_peak / top)), 0.0)


def _linear(photo: Photograph, codes: Array, channel: int) -> Array:
    """Codes of one channel in linear light."""
    if photo.curves is not None:
        steps = np.arange(len(photo.curves))
        return np.asarray(np.interp(codes, steps, photo.curves[:, channel].astype(float)))
    black = float(photo.black[photo.channels == channel].mean())
    return np.asarray((codes - black) / (photo.white - black))
