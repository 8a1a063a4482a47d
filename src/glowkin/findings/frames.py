"""A series of measured photographs in order, and the signals of each sample through it.

Photographs are put in order of capture; each sample is given the name of the place it stands on; signals
are divided by exposure and, where there is a control, by the control's brightness, which steadies the lamp.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.findings.swaps import flag_swaps, swapped_back
from glowkin.findings.unmix import Series
from glowkin.samples.follow import follow

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.records import MeasuredPhoto, Sample
    from glowkin.base.uncertainty import Array

_CLIPPED = 0.01
_NEAREST = 8
_CROSS_SD = 0.01
"""Light a neighbour may throw on a sample, as a share of its own, for each square of their distance over
its size (common practice, no source)."""
_LUMINANCE_SD = {
    "sensitivities": 0.07,
    "chart": 0.13,
    "chart-and-lights": 0.13,
    "raw": 0.13,
    "rendered": 0.21,
}
"""How far the inferred luminance ratio of two emissions errs (natural logarithm): 95 % of ratios lie within
0.13 with sensitivities, 0.24 with a chart, 0.25 with a raw file's own matrices, over 7 cameras and emitters
the prior was not made from."""
_WEIGHTS_RIDGE = 0.02


@dataclass(frozen=True, eq=False)
class Frame:
    """One photograph of the series: time after zero, its samples by name, and the lamp's brightness."""

    time_s: float
    photo: MeasuredPhoto
    samples: dict[str, Sample]
    lamp: float = 1.0


def name_along(
    photos: Sequence[MeasuredPhoto], names: Sequence[str] = (), swapped: Sequence[tuple[str, str, str]] = ()
) -> list[MeasuredPhoto]:
    """The dated photographs that hold samples, in order of capture, every sample named by its place.

    The first photograph's samples take the ``names`` given, in reading order; the others' are followed
    from there, and one that stands on no known place is left out of the series. ``swapped``: samples that
    changed places, each with the first photograph after it; others that may have are flagged.
    """
    dated = sorted(
        (p for p in photos if p.taken_at and p.samples), key=lambda p: moment(p.taken_at or "", "taken_at")
    )
    if len(dated) < 2:
        raise CannotMeasureError(
            f"{len(dated)} of {len(photos)} photographs have both a capture time and a sample; a course "
            "needs two at least: send the camera's own files, or put the time in their names"
        )
    _check_alike(dated)
    first = _named(dated[0], names)
    reference = np.array([s.centre_px for s in first.samples])
    followed = [first, *(_follow(first, reference, photo) for photo in dated[1:])]
    return flag_swaps(swapped_back(followed, swapped))


def _check_alike(photos: Sequence[MeasuredPhoto]) -> None:
    """Signals of a raw and of a rendered file, or of two cameras, are in units of their own."""
    makes = {(p.kind, p.camera.name.split(", balanced in ")[0]): p.path for p in photos}
    if len(makes) > 1:
        (one, here), (other, there) = list(makes.items())[:2]
        raise CannotMeasureError(
            f"{here} is {one[0]} by {one[1]}, {there} is {other[0]} by {other[1]}: a course needs "
            "photographs of one kind by one camera; name those only"
        )


def _named(photo: MeasuredPhoto, names: Sequence[str]) -> MeasuredPhoto:
    if not names:
        return photo
    if len(names) != len(photo.samples) or len(set(names)) != len(names):
        raise CannotMeasureError(
            f"{photo.path}: {len(set(names))} different names were given, {len(photo.samples)} samples were "
            "found in this first photograph; see the annotated photograph of --out, or give --outlines"
        )
    samples = tuple(replace(s, name=n) for s, n in zip(photo.samples, names, strict=True))
    return replace(photo, samples=samples)


def _follow(first: MeasuredPhoto, reference: Array, photo: MeasuredPhoto) -> MeasuredPhoto:
    step = follow(reference, np.array([s.centre_px for s in photo.samples]))
    placed = sorted((place, i) for i, place in enumerate(step.place) if place >= 0)
    samples = tuple(replace(photo.samples[i], name=first.samples[place].name) for place, i in placed)
    return replace(photo, samples=samples, flags=(*photo.flags, *(("moved",) if step.moved else ())))


def frames_in_time(photos: Sequence[MeasuredPhoto], zero: str | None, *, opened: bool = False) -> list[Frame]:
    """The photographs with their time after zero, which may lie among them where something was ``opened``."""
    moments = [moment(p.taken_at or "", "taken_at") for p in photos]
    start = moment(zero, "--start") if zero else moments[0]
    if opened and moments[-1] <= start:
        raise WrongUseError(f"opened at {zero}: is later than the last photograph, {photos[-1].taken_at}")
    if not opened and moments[0] < start:
        raise WrongUseError(f"--start {zero}: is later than the first photograph, {photos[0].taken_at}")
    return [
        Frame((taken - start).total_seconds(), photo, {s.name: s for s in photo.samples})
        for taken, photo in zip(moments, photos, strict=True)
    ]


def moment(text: str, where: str) -> datetime:
    """A time as written; a zone is passed over, since cameras as a rule do not tell theirs."""
    try:
        return datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        raise WrongUseError(f"{where} {text}: write it as 2026-05-04T13:30") from None


def exposure(photo: MeasuredPhoto) -> float:
    """Exposure time x ISO / f-number squared, 1 where the file does not tell."""
    if photo.exposure_s and photo.iso and photo.f_number:
        return photo.exposure_s * photo.iso / photo.f_number**2
    return 1.0


def steadied(frames: list[Frame], controls: tuple[str, ...]) -> list[Frame]:
    """The frames with the lamp's brightness read from the controls; 1 where there are none."""
    if not controls:
        return [replace(frame, lamp=1.0) for frame in frames]
    levels = np.array([[level(frame, name) for frame in frames] for name in controls])
    return [replace(frame, lamp=lamp) for frame, lamp in zip(frames, _lamps(levels), strict=True)]


def _lamps(levels: Array) -> list[float]:
    """Brightness of the controls (c, n) in each frame relative to their median over all; NaN for none."""
    seen = levels[np.isfinite(levels).any(axis=1)]
    ratios = seen / np.nanmedian(seen, axis=1, keepdims=True)
    known = [r[np.isfinite(r)] for r in ratios.T]
    return [float(r.mean()) if r.size else float("nan") for r in known]


def level(frame: Frame, name: str) -> float:
    """The summed signal of one sample for unit exposure."""
    sample = _whole(frame, name)
    if sample is None or sample.linear_rgb is None:
        return float("nan")
    return sum(sample.linear_rgb) / exposure(frame.photo)


def _whole(frame: Frame, name: str) -> Sample | None:
    """The sample in this photograph, unless parts of it were clipped: the rest is no measure of it."""
    sample = frame.samples.get(name)
    return None if sample is None or sample.clipped_fraction > _CLIPPED else sample


def clipped_at_an_end(frames: list[Frame], name: str) -> bool:
    """Whether the sample is clipped where it was first or last seen: then one of its forms is not known."""
    seen = [frame for frame in frames if name in frame.samples]
    return any(_whole(frame, name) is None for frame in (seen[0], seen[-1]))


def series_of(frames: list[Frame], name: str, lamp_sd: float) -> Series:
    """Signals of one sample over all frames, NaN where it was not seen."""
    signals, covariances = [], []
    for frame in frames:
        sample = _whole(frame, name)
        scale = 1.0 / (exposure(frame.photo) * frame.lamp)
        rgb = None if sample is None else sample.linear_rgb
        noise = None if sample is None else sample.linear_rgb_covariance
        signals.append(np.full(3, np.nan) if rgb is None else np.array(rgb) * scale)
        covariances.append(np.full((3, 3), np.nan) if noise is None else np.array(noise) * scale**2)
    weights = luminance_weights(frames)
    times = np.array([frame.time_s for frame in frames])
    others = _nearest_first(frames, name)
    stray = np.array([_stray_light(frame, name, others) for frame in frames])
    photo = frames[0].photo
    basis = photo.camera.basis
    luminance_sd = _LUMINANCE_SD[photo.kind if basis == "generic" else basis]
    return Series(times, np.array(signals), np.array(covariances), lamp_sd, weights, stray, luminance_sd)


def luminance_weights(frames: list[Frame]) -> Array:
    """Weights (3,) of linear RGB that give the luminances inferred of the samples seen.

    Where too little is told, and as far as few colours leave it open, they are those of the camera's matrix.
    """
    usual = np.array(frames[0].photo.camera.luminance_weights)
    seen = [s for frame in frames for s in frame.samples.values()]
    told = [
        (s.linear_rgb, s.luminance_per_exposure, exposure(f.photo))
        for f in frames
        for s in f.samples.values()
    ]
    rows = np.array([np.array(rgb) / (Y * light) for rgb, Y, light in told if rgb and Y and Y > 0])
    if not len(rows) or len(rows) < len(seen) / 2 or not np.isfinite(rows).all():
        return usual
    scale = 1.0 / np.median(rows @ usual)
    start, size = usual * scale, np.sqrt(np.square(rows).mean(axis=0))
    ridge = _WEIGHTS_RIDGE * len(rows) * np.diag(size**2)
    change = np.linalg.solve(rows.T @ rows + ridge, rows.T @ (1.0 - rows @ start))
    return np.asarray(start + change)


def _stray_light(frame: Frame, name: str, others: list[str]) -> Array:
    """Kinds of light that may lie on this sample, one sd each (3 x r).

    Of each of its nearest neighbours, of all the others, and of the stray light that was taken off.
    """
    own = frame.samples.get(name)
    light = np.zeros((3, _NEAREST + 2))
    if own is None or own.stray_rgb is None:
        return light
    light[:, -1] = own.stray_rgb
    for rank, other in enumerate(frame.samples.get(n) for n in others):
        if other is not None and other.linear_rgb is not None:
            distance = np.subtract(own.centre_px, other.centre_px)
            share = _CROSS_SD * other.area_px / float(distance @ distance)
            light[:, min(rank, _NEAREST)] += share * np.array(other.linear_rgb)
    return np.asarray(light / (exposure(frame.photo) * frame.lamp))


def _nearest_first(frames: list[Frame], name: str) -> list[str]:
    """The other samples by their distance where this one was seen first."""
    frame = next(f for f in frames if name in f.samples)
    centre = frame.samples[name].centre_px
    others = (s for s in frame.samples.values() if s.name != name)
    return [s.name for s in sorted(others, key=lambda s: float(np.hypot(*np.subtract(s.centre_px, centre))))]
