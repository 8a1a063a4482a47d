"""What a rendered file withholds from a time course: channels cut at the gamut, and the tone curve.

A colour outside the file's gamut has a channel at zero, which no longer adds up in a mixture: there it is a
bound, not a value, and does not count. The tone curve is unknown; samples are fitted under the likeliest (see
``tones``), and intervals are widened by how the figures change to the limits of what it may be.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.records import Ratio
from glowkin.findings.frames import changed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.records import Sample
    from glowkin.findings.fitting import Interval
    from glowkin.findings.frames import Frame
    from glowkin.findings.kinetics import Column, CourseFit
    from glowkin.findings.unmix import Index, Series

_CUT = 0.004
"""Linear signal below which compression and the cut at zero bend a channel: code 13 of sRGB."""

_FEWEST = 4
"""Photographs that must show a channel clear of zero for it to count at all."""


@dataclass(frozen=True, eq=False)
class Open:
    """What a rendered file tells of one sample: ``channels`` (indices) clear of zero in enough photographs,
    and where all of them (n, 3) are cut at zero.
    """

    channels: Index
    at_zero: NDArray[np.bool_]

    def of(self, series: Series) -> Series:
        """The series in these channels, where they are cut as bounds; untouched if there are none."""
        if not len(self.channels):
            return series
        bounded = series.bounded(self.at_zero) if self.at_zero.any() else series
        return bounded if len(self.channels) == 3 else bounded.channels(self.channels)


def open_channels(
    frames: Sequence[Frame], names: Sequence[str], *, whole: bool, together: bool
) -> dict[str, Open]:
    """What is told of each sample.

    ``whole``: all three channels of every photograph or nothing, as where only colour is to be trusted.
    ``together``: only channels that serve all of the samples.
    """
    zero = {name: _at_zero(frames, name) for name in names}
    shown = {
        name: np.repeat(bool((~z[_seen(frames, name)]).all()), 3) if whole else (~z).sum(axis=0) >= _FEWEST
        for name, z in zero.items()
    }
    if together:
        shown = dict.fromkeys(names, np.all([*shown.values()], axis=0))
    return {name: Open(np.flatnonzero(shown[name]), zero[name]) for name in names}


def clear_channels(frames: Sequence[Frame], name: str) -> Index:
    """The channels (indices) of this sample that are cut at zero in no photograph."""
    return np.flatnonzero(~_at_zero(frames, name)[_seen(frames, name)].any(axis=0))


def _at_zero(frames: Sequence[Frame], name: str) -> NDArray[np.bool_]:
    """Where a channel of this sample is cut at zero, (n, 3); true too where the sample is not seen."""
    rgb = [frame.samples[name].linear_rgb if name in frame.samples else None for frame in frames]
    return np.array([(0.0, 0.0, 0.0) if v is None else v for v in rgb]) <= _CUT


def _seen(frames: Sequence[Frame], name: str) -> list[bool]:
    return [name in f.samples and f.samples[name].linear_rgb is not None for f in frames]


def toned(frames: Sequence[Frame], power: float) -> Sequence[Frame]:
    """The frames as if light were this power of the file's linear values, errors carried along."""
    return changed(frames, partial(_toned_frame, power=power))


def _toned_frame(frame: Frame, power: float) -> Frame:
    return replace(frame, samples={name: _toned(s, power) for name, s in frame.samples.items()})


def _toned(sample: Sample, power: float) -> Sample:
    if sample.linear_rgb is None or sample.linear_rgb_covariance is None or sample.stray_rgb is None:
        return sample
    rgb = np.clip(sample.linear_rgb, 1e-6, None)
    slope = power * rgb ** (power - 1.0)
    covariance = np.array(sample.linear_rgb_covariance) * slope * slope[:, None]
    r, g, b = (float(v) for v in rgb**power)
    stray = (float(v) for v in slope * sample.stray_rgb)
    rows = tuple(tuple(float(v) for v in row) for row in covariance)
    return replace(sample, linear_rgb=(r, g, b), linear_rgb_covariance=rows, stray_rgb=tuple(stray))  # type: ignore[arg-type]


def over_tones(best: CourseFit, others: Sequence[CourseFit]) -> CourseFit:
    """The fit at the likeliest tone curve, its intervals widened by how the figures of its model differ at
    the 95 % limits of that curve.

    The errors are independent, so they add in quadrature.
    """
    half = best.half_time_s
    return replace(
        best,
        luminance_ratio=_ratio(best.luminance_ratio, [f.luminance_ratio for f in others]),
        half_time_interval_s=None if half is None else _half_interval(best, others),
        stops_at_interval=_stops(best, others),
        low=_wider(best.low, best, others),
        high=_wider(best.high, best, others),
        not_excluded=tuple(dict.fromkeys(name for f in (best, *others) for name in f.not_excluded)),
        longer_than_s=_least([f.longer_than_s for f in (best, *others)]),
    )


def _half_interval(best: CourseFit, others: Sequence[CourseFit]) -> Interval:
    """Open where it is, and where another sets no limit at all."""
    found = [m.half_time_s for f in others for m in f.models if m.model == best.model and m.half_time_s]
    half, (low, high) = best.half_time_s, best.half_time_interval_s or (None, None)
    return (
        None if low is None or half is None else _quadrature(half, low, found),
        None if high is None or half is None else _quadrature(half, high, found),
    )


def _quadrature(value: float, limit: float, others: Sequence[float]) -> float:
    """The limit of a positive figure moved away from it by how far the others go that way, as logarithms."""
    side = 1.0 if limit >= value else -1.0
    moved = [max(side * float(np.log(other / value)), 0.0) for other in others]
    return float(value * np.exp(side * np.hypot(np.log(limit / value), np.linalg.norm(moved))))


def _ratio(best: Ratio | None, others: Sequence[Ratio | None]) -> Ratio | None:
    """The first ratio with an interval over all; None where any is unknown."""
    values = [r.value for r in others if r is not None]
    if best is None or best.low is None or best.high is None or len(values) < len(others):
        return None
    low, high = (_quadrature(best.value, limit, values) for limit in (best.low, best.high))
    return Ratio(best.value, low, high)


def _stops(best: CourseFit, others: Sequence[CourseFit]) -> tuple[float, float] | None:
    if best.stops_at_interval is None or best.stops_at is None:
        return None
    (low, high), value = best.stops_at_interval, best.stops_at
    moved = np.array([(f.stops_at or 0.0) - value for f in others])
    down, up = np.linalg.norm(moved.clip(None, 0.0)), np.linalg.norm(moved.clip(0.0))
    return float(max(value - np.hypot(value - low, down), 0.0)), float(value + np.hypot(high - value, up))


def _wider(limits: Column, best: CourseFit, others: Sequence[CourseFit]) -> Column:
    """The limits of each fraction moved away from it by how far the others go that way."""
    out: list[float | None] = []
    for i, (value, limit) in enumerate(zip(best.fraction_start, limits, strict=True)):
        more = [f.fraction_start[i] for f in others]
        if value is None or limit is None or None in more:
            out.append(limit)
            continue
        side = np.sign(limit - value)
        moved = [max(side * (v - value), 0.0) for v in more if v is not None]
        out.append(float(value + side * np.hypot(limit - value, np.linalg.norm(moved))))
    return tuple(out)


def _least(limits: Sequence[float | None]) -> float | None:
    return None if None in limits else min(limit for limit in limits if limit is not None)
