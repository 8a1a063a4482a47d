"""From a course to maps of its samples: which photographs to look into again, and what they show."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.findings.begins import ENDS, Seen, begins
from glowkin.findings.change import CHANGING
from glowkin.findings.maps import (
    chosen_points,
    forms_of,
    fraction_map,
    fraction_told,
    scatter_of,
    series_frames,
    unmixed,
)
from glowkin.samples.follow import pairs, similarity

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from glowkin.base.maps import FractionMap, MapFound
    from glowkin.base.records import MeasuredPhoto, SampleCourse, TimeCourse, TrackPoint
    from glowkin.findings.frames import Frame
    from glowkin.findings.maps import Forms
    from glowkin.light.crop import Crop

    Crops = Mapping[tuple[str, str], Crop]

Outline = tuple[tuple[float, ...], ...]
_PART = 0.8
"""An outline smaller than this share of the sample's usual area holds only part of it."""


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


def plots_of(
    photos: Sequence[MeasuredPhoto],
    course: TimeCourse,
    outlined: Callable[[MeasuredPhoto], MeasuredPhoto] | None = None,
) -> Plots:
    """What can be mapped: samples that change between two forms that differ in colour.

    ``outlined`` gives a photograph that was kept without its outlines these again.
    """
    changing = [s for s in course.samples if s.verdict == CHANGING]
    if not changing:
        return Plots()
    frames, out = series_frames(photos, course), list[Plot]()
    comparable = not {"lamp-changed", "arrangement-moved"} & set(course.flags)
    for sample in changing:
        forms = forms_of(frames, sample, comparable=comparable)
        if forms is not None:
            out.append(Plot(sample, forms, tuple(chosen_points(sample, forms.by_light))))
    return Plots(tuple(out), _wanted(photos, out, outlined or (lambda photo: photo)))


def _wanted(
    photos: Sequence[MeasuredPhoto],
    plots: Sequence[Plot],
    outlined: Callable[[MeasuredPhoto], MeasuredPhoto],
) -> dict[str, Wanted]:
    place = {photo.path: i for i, photo in enumerate(photos)}
    out: dict[str, Wanted] = {}
    for plot in plots:
        name = plot.course.name
        whole = outlined(photos[_whole(photos, [place[point.path] for point in plot.course.points], name)])
        for point in plot.points:
            photo = outlined(photos[place[point.path]])
            outline = outline_of(photo, name, whole)
            if len(outline) > 2:
                out.setdefault(point.path, Wanted(photo.sha256, {})).outlines[name] = outline
    return out


def _whole(photos: Sequence[MeasuredPhoto], places: Sequence[int], name: str) -> int:
    """The place of the photograph that shows the sample at its middle size."""
    sized = sorted((s.area_px, i) for i in places if (s := photos[i].sample(name)))
    return sized[len(sized) // 2][1]


def outline_of(photo: MeasuredPhoto, name: str, whole: MeasuredPhoto) -> Outline:
    """A sample's outline; where only part of it was found, half converted and bright there, that of another
    photograph, laid on this one by the other samples.
    """
    here, there = photo.sample(name), whole.sample(name)
    if here is None or there is None:
        return ()
    others = [s.name for s in photo.samples if s.name != name and whole.sample(s.name)]
    if here.area_px >= _PART * there.area_px or len(others) < 2:
        return here.outline_px
    lay = similarity(*(np.array([p.sample(n).centre_px for n in others]) for p in (whole, photo)))  # type: ignore[union-attr]
    return pairs(lay(np.array(there.outline_px)))


def map_samples(
    photos: Sequence[MeasuredPhoto], course: TimeCourse, plots: Plots, crops: Crops
) -> tuple[TimeCourse, dict[str, tuple[FractionMap, ...]]]:
    """The course with where each change begins, and the maps by the sample's name.

    ``crops`` by path and name; those that are missing are left out.
    """
    there = {path for path, _ in crops}
    frames = {f.photo.path: f for f in series_frames(photos, course) if f.photo.path in there}
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
        told = fraction_told(point, by_light)
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
