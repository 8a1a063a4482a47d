"""A series of measured photographs in order, and the signals of each sample through it.

Photographs are put in order of capture; each sample is given the name of the place it stands on; signals
are divided by exposure and, where there is a control, by the control's brightness, which steadies the lamp.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, TypeAlias, overload

import numpy as np

from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.base.records import CHANNELS
from glowkin.base.shelf import Shelf, kept_as
from glowkin.findings.places import follow_all
from glowkin.findings.swaps import flag_swaps, swapped_back
from glowkin.findings.unmix import Series

if TYPE_CHECKING:
    from glowkin.base.records import Matrix, MeasuredPhoto, Sample
    from glowkin.base.uncertainty import Array

POSITION_SD = 0.015
"""What is left of the lamp after the control is divided out, relative (common practice, no source)."""
_CLIPPED = 0.01
_CLEAR = 4
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


Photos: TypeAlias = "list[MeasuredPhoto] | Shelf[MeasuredPhoto]"


@dataclass(frozen=True, eq=False)
class Frame:
    """One photograph of the series: time after zero, its samples by name, and the lamp's brightness."""

    time_s: float
    photo: MeasuredPhoto
    samples: dict[str, Sample]
    lamp: float = 1.0


@dataclass(frozen=True, eq=False)
class ShelvedFrames(Sequence[Frame]):
    """Frames of photographs on a shelf, each made when it is asked for; then changed, as by a tone curve."""

    photos: Shelf[MeasuredPhoto]
    times_s: Array
    lamps: Array
    change: Callable[[Frame], Frame] | None = None

    def __len__(self) -> int:
        """How many there are."""
        return len(self.photos)

    @overload
    def __getitem__(self, index: int) -> Frame: ...
    @overload
    def __getitem__(self, index: slice) -> list[Frame]: ...
    def __getitem__(self, index: int | slice) -> Frame | list[Frame]:
        """One frame, or a list of them."""
        if isinstance(index, slice):
            return [self[i] for i in range(*index.indices(len(self)))]
        frame = _frame(self.photos[index], float(self.times_s[index]), float(self.lamps[index]))
        return frame if self.change is None else self.change(frame)


def changed(frames: Sequence[Frame], change: Callable[[Frame], Frame]) -> Sequence[Frame]:
    """Each frame so changed; of those on a shelf when it is asked for."""
    if isinstance(frames, ShelvedFrames):
        return replace(frames, change=change)
    return [change(frame) for frame in frames]


def _frame(photo: MeasuredPhoto, time_s: float, lamp: float = 1.0) -> Frame:
    return Frame(time_s, photo, {s.name: s for s in photo.samples}, lamp)


def name_along(
    photos: Sequence[MeasuredPhoto], names: Sequence[str] = (), swapped: Sequence[tuple[str, str, str]] = ()
) -> Photos:
    """The dated photographs that hold samples, in order of capture, every sample named by its place.

    The first photograph's samples take the ``names`` given, in reading order; the others' are followed
    from there, late ones named on (see ``places``). ``swapped``: samples that changed places, each with the
    first photograph after it; others that may have are flagged.
    """
    taken = {i: p.taken_at for i, p in enumerate(photos) if p.taken_at and p.samples}
    order = sorted(taken, key=lambda i: moment(taken[i], "taken_at"))
    if len(order) < 2:
        raise CannotMeasureError(
            f"{len(order)} of {len(photos)} photographs have both a capture time and a sample; a course "
            "needs two at least: send the camera's own files, or put the time in their names"
        )
    _check_alike(photos[i] for i in order)
    followed = follow_all((photos[i] for i in order), names)
    named = kept_as(photos, (followed.name(photos[i], number) for number, i in enumerate(order)))
    return kept_as(photos, flag_swaps(swapped_back(named, swapped)))


def _check_alike(photos: Iterable[MeasuredPhoto]) -> None:
    """Signals of a raw and of a rendered file, or of two cameras, are in units of their own."""
    makes = {(p.kind, p.camera.name.split(", balanced in ")[0]): p.path for p in photos}
    if len(makes) > 1:
        (one, here), (other, there) = list(makes.items())[:2]
        raise CannotMeasureError(
            f"{here} is {one[0]} by {one[1]}, {there} is {other[0]} by {other[1]}: a course needs "
            "photographs of one kind by one camera; name those only"
        )


def frames_in_time(
    photos: Sequence[MeasuredPhoto], zero: str | None, *, opened: bool = False, said: str = "--start"
) -> Sequence[Frame]:
    """The photographs with their time after zero, which may lie among them where something was ``opened``;
    ``said`` tells where zero was given.
    """
    moments = [moment(p.taken_at or "", "taken_at") for p in photos]
    start = moment(zero, said) if zero else moments[0]
    if opened and moments[-1] <= start:
        raise WrongUseError(f"opened at {zero}: is later than the last photograph, {photos[-1].taken_at}")
    if not opened and moments[0] < start:
        first = f"{photos[0].path} of {photos[0].taken_at}"
        raise WrongUseError(
            f"{said} {zero}: is later than the first photograph, {first}; name the photographs of the series"
        )
    times = [(taken - start).total_seconds() for taken in moments]
    if isinstance(photos, Shelf):
        return ShelvedFrames(photos, np.array(times), np.ones(len(times)))
    return [_frame(photo, time_s) for photo, time_s in zip(photos, times, strict=True)]


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


def steadied(frames: Sequence[Frame], controls: tuple[str, ...]) -> Sequence[Frame]:
    """The frames with the lamp's brightness read from the controls; 1 where there are none."""
    levels = np.array([[level(frame, name) for name in controls] for frame in frames]).T
    lamps = _lamps(levels) if controls else [1.0] * len(frames)
    if isinstance(frames, ShelvedFrames):
        return replace(frames, lamps=np.array(lamps))
    return [replace(frame, lamp=lamp) for frame, lamp in zip(frames, lamps, strict=True)]


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


def clipped_at_an_end(frames: Sequence[Frame], name: str, *, by_bounds: bool = False) -> bool:
    """Whether the sample is clipped where it was first or last seen: then one of its forms is not known.

    ``by_bounds``: its other channels tell, if two are left there and four photographs show all.
    """
    ends = [next(f for f in order if name in f.samples) for order in (frames, reversed(frames))]
    lost = [frame for frame in ends if _whole(frame, name) is None]
    if not lost or not by_bounds:
        return bool(lost)
    clear = sum(_whole(frame, name) is not None for frame in frames)
    return clear < _CLEAR or any(len(_bounds(frame, name)) != 1 for frame in lost)


def _bounds(frame: Frame, name: str) -> tuple[str, ...]:
    """The channels of a clipped sample of which only the least is known; none where nothing is known."""
    sample = frame.samples.get(name)
    return () if sample is None or sample.bound_rgb is None else sample.bound_channels


def series_of(frames: Sequence[Frame], name: str, lamp_sd: float) -> Series:
    """Signals of one sample over all frames, NaN where it was not seen."""
    return all_series(frames, [name], lamp_sd)[name]


def all_series(frames: Sequence[Frame], names: Sequence[str], lamp_sd: float) -> dict[str, Series]:
    """``series_of`` each of these samples, in one pass over the frames.

    Where a sample is clipped in one channel, and the lamp is known, the others count and that is a bound.
    """
    n, m = len(frames), len(names)
    signals, covariances = np.full((m, n, 3), np.nan), np.full((m, n, 3, 3), np.nan)
    stray, times = np.zeros((m, n, 3, _NEAREST + 2)), np.zeros(n)
    bounds = np.zeros((m, n, 3), dtype=bool)
    others = _nearest_first(frames, names)
    for i, frame in enumerate(frames):
        times[i], scale = frame.time_s, 1.0 / (exposure(frame.photo) * frame.lamp)
        for k, name in enumerate(names):
            seen = _signal(frame, name, by_bounds=bool(np.isfinite(lamp_sd)))
            if seen is not None:
                signals[k, i], covariances[k, i] = np.array(seen[0]) * scale, np.array(seen[1]) * scale**2
                bounds[k, i] = seen[2]
            stray[k, i] = _stray_light(frame, name, others[name])
    weights, photo = luminance_weights(frames), frames[0].photo
    luminance_sd = _LUMINANCE_SD[photo.kind if photo.camera.basis == "generic" else photo.camera.basis]
    found = {
        name: Series(times, signals[k], covariances[k], lamp_sd, weights, stray[k], luminance_sd)
        for k, name in enumerate(names)
    }
    for name, cut in zip(names, bounds, strict=True):
        if cut.any():
            found[name] = replace(found[name].bounded(cut), least=True)
    return found


def _signal(
    frame: Frame, name: str, *, by_bounds: bool
) -> tuple[tuple[float, ...], Matrix, list[bool]] | None:
    """Channels of a sample in one photograph, their covariance, and which of them are bounds; None where it
    is not seen, or clipped in more than one.
    """
    sample, one = _whole(frame, name), len(_bounds(frame, name)) == 1
    if sample is not None and sample.linear_rgb is not None and sample.linear_rgb_covariance is not None:
        return sample.linear_rgb, sample.linear_rgb_covariance, [False] * 3
    sample = frame.samples.get(name) if sample is None and by_bounds and one else None
    if sample is None or sample.bound_rgb is None or sample.bound_rgb_covariance is None:
        return None
    return sample.bound_rgb, sample.bound_rgb_covariance, [c in sample.bound_channels for c in CHANNELS]


def luminance_weights(frames: Sequence[Frame]) -> Array:
    """Weights (3,) of linear RGB that give the luminances inferred of the samples seen.

    Where too little is told, and as far as few colours leave it open, they are those of the camera's matrix.
    Samples of a raw file too dark to tell a colour, as those that went out, say nothing: theirs are noise.
    """
    usual = np.array(frames[0].photo.camera.luminance_weights)
    told, seen = array("d"), 0
    for frame in frames:
        light, noisy = exposure(frame.photo), frame.photo.kind == "raw"
        for s in frame.samples.values():
            if noisy and {"underexposed", "colour-not-told"} <= set(s.flags):
                continue
            seen += 1
            if s.linear_rgb and s.luminance_per_exposure and s.luminance_per_exposure > 0:
                told.extend(np.array(s.linear_rgb) / (s.luminance_per_exposure * light))
    rows = np.array(told).reshape(-1, 3)
    if not len(rows) or len(rows) < seen / 2 or not np.isfinite(rows).all():
        return usual
    scale = 1.0 / np.median(rows @ usual)
    start, size = usual * scale, np.sqrt(np.square(rows).mean(axis=0))
    ridge = _WEIGHTS_RIDGE * len(rows) * np.diag(size**2)
    change = np.linalg.solve(rows.T @ rows + ridge, rows.T @ (1.0 - rows @ start))
    found = np.asarray(start + change)
    return found if (rows @ found > 0.0).all() else usual


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


def _nearest_first(frames: Sequence[Frame], names: Sequence[str]) -> dict[str, list[str]]:
    """For each sample the others by their distance where it was seen first."""
    out: dict[str, list[str]] = {}
    for frame in frames:
        for name in (n for n in names if n in frame.samples and n not in out):
            centre = frame.samples[name].centre_px
            others = [s for s in frame.samples.values() if s.name != name]
            others.sort(key=lambda s: float(np.hypot(*np.subtract(s.centre_px, centre))))
            out[name] = [s.name for s in others]
        if len(out) == len(names):
            break
    return out
