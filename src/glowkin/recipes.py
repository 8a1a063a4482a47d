"""Read this first: photographs and settings in, records out, the whole way on one page. No disk writes.

light: a file becomes linear light -> samples: where they are, what stray light lies on them -> light: one
mean for each -> camera: from three channels to a chromaticity with its errors -> findings: what that
says, alone, against another, and over time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.base.records import CameraUsed, MeasuredPhoto
from glowkin.base.settings import Settings
from glowkin.camera.emission import Camera, camera_of
from glowkin.colour.observer import white_point_xy
from glowkin.findings.assemble import Evidence, sample_records
from glowkin.light.linear import reduced
from glowkin.light.noise import estimate_noise
from glowkin.light.photo import Photograph, open_photo
from glowkin.light.region import region_means
from glowkin.samples.find import Found, find_samples, found_from_outline
from glowkin.samples.stray import remove, surroundings

if TYPE_CHECKING:
    from pathlib import Path


def measure(
    path: str | Path, settings: Settings | None = None, camera: Camera | None = None
) -> MeasuredPhoto:
    """Decode one photograph and measure its samples."""
    return measure_photo(open_photo(path), settings or Settings(), camera)


def measure_photo(photo: Photograph, settings: Settings, camera: Camera | None = None) -> MeasuredPhoto:
    """Measure the samples of a decoded photograph; none found is an empty result, not an error."""
    white_xy = white_point_xy(settings.white_point, settings.observer)
    camera = camera or camera_of(photo)
    frame = reduced(photo)
    found = find_samples(frame) if settings.outlines is None else _outlined(settings.outlines, photo)
    names = _names(settings.names, found, photo)
    outlines = [f.outline_px for f in found]
    stray = surroundings(frame, outlines)
    seen = region_means(photo, outlines)
    emitted = remove(seen, stray)
    colours = camera.infer(emitted.mean, emitted.covariance, settings.observer)
    evidence = Evidence(photo, camera, found, seen, emitted, colours, stray, estimate_noise(photo))
    return MeasuredPhoto(
        path=str(photo.path),
        sha256=photo.sha256,
        taken_at=photo.metadata.taken_at,
        exposure_s=photo.metadata.exposure_s,
        iso=photo.metadata.iso,
        f_number=photo.metadata.f_number,
        kind=photo.kind,
        size_px=photo.size_px,
        camera=CameraUsed(camera.name, camera.basis, camera.luminance_weights),
        white_point=settings.white_point,
        white_point_xy=(float(white_xy[0]), float(white_xy[1])),
        observer=settings.observer,
        flags=(*photo.flags, *(() if photo.metadata.taken_at else ("time-missing",))),
        samples=sample_records(evidence, names, white_xy, settings.observer),
    )


def _outlined(outlines: tuple[tuple[tuple[float, float], ...], ...], photo: Photograph) -> list[Found]:
    """The user's outlines, in the order given, each at least partly within the photograph."""
    width, height = photo.size_px
    for number, outline in enumerate(outlines, 1):
        corners = np.array(outline)
        if (corners.max(axis=0) < 0).any() or (corners.min(axis=0) > (width, height)).any():
            raise CannotMeasureError(
                f"{photo.path}: outline {number} lies outside the photograph of {width} x {height} pixels; "
                "outlines are in its pixels, x right, y down"
            )
    return [found_from_outline(np.array(outline)) for outline in outlines]


def _names(given: tuple[str, ...], found: list[Found], photo: Photograph) -> list[str]:
    """The names given in reading order, or S1, S2, ..."""
    if not given:
        return [f"S{i}" for i in range(1, len(found) + 1)]
    if len(set(given)) != len(given):
        raise WrongUseError("--names: every name must be given once only")
    if len(given) != len(found):
        raise CannotMeasureError(
            f"{photo.path}: {len(given)} names were given, {len(found)} samples were found; "
            "see the annotated photograph of --out, or give --outlines"
        )
    return list(given)
