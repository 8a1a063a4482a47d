"""From a course to maps of its samples: which photographs to look into again, and what they show."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.findings.begins import ENDS, Seen, begins
from glowkin.findings.change import CHANGING
from glowkin.findings.maps import chosen_points, forms_of, fraction_map, scatter_of, series_frames, unmixed

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from glowkin.base.maps import FractionMap, MapFound
    from glowkin.base.records import MeasuredPhoto, SampleCourse, TimeCourse, TrackPoint
    from glowkin.findings.frames import Frame
    from glowkin.findings.maps import Forms
    from glowkin.light.crop import Crop

    Crops = Mapping[tuple[str, str], Crop]

Outline = tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Wanted:
    """What to cut out of a photograph of this content: outlines by the sample's name."""

    sha256: str
    outlines: dict[str, Outline]


@dataclass(frozen=True, eq=False)
class Plot:
    """One sample to map: its course, its two forms, and the points to show."""

    course: SampleCourse
    forms: Forms
    points: tuple[TrackPoint, ...]


@dataclass(frozen=True, eq=False)
class Plots:
    """All that is to be mapped, and what to cut out for it by the photograph's path."""

    plots: tuple[Plot, ...] = ()
    wanted: dict[str, Wanted] = field(default_factory=dict)


def plots_of(photos: Sequence[MeasuredPhoto], course: TimeCourse) -> Plots:
    """What can be mapped: samples that change between two forms that differ in colour."""
    changing = [s for s in course.samples if s.verdict == CHANGING]
    if not changing:
        return Plots()
    frames, out = series_frames(photos, course), list[Plot]()
    for sample in changing:
        forms = forms_of(frames, sample)
        if forms is not None:
            out.append(Plot(sample, forms, tuple(chosen_points(sample, forms.by_light))))
    return Plots(tuple(out), _wanted(photos, out))


def _wanted(photos: Sequence[MeasuredPhoto], plots: Sequence[Plot]) -> dict[str, Wanted]:
    by_path = {photo.path: photo for photo in photos}
    out: dict[str, Wanted] = {}
    for plot in plots:
        for point in plot.points:
            photo = by_path[point.path]
            sample = photo.sample(plot.course.name)
            if sample is not None and len(sample.outline_px) > 2:
                out.setdefault(point.path, Wanted(photo.sha256, {})).outlines[plot.course.name] = (
                    sample.outline_px
                )
    return out


def map_samples(
    photos: Sequence[MeasuredPhoto], course: TimeCourse, plots: Plots, crops: Crops
) -> tuple[TimeCourse, dict[str, tuple[FractionMap, ...]]]:
    """The course with where each change begins, and the maps by the sample's name.

    ``crops`` by path and name; those that are missing are left out.
    """
    frames = {frame.photo.path: frame for frame in series_frames(photos, course)}
    found: dict[str, MapFound] = {}
    maps: dict[str, tuple[FractionMap, ...]] = {}
    for plot in plots.plots:
        drawn = _mapped(plot, crops, frames)
        if drawn is not None:
            found[plot.course.name], maps[plot.course.name] = drawn
    samples = tuple(replace(s, map=found.get(s.name)) for s in course.samples)
    return replace(course, samples=samples), maps


def _mapped(
    plot: Plot, crops: Crops, frames: Mapping[str, Frame]
) -> tuple[MapFound, tuple[FractionMap, ...]] | None:
    name, by_light = plot.course.name, plot.forms.by_light
    points = [p for p in plot.points if (p.path, name) in crops]
    seen = []
    for point in points:
        crop, stray = crops[point.path, name], frames[point.path].samples[name].stray_rgb or (0.0, 0.0, 0.0)
        told = point.light_fraction_start if by_light else point.fraction_start
        pixels = unmixed(crop, stray, plot.forms)
        seen.append(Seen(pixels, crop.inside, crop.pixel_px, float(told or 0.0), point.path, point.time_s))
    if not seen:
        return None
    even = [scatter_of(s.pixels) for s in seen if min(abs(s.fraction), abs(1.0 - s.fraction)) <= ENDS]
    scatter = float(np.mean(even)) if even else max(scatter_of(s.pixels) for s in seen)
    maps = tuple(
        fraction_map(p, crops[p.path, name], s.pixels, scatter, by_light)
        for p, s in zip(points, seen, strict=True)
    )
    kind = frames[points[0].path].photo.kind
    return begins(seen, kind, by_light), maps
