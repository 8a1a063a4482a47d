"""What a rendered file withholds from a time course: channels cut at the gamut, and the tone curve.

A colour outside the file's gamut has a channel at zero, which no longer adds up in a mixture: there it is a
bound, not a value, and does not count. The tone curve is unknown; the fit is repeated with signals raised to
powers around 1, and intervals are widened to hold what each of them finds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.records import Ratio
from glowkin.findings.change import two_forms_suffice
from glowkin.findings.frames import changed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from glowkin.base.records import Sample
    from glowkin.findings.fitting import Interval
    from glowkin.findings.frames import Frame
    from glowkin.findings.kinetics import Column, CourseFit
    from glowkin.findings.unmix import Index, Series

TONES = (1.0, 0.85, 1.18)
"""Powers of linear light that a mild tone curve amounts to (common practice, no source)."""
_CURVES = 9
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
        name: np.repeat(len(clear_channels(frames, name)) == 3, 3) if whole else (~z).sum(axis=0) >= _FEWEST
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


def suffice(series: Series) -> bool | None:
    """Whether two forms suffice under any tone curve between the weakest and the strongest believed."""
    told = []
    for tone in np.linspace(min(TONES), max(TONES), _CURVES):
        s = np.clip(series.signals, 1e-9, None)
        slope = tone * s ** (tone - 1.0)
        covariances = series.covariances * slope[:, :, None] * slope[:, None, :]
        told.append(two_forms_suffice(replace(series, signals=s**tone, covariances=covariances)))
    if all(t is False for t in told):
        return False
    return True if True in told else None


def widest(fits: Sequence[CourseFit]) -> CourseFit:
    """The first fit, its intervals widened to those of all; what the others deny is left out."""
    first = fits[0]
    half = None if any(f.half_time_s is None for f in fits) else first.half_time_s
    models = dict.fromkeys(name for f in fits for name in f.not_excluded)
    return replace(
        first,
        luminance_ratio=_ratio([f.luminance_ratio for f in fits]),
        half_time_s=half,
        half_time_interval_s=None if half is None else _hull([f.half_time_interval_s for f in fits]),
        stops_at_interval=_pair(_hull([f.stops_at_interval for f in fits])),
        not_excluded=tuple(models),
        low=_extreme([f.low for f in fits], min),
        high=_extreme([f.high for f in fits], max),
        longer_than_s=_least([f.longer_than_s for f in fits]),
        spoiled=tuple(sorted({i for f in fits for i in f.spoiled})),
    )


def _ratio(found: Sequence[Ratio | None]) -> Ratio | None:
    """The first ratio with an interval over all; None where any is unknown."""
    known = [r for r in found if r is not None]
    if len(known) < len(found):
        return None
    return Ratio(known[0].value, *_hull([(r.low, r.high) for r in known]))


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
