"""Maps of a course in a study: some of its photographs are looked into again, as they were measured."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

from glowkin import recipes
from glowkin.base.errors import GlowkinError
from glowkin.run.many import map_photos
from glowkin.study.measuring import Files
from glowkin.study.pictures import mend

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from glowkin.base.maps import FractionMap
    from glowkin.base.records import MeasuredPhoto, TimeCourse
    from glowkin.findings.mapped import Crops, Wanted
    from glowkin.light.crop import Crop
    from glowkin.study.reading import Reading


def map_course(
    reading: Reading,
    numbers: Mapping[str, int],
    series: Sequence[MeasuredPhoto],
    course: TimeCourse,
    jobs: int,
) -> tuple[TimeCourse, dict[str, tuple[FractionMap, ...]], list[str]]:
    """The course with where each change begins, maps by the sample's name, and why there are none of some
    photographs. ``numbers``: of the measurement of each photograph, by its path.
    """

    @cache
    def record(path: str) -> MeasuredPhoto:
        return reading.record(numbers[path])

    plots = recipes.to_map(series, course, lambda photo: outlined(photo, record(photo.path)))
    crops, missing = _cut_out(reading, numbers, plots.wanted, jobs)
    course, maps = recipes.mapped(series, course, plots, crops)
    return course, maps, missing


def outlined(photo: MeasuredPhoto, whole: MeasuredPhoto) -> MeasuredPhoto:
    """A photograph of a series, its samples named by place, with the outlines that its record has."""
    told = {(s.centre_px, s.area_px): s.outline_px for s in whole.samples}
    samples = tuple(replace(s, outline_px=told[s.centre_px, s.area_px]) for s in photo.samples)
    return replace(photo, samples=samples, rejected=whole.rejected)


def _cut_out(
    reading: Reading, numbers: Mapping[str, int], wanted: Mapping[str, Wanted], jobs: int
) -> tuple[Crops, list[str]]:
    """What is wanted of each photograph, by its path and the sample's name; why there is nothing of some."""
    crops: dict[tuple[str, str], Crop] = {}
    missing: list[str] = []
    with tempfile.TemporaryDirectory(prefix="glowkin-") as drawer:
        files = Files(reading, Path(drawer))
        for settings_id, paths in _by_settings(reading, numbers, wanted).items():
            there: dict[Path, str] = {}
            for path in paths:
                picture = reading.picture(wanted[path].sha256)
                state = picture.state(reading.folder) if picture else "missing"
                if picture and state == "there":
                    there[picture.file(reading.folder)] = path
                elif picture:
                    missing.append(mend(picture, state))
            if not there:
                continue
            try:
                settings = files.settings(settings_id)
            except GlowkinError as error:
                missing.append(str(error))
                continue
            outlines = {str(file): wanted[path] for file, path in there.items()}
            work = partial(recipes.cut_out, settings=settings, outlines=outlines)
            for outcome in map_photos(work, list(there), jobs):
                path = there[outcome.path]
                crops |= {(path, name): crop for name, crop in (outcome.result or {}).items()}
                missing += [outcome.message] if outcome.message else []
    return crops, missing


def _by_settings(
    reading: Reading, numbers: Mapping[str, int], wanted: Mapping[str, Wanted]
) -> dict[int, list[str]]:
    """The paths by the number of the settings that each was measured by."""
    out: dict[int, list[str]] = {}
    for path in wanted:
        out.setdefault(reading.settings_of(numbers[path]), []).append(path)
    return out
