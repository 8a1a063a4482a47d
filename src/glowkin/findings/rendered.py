"""What a rendered file withholds from a time course: channels cut at the gamut, and the tone curve.

A colour outside the file's gamut has a channel at zero, which no longer adds up in a mixture; such channels
are left out. The tone curve is unknown; the fit is repeated with signals raised to powers around 1, and
intervals are widened to hold what each of them finds.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from glowkin.findings.frames import changed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.records import Sample
    from glowkin.findings.fitting import Interval
    from glowkin.findings.frames import Frame
    from glowkin.findings.kinetics import Column, CourseFit
    from glowkin.findings.unmix import Index

TONES = (1.0, 0.85, 1.18)
"""Powers of linear light that a mild tone curve amounts to (common practice, no source)."""
_CUT = 0.004
"""Linear signal below which compression and the cut at zero bend a channel: code 13 of sRGB."""


def open_channels(frames: Sequence[Frame]) -> Index:
    """The channels (indices) that stay clear of zero in every sample and photograph."""
    least = np.full(3, np.inf)
    for frame in frames:
        signals = [s.linear_rgb for s in frame.samples.values() if s.linear_rgb is not None]
        least = np.min(np.array([least, *signals]), axis=0)
    return np.flatnonzero(least > _CUT)


def toned(frames: Sequence[Frame], tone: float) -> Sequence[Frame]:
    """The frames as if the file's linear values were this power of the light, errors carried along."""
    return changed(frames, partial(_toned_frame, tone=tone))


def _toned_frame(frame: Frame, tone: float) -> Frame:
    return replace(frame, samples={name: _toned(s, tone) for name, s in frame.samples.items()})


def _toned(sample: Sample, tone: float) -> Sample:
    if sample.linear_rgb is None or sample.linear_rgb_covariance is None or sample.stray_rgb is None:
        return sample
    rgb = np.clip(sample.linear_rgb, 1e-6, None)
    slope = tone * rgb ** (tone - 1.0)
    covariance = np.array(sample.linear_rgb_covariance) * slope * slope[:, None]
    r, g, b = (float(v) for v in rgb**tone)
    stray = (float(v) for v in slope * sample.stray_rgb)
    rows = tuple(tuple(float(v) for v in row) for row in covariance)
    return replace(sample, linear_rgb=(r, g, b), linear_rgb_covariance=rows, stray_rgb=tuple(stray))  # type: ignore[arg-type]


def widest(fits: Sequence[CourseFit]) -> CourseFit:
    """The first fit, its intervals widened to those of all; what the others deny is left out."""
    first = fits[0]
    half = None if any(f.half_time_s is None for f in fits) else first.half_time_s
    models = dict.fromkeys(name for f in fits for name in f.not_excluded)
    return replace(
        first,
        half_time_s=half,
        half_time_interval_s=None if half is None else _hull([f.half_time_interval_s for f in fits]),
        stops_at_interval=_pair(_hull([f.stops_at_interval for f in fits])),
        not_excluded=tuple(models),
        luminance_ratio=first.luminance_ratio,
        low=_extreme([f.low for f in fits], min),
        high=_extreme([f.high for f in fits], max),
        longer_than_s=_least([f.longer_than_s for f in fits]),
        spoiled=tuple(sorted({i for f in fits for i in f.spoiled})),
    )


def _hull(intervals: Sequence[Interval | None]) -> Interval:
    known = [i for i in intervals if i is not None]
    lows, highs = [i[0] for i in known], [i[1] for i in known]
    return (
        None if None in lows or not lows else min(low for low in lows if low is not None),
        None if None in highs or not highs else max(high for high in highs if high is not None),
    )


def _pair(interval: Interval) -> tuple[float, float] | None:
    low, high = interval
    return None if low is None or high is None else (low, high)


def _extreme(columns: Sequence[Column], choose: object) -> Column:
    rows = zip(*columns, strict=True)
    return tuple(None if None in row else choose(row) for row in rows)  # type: ignore[operator]


def _least(limits: Sequence[float | None]) -> float | None:
    return None if None in limits else min(limit for limit in limits if limit is not None)
