"""How far a sample has changed at each of its places: the course's two forms, unmixed pixel by pixel.

A pixel's signal is s = a A + b B, with A and B what the whole sample gives in either form. How much light
falls on a pixel and how much powder lies there is not known, but is in a and b alike: the fraction
a / (a + b) is free of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.maps import FractionMap
from glowkin.findings.bleaching import fading
from glowkin.findings.frames import POSITION_SD, frames_in_time, series_of, steadied
from glowkin.findings.rendered import clear_channels
from glowkin.findings.unmix import frames_of, unmix

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.records import MeasuredPhoto, SampleCourse, TimeCourse, TrackPoint
    from glowkin.base.uncertainty import Array
    from glowkin.findings.frames import Frame
    from glowkin.findings.unmix import Index
    from glowkin.light.crop import Crop

SHOWN = 5
"""Photographs of each sample that are mapped."""
_WANTED_SD = 0.04
_MOST_SD = 0.15
"""Beyond this standard deviation a pixel's fraction is not shown."""
LEAST_LIGHT = 4.0
"""So many times its noise the light of a pixel must be: of darker ones some only look certain."""
_BLURS = (0.0, 0.7, 1.0, 1.5, 2.0, 3.0)
"""Widths of smoothing to choose from, in pixels of the map."""
_ALIKE = 0.02
"""Forms whose signals point in directions closer than this (radians) cannot be told apart pixel by pixel."""
_LAG = 4


@dataclass(frozen=True, eq=False)
class Forms:
    """Signals (d,) of the sample in either form, in these ``channels``; of unit luminance if ``by_light``."""

    start: Array
    end: Array
    channels: Index
    by_light: bool


@dataclass(frozen=True, eq=False)
class Unmixed:
    """Parts of each pixel's light (h x w x 2, NaN where unknown), and their covariance (h x w x 2 x 2)."""

    parts: Array
    covariance: Array

    @property
    def fraction(self) -> Array:
        """Fraction in the starting form."""
        return np.asarray(self.parts[..., 0] / self.parts.sum(axis=-1))

    @property
    def sd(self) -> Array:
        """Standard deviation of the fraction, first order (JCGM 100, 5.2)."""
        a, b = np.moveaxis(self.parts, -1, 0)
        J = np.stack([b, -a], axis=-1) / np.square(a + b)[..., None]
        return np.asarray(np.sqrt(np.einsum("hwi,hwij,hwj->hw", J, self.covariance, J)))


def series_frames(photos: Sequence[MeasuredPhoto], course: TimeCourse) -> Sequence[Frame]:
    """The photographs of a course as it saw them but for their times, the lamp steadied as there."""
    names = {s.name for s in course.samples}
    told = (course.control or "").split(", ")
    controls = tuple(name for name in told if name in names)
    return steadied(frames_in_time(photos, None), fading(course.bleaching) or controls)


def forms_of(frames: Sequence[Frame], course: SampleCourse, *, comparable: bool = True) -> Forms | None:
    """The two forms of a sample by its course; None where it tells none, or both have one colour.

    Where brightness is not ``comparable`` throughout, by shares of the light: they rest on colour alone.
    """
    rendered = frames[0].photo.kind == "rendered"
    channels = clear_channels(frames, course.name) if rendered else np.arange(3)
    by_light = not comparable or all(p.fraction_start is None for p in course.points)
    if len(channels) < (3 if by_light else 2):
        return None
    told = {p.path: fraction_told(p, by_light) for p in course.points}
    f = np.array([_number(told.get(frame.photo.path)) for frame in frames])
    series = series_of(frames, course.name, POSITION_SD)
    index = np.array([i for i in series.usable() if np.isfinite(f[i])], dtype=int)
    if len(index) < 2 or np.ptp(f[index]) <= 0.0:
        return None
    if by_light:
        levels = series.signals[index] @ series.luminance_weights
        shares = np.stack([f[index], 1.0 - f[index]], axis=1)
        A, B = np.linalg.lstsq(shares, series.signals[index] / levels[:, None], rcond=None)[0]
    else:
        found = unmix(frames_of(series.channels(channels).take(index)), f[index][None])
        A, B = found.A[0], found.B[0]
    across = abs(A @ B) / max(float(np.linalg.norm(A) * np.linalg.norm(B)), 1e-300)
    return None if np.arccos(min(across, 1.0)) < _ALIKE else Forms(A, B, channels, by_light)


def chosen_points(course: SampleCourse, by_light: bool) -> list[TrackPoint]:
    """The points to map, in order of time: first, last, and between them evenly by fraction."""
    known = [p for p in course.points if fraction_told(p, by_light) is not None and "clipped" not in p.flags]
    f = np.array([_number(fraction_told(p, by_light)) for p in known])
    if not known:
        return []
    left, out = list(range(len(known))), []
    for wanted in (f[0], f[-1], *np.linspace(f[0], f[-1], SHOWN)[[2, 1, 3]]):
        if left:
            out.append(min(left, key=lambda i: (abs(f[i] - wanted), i)))
            left.remove(out[-1])
    return [known[i] for i in sorted(out)]


def fraction_told(point: TrackPoint, by_light: bool) -> float | None:
    """The fraction of the whole sample, of amount or of light; None where the photograph does not count."""
    if "spoiled-frame" in point.flags:
        return None
    return point.light_fraction_start if by_light else point.fraction_start


def _number(value: float | None) -> float:
    return float("nan") if value is None else value


def unmixed(crop: Crop, stray_rgb: Sequence[float], forms: Forms) -> Unmixed:
    """The parts of each pixel's light, by weighted least squares; the sample's stray light is taken off."""
    c = forms.channels
    M = np.stack([forms.start, forms.end], axis=1)
    s = crop.linear[..., c] - np.asarray(stray_rgb)[c]
    weight = 1.0 / np.maximum(crop.variance[..., c].astype(float), 1e-18)
    N = np.einsum("di,hwd,dj->hwij", M, weight, M)
    C = np.linalg.inv(N)
    parts = np.einsum("hwij,dj,hwd->hwi", C, M, weight * np.nan_to_num(s))
    parts[~np.isfinite(s).all(axis=-1)] = np.nan
    return Unmixed(parts, C)


def scatter_of(pixels: Unmixed) -> float:
    """By how much pixels some way apart differ more than their noise explains, at least 1.

    Of an evenly converted sample: neighbours' noise is alike in developed files.
    """
    f, variance = pixels.fraction, pixels.sd**2
    ratios = [
        ((f[a] - f[b]) ** 2 / (variance[a] + variance[b])).ravel()
        for a, b in (
            (np.s_[:, _LAG:], np.s_[:, :-_LAG]),
            (np.s_[_LAG:], np.s_[:-_LAG]),
        )
    ]
    known = np.concatenate(ratios)
    known = known[np.isfinite(known)]
    # 0.455 is the median of chi-square with one degree of freedom
    return max(1.0, float(np.sqrt(np.median(known) / 0.455))) if known.size else 1.0


def smoothed(pixels: Unmixed, scatter: float) -> Unmixed:
    """Smoothed as far as its noise asks for: until half of the pixels are known to 0.04, or 3 pixels wide."""
    from scipy.ndimage import gaussian_filter

    known = np.asarray(np.isfinite(pixels.parts).all(axis=-1))
    if not known.any():
        return pixels
    C = pixels.covariance * scatter**2
    out = replace(pixels, covariance=C)
    for blur in _BLURS:
        if blur:
            share = np.maximum(gaussian_filter(known.astype(float), blur, mode="constant"), 1e-9)
            light = np.where(known[..., None], pixels.parts, 0.0)
            spread = gaussian_filter(light, (blur, blur, 0), mode="constant") / share[..., None]
            spread[~known] = np.nan
            out = Unmixed(spread, C / (4.0 * np.pi * blur**2 * share[..., None, None]))
        if np.median(out.sd[known]) <= _WANTED_SD:
            break
    return out


def fraction_map(
    point: TrackPoint, crop: Crop, pixels: Unmixed, scatter: float, by_light: bool
) -> FractionMap:
    """The map of one photograph, what is too uncertain left out."""
    seen = smoothed(pixels, scatter)
    with np.errstate(invalid="ignore"):
        light, noise = seen.parts.sum(axis=-1), np.sqrt(seen.covariance.sum(axis=(-2, -1)))
        good = (seen.sd <= _MOST_SD) & (light > LEAST_LIGHT * noise)
    values = np.where(good, seen.fraction, np.nan).astype(np.float32)
    told = _number(fraction_told(point, by_light))
    return FractionMap(point.path, point.time_s, told, by_light, values, crop.inside, crop.pixel_px)
