"""Samples followed through a series of measured photographs: from records to time courses.

Photographs are put in order of capture; each sample is given the name of the place it stands on; signals
are divided by exposure and, where there is a control, by the control's brightness, which steadies the
lamp. What the signals say is worked out in ``kinetics``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.base.names import split_vial
from glowkin.base.records import MeasuredPhoto, Sample, SampleCourse, TimeCourse, TrackPoint
from glowkin.findings.kinetics import CourseFit, EndForm, Series, compare_half_times, fit_course
from glowkin.samples.follow import follow

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.uncertainty import Array

_POSITION_SD = 0.015
"""What is left of the lamp after the control is divided out, relative (common practice, no source)."""
_NEAREST = 4
_CROSS_SD = 0.02
"""Light a neighbour may throw on a sample, as a share of its own, for each square of their distance over
its size (common practice, no source)."""
_LUMINANCE_SD = {"raw": 0.16, "rendered": 0.21}
"""How far a camera's own matrix errs in the luminance ratio of two emissions (natural logarithm).

95 % of ratios lie within 0.31 and 0.42, over 26 cameras and 300 emission spectra
(``benchmarks/generic_camera.py``)."""
_FILLING_SD = 0.1
"""How far vials of one batch may differ in brightness ratio where only one shows it."""


@dataclass(frozen=True)
class Plan:
    """What the user says of a series: ``controls`` do not change; ``converted`` samples end fully in the new
    form and show what the others would become; ``start`` is time zero (ISO 8601).
    """

    controls: tuple[str, ...] = ()
    converted: tuple[str, ...] = ()
    start: str | None = None


@dataclass(frozen=True, eq=False)
class _Frame:
    """One photograph of the series: time after zero, its samples by name, and the lamp's brightness."""

    time_s: float
    photo: MeasuredPhoto
    samples: dict[str, Sample]
    lamp: float = 1.0


def name_along(photos: Sequence[MeasuredPhoto], names: Sequence[str] = ()) -> list[MeasuredPhoto]:
    """The dated photographs that hold samples, in order of capture, every sample named by its place.

    The first photograph's samples take the ``names`` given, in reading order; the others' are followed
    from there, and one that stands on no known place is left out of the series.
    """
    dated = sorted(
        (p for p in photos if p.taken_at and p.samples), key=lambda p: _moment(p.taken_at or "", "taken_at")
    )
    if len(dated) < 2:
        raise CannotMeasureError(
            f"{len(dated)} of {len(photos)} photographs have both a capture time and a sample; a course "
            "needs two at least: send the camera's own files, or put the time in their names"
        )
    first = _named(dated[0], names)
    reference = np.array([s.centre_px for s in first.samples])
    return [first, *(_follow(first, reference, photo) for photo in dated[1:])]


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


def track_photos(photos: Sequence[MeasuredPhoto], plan: Plan | None = None) -> TimeCourse:
    """The course of every sample through photographs from ``name_along``."""
    plan = plan or Plan()
    frames = _frames(photos, plan)
    names = list(dict.fromkeys(name for frame in frames for name in frame.samples))
    _check_names(plan, names)
    frames = [replace(frame, lamp=_lamp(frame, frames, plan.controls)) for frame in frames]
    lamp_sd = _POSITION_SD if plan.controls else np.inf
    series = {name: _series(frames, name, lamp_sd) for name in names}
    ends = _end_forms(series, plan)
    fits = {name: fit_course(s, ends.get(name)) for name, s in series.items()}
    courses = tuple(_record(frames, name, fits[name], names, plan) for name in names)
    return TimeCourse(
        samples=courses,
        comparisons=compare_half_times(courses),
        control=", ".join(plan.controls) or None,
        start=plan.start,
        flags=_series_flags(frames, plan),
    )


def _frames(photos: Sequence[MeasuredPhoto], plan: Plan) -> list[_Frame]:
    """The photographs with their time after zero."""
    moments = [_moment(p.taken_at or "", "taken_at") for p in photos]
    start = _moment(plan.start, "--start") if plan.start else moments[0]
    if moments[0] < start:
        raise WrongUseError(f"--start {plan.start}: is later than the first photograph, {photos[0].taken_at}")
    return [
        _Frame((moment - start).total_seconds(), photo, {s.name: s for s in photo.samples})
        for moment, photo in zip(moments, photos, strict=True)
    ]


def _moment(text: str, where: str) -> datetime:
    """A time as written; a zone is passed over, since cameras as a rule do not tell theirs."""
    try:
        return datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        raise WrongUseError(f"{where} {text}: write it as 2026-05-04T13:30") from None


def _check_names(plan: Plan, names: list[str]) -> None:
    for option, given in (("--control", plan.controls), ("--converted", plan.converted)):
        for name in given:
            if name not in names:
                raise WrongUseError(f"{option} {name}: no such sample; there are {', '.join(names)}")


def _exposure(photo: MeasuredPhoto) -> float:
    """Exposure time x ISO / f-number squared, 1 where the file does not tell."""
    if photo.exposure_s and photo.iso and photo.f_number:
        return photo.exposure_s * photo.iso / photo.f_number**2
    return 1.0


def _lamp(frame: _Frame, frames: list[_Frame], controls: tuple[str, ...]) -> float:
    """Brightness of the controls in this frame relative to their median over the series."""
    ratios = []
    for name in controls:
        levels = [_level(f, name) for f in frames]
        now = _level(frame, name)
        if np.isfinite(now):
            ratios.append(now / np.nanmedian(levels))
    if controls and not ratios:
        return float("nan")
    return float(np.mean(ratios)) if ratios else 1.0


def _level(frame: _Frame, name: str) -> float:
    """The summed signal of one sample for unit exposure."""
    sample = frame.samples.get(name)
    if sample is None or sample.linear_rgb is None:
        return float("nan")
    return sum(sample.linear_rgb) / _exposure(frame.photo)


def _series(frames: list[_Frame], name: str, lamp_sd: float) -> Series:
    """Signals of one sample over all frames, NaN where it was not seen."""
    signals, covariances = [], []
    for frame in frames:
        sample = frame.samples.get(name)
        scale = 1.0 / (_exposure(frame.photo) * frame.lamp)
        rgb = None if sample is None else sample.linear_rgb
        noise = None if sample is None else sample.linear_rgb_covariance
        signals.append(np.full(3, np.nan) if rgb is None else np.array(rgb) * scale)
        covariances.append(np.full((3, 3), np.nan) if noise is None else np.array(noise) * scale**2)
    weights = np.array(frames[0].photo.camera.luminance_weights)
    times = np.array([frame.time_s for frame in frames])
    others = _nearest_first(frames, name)
    stray = np.array([_stray_light(frame, name, others) for frame in frames])
    photo = frames[0].photo
    luminance_sd = _LUMINANCE_SD[photo.kind] if photo.camera.basis == "generic" else 0.0
    return Series(times, np.array(signals), np.array(covariances), lamp_sd, weights, stray, luminance_sd)


def _stray_light(frame: _Frame, name: str, others: list[str]) -> Array:
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
    return np.asarray(light / (_exposure(frame.photo) * frame.lamp))


def _nearest_first(frames: list[_Frame], name: str) -> list[str]:
    """The other samples by their distance where this one was seen first."""
    frame = next(f for f in frames if name in f.samples)
    centre = frame.samples[name].centre_px
    others = (s for s in frame.samples.values() if s.name != name)
    return [s.name for s in sorted(others, key=lambda s: float(np.hypot(*np.subtract(s.centre_px, centre))))]


def _end_forms(series: dict[str, Series], plan: Plan) -> dict[str, EndForm]:
    """What each sample would look like fully converted, from those that converted, by their own start."""
    if not plan.converted or not plan.controls:
        return {}
    shown = [fit_course(series[name]) for name in plan.converted]
    pairs = zip(shown, plan.converted, strict=True)
    relative = [end for fit, name in pairs if (end := _relative_end(fit, series[name]))]
    if not relative:
        return {}
    ends = np.array([r[0] for r in relative])
    mean, spread = ends.mean(axis=0), relative[0][1] + np.outer(ends[0], ends[0]) * _FILLING_SD**2
    if len(ends) > 2:
        spread = np.mean([r[1] for r in relative], axis=0) / len(ends) + np.cov(ends.T) * (1 + 1 / len(ends))
    out = {}
    for name, s in series.items():
        if name not in plan.converted and name not in plan.controls:
            first = _start_level(s)
            out[name] = EndForm(mean * first, spread * first**2)
    return out


def _relative_end(fit: CourseFit, series: Series) -> tuple[Array, Array] | None:
    """End signal and covariance in units of the sample's own starting luminance."""
    if fit.end_signal is None or fit.half_time_s is None:
        return None
    first = _start_level(series)
    return fit.end_signal.signal / first, fit.end_signal.covariance / first**2


def _start_level(series: Series) -> float:
    """Luminance of the first usable frame."""
    index = series.usable()
    return float(series.signals[index[0]] @ series.luminance_weights) if len(index) else float("nan")


def _record(frames: list[_Frame], name: str, fit: CourseFit, names: list[str], plan: Plan) -> SampleCourse:
    alone = sum(split_vial(other)[0] == split_vial(name)[0] for other in names) < 2
    flags = (*fit.flags, *(("single-vial",) if alone and name not in plan.controls else ()))
    points = tuple(
        TrackPoint(
            time_s=frame.time_s,
            path=frame.photo.path,
            fraction_start=fit.fraction_start[i],
            low=fit.low[i],
            high=fit.high[i],
            light_fraction_start=fit.light_fraction_start[i],
            u_prime=sample.u_prime,
            v_prime=sample.v_prime,
            luminance_relative=sample.luminance_relative,
            flags=sample.flags,
        )
        for i, frame in enumerate(frames)
        if (sample := frame.samples.get(name)) is not None
    )
    return SampleCourse(
        name=name,
        verdict=fit.verdict,
        two_forms_suffice=fit.two_forms_suffice,
        luminance_ratio=fit.luminance_ratio,
        stops_at=fit.stops_at,
        model=fit.model,
        not_excluded=fit.not_excluded,
        half_time_s=fit.half_time_s,
        half_time_interval_s=fit.half_time_interval_s,
        light_half_time_s=fit.light_half_time_s,
        longer_than_s=fit.longer_than_s,
        models=fit.models,
        points=points,
        stops_at_interval=fit.stops_at_interval,
        flags=flags,
    )


def _series_flags(frames: list[_Frame], plan: Plan) -> tuple[str, ...]:
    exposures = {round(_exposure(frame.photo), 9) for frame in frames}
    checks = {
        "no-start-time": plan.start is None,
        "moved": any("moved" in frame.photo.flags for frame in frames),
        "exposure-changed": len(exposures) > 1,
    }
    return tuple(name for name, raised in checks.items() if raised)
