"""Read this first: photographs and settings in, records out, the whole way on one page. No disk writes.

light: a file becomes linear light -> samples: where they are, what stray light lies on them -> light: one
mean for each -> camera: from three channels to a chromaticity with its errors -> findings: what that
says, alone, against another, and over time.
"""

from __future__ import annotations

from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.base.files import named
from glowkin.base.matches import Assumed
from glowkin.base.records import CameraUsed, FrameUsed, MeasuredPhoto
from glowkin.base.settings import Settings
from glowkin.base.shelf import kept_as
from glowkin.base.spectra import read_forms
from glowkin.camera.camera_file import CameraFile, unlike_widened
from glowkin.camera.chart import check_pair, fit_chart
from glowkin.camera.emission import Camera, camera_of
from glowkin.camera.filter import given_filter
from glowkin.camera.find_chart import shows_chart
from glowkin.camera.lights import lights_seen, read_lights
from glowkin.camera.reference import checked, recentred, references_seen
from glowkin.camera.sensitivity_file import read_sensitivities
from glowkin.colour.observer import white_point_xy
from glowkin.findings.across import across, across_states, states_in
from glowkin.findings.assemble import Evidence, exposure_records, ground_record, sample_records
from glowkin.findings.check import CheckedShot, check_look, concluded, of_bracket
from glowkin.findings.check_series import series_advice
from glowkin.findings.compare import TOLERANCE, Lab, all_pairs, compare_samples, find_sample
from glowkin.findings.known_forms import form_of_sample, match_photos
from glowkin.findings.look import Look
from glowkin.findings.mapped import map_samples, plots_of
from glowkin.findings.reference import reference_flags, reference_records, with_references
from glowkin.findings.spectrum import Told
from glowkin.findings.track import Plan, name_along, track_photos
from glowkin.light.bracket import View, view
from glowkin.light.crop import crops_of
from glowkin.light.decode import open_photo
from glowkin.light.linear import reduced
from glowkin.light.masters import blank_light, correction_of, masters_of, room_light
from glowkin.light.mismatch import mismatches
from glowkin.light.noise import estimate_noise
from glowkin.light.preview import preview
from glowkin.light.region import region_means
from glowkin.samples.bounds import bounded, bounds_of
from glowkin.samples.drawn import drawn, laid
from glowkin.samples.find import find_samples
from glowkin.samples.names import names_of, references_of
from glowkin.samples.quality import photo_flags
from glowkin.samples.stray import KINDS, remove, surroundings, with_frames
from glowkin.samples.wrong_frames import frames_meant

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from numpy.typing import NDArray

    from glowkin.base.checks import ShotCheck
    from glowkin.base.maps import FractionMap
    from glowkin.base.matches import Matches
    from glowkin.base.records import Comparison, TimeCourse
    from glowkin.base.spectra import Form
    from glowkin.base.study import StudyFile
    from glowkin.base.uncertainty import Array
    from glowkin.findings.frames import Photos
    from glowkin.findings.mapped import Crops, Plots, Wanted
    from glowkin.light.crop import Crop
    from glowkin.light.photo import Photograph


def measure(
    path: str | Path | Sequence[str | Path], settings: Settings | None = None, camera: Camera | None = None
) -> MeasuredPhoto:
    """Decode one photograph, or the exposures of one scene, and measure its samples."""
    return measure_view(_opened(path), settings or Settings(), camera)


def measure_and_show(
    path: str | Path | Sequence[str | Path], settings: Settings, camera: Camera | None = None
) -> tuple[MeasuredPhoto, NDArray[np.uint8]]:
    """The measured photograph and a small sRGB picture of it, decoded once."""
    scene = _opened(path)
    return measure_view(scene, settings, camera), preview(scene.photo, scene.frame)


def measure_check_show(
    path: str | Path | Sequence[str | Path], settings: Settings
) -> tuple[MeasuredPhoto, ShotCheck, NDArray[np.uint8]]:
    """The measured photograph, what a check of it, or of all exposures, says, and a small picture."""
    scene = _opened(path)
    seen = evidence_of(scene, settings)
    same = replace(settings, outlines=tuple(tuple(map(tuple, f.outline_px.tolist())) for f in seen.found))
    shots = [evidence_of(view([p]), same) for p in scene.exposures] if scene.exposures[1:] else [seen]
    checked = concluded(of_bracket([check_look(Look(e)).check for e in shots]))
    return measured_from(seen, settings), checked, preview(scene.photo, scene.frame)


def measure_lean(path: str | Path, settings: Settings, camera: Camera | None = None) -> MeasuredPhoto:
    """The measured photograph as a long series keeps it: without outlines."""
    return measure(path, settings, camera).without_outlines()


def _opened(path: str | Path | Sequence[str | Path]) -> View:
    paths = [path] if isinstance(path, str | PathLike) else path
    return view([open_photo(p) for p in paths])


def compare(
    photos: Sequence[MeasuredPhoto],
    pairs: Sequence[tuple[str, str]] = (),
    tolerance: float = TOLERANCE,
    lab_white: str | None = None,
    study: StudyFile | None = None,
) -> list[Comparison]:
    """All pairs within each photograph, or the named ones (NAME, or FILE:NAME); flagged where a study file
    tells that their photographs were not taken alike.
    """
    chosen = [(find_sample(photos, a), find_sample(photos, b)) for a, b in pairs] or list(all_pairs(photos))
    for (photo, one), (other, two) in chosen:
        if (photo.path, one.name) == (other.path, two.name):
            raise WrongUseError(f"--pair: {one.name} is the same sample twice; name two samples")
    lab = None
    if lab_white is not None:
        x, y = white_point_xy(lab_white, photos[0].observer if photos else 2)
        lab = Lab(lab_white, (float(x), float(y)))
    found = [c for a, b in chosen if (c := compare_samples(a, b, tolerance, lab)) is not None]
    if study is None:
        return found
    taken = {p.path: p.taken_at for p in photos}
    return [_flagged(c, study, taken) for c in found]


def _flagged(c: Comparison, study: StudyFile, taken: Mapping[str, str | None]) -> Comparison:
    """The comparison with flags of what was not photographed alike."""
    states = [s for p in (c.a, c.b) for s in states_in(study, [(p.path, [p.name])]).get(p.name, ())]
    unlike = across(study, [(p.path, taken[p.path]) for p in (c.a, c.b)])
    return replace(c, flags=(*c.flags, *unlike, *across_states(states)))


def track(
    photos: Sequence[MeasuredPhoto],
    plan: Plan | None = None,
    names: Sequence[str] = (),
    references: Sequence[tuple[str, str]] = (),
) -> tuple[Photos, TimeCourse]:
    """Samples followed through photographs of one arrangement: these photographs in order of capture, every
    sample named by its place, and the courses. References are checked in each, and steady the lamp as
    controls do.
    """
    plan = plan or Plan()
    series = name_along(photos, names, plan.swapped)
    there = list(dict.fromkeys(s.name for photo in series for s in photo.samples))
    for name, _ in references:
        if name not in there:
            raise WrongUseError(f"--reference {name}: no such sample; there are {', '.join(there)}")
    known = tuple(name for name, _ in references)
    controls = tuple(dict.fromkeys((*plan.controls, *known)))
    if references:
        series = kept_as(series, (with_references(photo, references) for photo in series))
    return series, track_photos(series, replace(plan, controls=controls, references=known))


def to_map(
    photos: Sequence[MeasuredPhoto],
    course: TimeCourse,
    outlined: Callable[[MeasuredPhoto], MeasuredPhoto] | None = None,
) -> Plots:
    """Which samples of a course can be mapped, and what to cut out of which photographs for that.

    ``outlined`` gives a photograph that was kept without its outlines these again.
    """
    return plots_of(photos, course, outlined)


def mapped(
    photos: Sequence[MeasuredPhoto], course: TimeCourse, plots: Plots, crops: Crops
) -> tuple[TimeCourse, dict[str, tuple[FractionMap, ...]]]:
    """The course with where each change begins, and maps by the sample's name, from what was cut out."""
    return map_samples(photos, course, plots, crops)


def camera_of_photo(path: Path, settings: Settings) -> Camera:
    """The camera that a photograph is measured with."""
    return _camera(open_photo(path), settings)[0]


def cut_out(path: Path, settings: Settings, outlines: Mapping[str, Wanted]) -> dict[str, Crop]:
    """The samples of one photograph of a series as small pictures, for maps; empty if it is not as measured.

    ``outlines``: by the photograph's path what is wanted of it.
    """
    wanted, photo = outlines[str(path)], open_photo(path)
    if photo.sha256 != wanted.sha256:
        return {}
    masters = masters_of(settings)
    correction = correction_of(photo, masters) if masters else None
    polygons = [np.array(outline) for outline in wanted.outlines.values()]
    found = crops_of(photo, polygons, estimate_noise(photo), correction)
    return dict(zip(wanted.outlines, found, strict=True))


def match(
    photos: Sequence[MeasuredPhoto],
    forms: Path | Sequence[Form],
    assumed: Assumed | None = None,
    where: str = "given forms",
    sha256: str = "",
) -> Matches:
    """Every sample of the photographs beside known forms, those of a file or given ones, which were read from
    ``where``, a file of this hash.
    """
    if isinstance(forms, PathLike):
        told = str(forms), named(forms)["sha256"] if forms.is_file() else ""
        return match_photos(photos, read_forms(forms), assumed or Assumed(), *told)
    return match_photos(photos, forms, assumed or Assumed(), where, sha256)


def check_forms(forms: Path, assumed: Assumed, observer: int) -> None:
    """Raise what ``match`` would about forms and weights, before any photograph is decoded."""
    match_photos((), read_forms(forms), assumed, str(forms), observer=observer)


def form_of(
    photos: Sequence[MeasuredPhoto], address: str, name: str, source: str | None, excitation: str | None
) -> Form:
    """A form from a measured sample, NAME or FILE:NAME."""
    photo, sample = find_sample(photos, address, "--form")
    return form_of_sample(name, photo, sample, Told(source=source or "", excitation=excitation or ""))


def check(path: str | Path, settings: Settings | None = None, camera: Camera | None = None) -> CheckedShot:
    """Decode one photograph and say whether it can be measured; several are concluded by ``check_series``."""
    return check_look(Look(evidence_of(view([open_photo(path)]), settings or Settings(), camera)))


def check_series(shots: Sequence[CheckedShot]) -> list[ShotCheck]:
    """The checks of photographs taken as one series, with what only their comparison tells."""
    return [concluded(shot.check, extra) for shot, extra in zip(shots, series_advice(shots), strict=True)]


def measure_photo(photo: Photograph, settings: Settings, camera: Camera | None = None) -> MeasuredPhoto:
    """Measure the samples of a decoded photograph; none found is an empty result, not an error."""
    return measure_view(view([photo]), settings, camera)


def evidence_of(scene: View, settings: Settings, camera: Camera | None = None) -> Evidence:
    """What the rooms find out about the samples that one exposure or several show."""
    masters, wrong = frames_meant(masters_of(settings), scene)
    seen, scene = scene.frame, scene.corrected(masters) if masters else scene
    photo, frame = scene.photo, scene.frame
    camera, about_camera = (camera, ()) if camera is not None else _camera(photo, settings)
    finding = find_samples(frame)
    glowing = list(finding.samples)
    rings = laid(settings.outlines, glowing) if settings.series and settings.outlines else settings.outlines
    found = glowing if rings is None else drawn(rings, photo)
    names = names_of(settings, len(found), photo.path)
    outlines = [f.outline_px for f in found]
    merged = scene.means(outlines)
    glows = [f.outline_px for f in glowing]
    off = bool(masters and masters.lamp_off)
    stray = surroundings(frame, outlines, glows, merged.signals.patches, camera.white, off)
    if masters:
        blank, room = blank_light(photo, masters, outlines), room_light(scene.corrections[0], frame, outlines)
        stray = with_frames(stray, blank, room, photo.kind)
    emitted = remove(merged.signals, stray, cut=bool(masters) and photo.kind == "rendered")
    lit = emitted.covariance + stray.loadings @ stray.loadings.transpose(0, 2, 1)
    known = references_seen(references_of(settings, names), names, emitted.mean, lit, str(photo.path))
    references = checked(camera, known, settings.observer)
    trusted = [r for r in references if not r.off]
    stretched = max([r.stretched for r in trusted], default=1.0)
    centred = recentred(camera, [r.seen for r in trusted], settings.observer, photo.sha256[:8], stretched)
    free, allowed = stray.of("lamp", "cut"), stray.of(*KINDS[2:])
    colours = centred.infer(emitted.mean, emitted.covariance, settings.observer, free, allowed)
    unfit = mismatches(scene.exposures, seen, masters) if masters else ()
    of_frames = ("frame-left-out",) * bool(wrong) + ("lamp-off-mismatch",) * bool(unfit)
    chart = ("shows-a-chart",) * (settings.outlines is None and shows_chart(frame, glows))
    flags = (*photo_flags(photo, frame), *chart, *scene.flags(merged), *of_frames, *about_camera)
    flags = tuple(dict.fromkeys((*flags, *reference_flags(references))))
    return Evidence(
        photo, camera, found, emitted, colours, stray, merged, scene, names, flags, finding.rejected,
        references, left_out=wrong, unfit=unfit,
    )  # fmt: skip


def measure_view(scene: View, settings: Settings, camera: Camera | None = None) -> MeasuredPhoto:
    """Measure the samples of one exposure or several, in units of the first one's full scale."""
    return measured_from(evidence_of(scene, settings, camera), settings)


def measured_from(seen: Evidence, settings: Settings) -> MeasuredPhoto:
    """The record of what the rooms found out."""
    white_xy = white_point_xy(settings.white_point, settings.observer)
    seen = _with_bounds(seen, settings.observer)
    photo, used, masters = seen.photo, seen.camera, seen.scene.masters
    return MeasuredPhoto(
        path=str(photo.path),
        sha256=photo.sha256,
        taken_at=photo.metadata.taken_at,
        exposure_s=photo.metadata.exposure_s,
        iso=photo.metadata.iso,
        f_number=photo.metadata.f_number,
        kind=photo.kind,
        size_px=photo.size_px,
        camera=CameraUsed(used.name, used.basis, used.luminance_weights),
        white_point=settings.white_point,
        white_point_xy=(float(white_xy[0]), float(white_xy[1])),
        observer=settings.observer,
        flags=seen.flags,
        samples=sample_records(seen, seen.names, white_xy, settings.observer),
        merged_from=exposure_records(seen.scene, seen.merged),
        rejected=seen.rejected,
        references=reference_records(seen.references, settings.observer),
        ground=ground_record(seen),
        frames=tuple(FrameUsed(k, str(f.path), f.sha256) for k, f in masters.named()) if masters else (),
    )


def _with_bounds(seen: Evidence, observer: int) -> Evidence:
    """What is clipped nearly all over read from bounds, by the shortest exposure."""
    outlines = [f.outline_px for f in seen.found]
    correction = seen.scene.corrections[0] if seen.scene.corrections else None
    found = bounded(
        seen.camera, seen.colours, seen.photo, outlines, seen.emitted, seen.stray, observer, correction
    )
    single = len(seen.scene.exposures) == 1
    least = bounds_of(seen.photo, outlines, seen.emitted, seen.stray, correction) if single else None
    return replace(seen, colours=found.colours, bounds=found.channels, least=least)


def _camera(photo: Photograph, settings: Settings) -> tuple[Camera, tuple[str, ...]]:
    """The camera by its file and filter, where they are given, else by the photograph."""
    file = None if settings.camera is None else CameraFile.load(Path(settings.camera))
    behind = None if settings.filter is None else given_filter(Path(settings.filter))
    return camera_of(photo, file, behind)


def fit_camera(
    chart_photo: Path,
    corners: Array | None = None,
    chart: Path | None = None,
    chart_light: str = "daylight",
    known_lights: Path | None = None,
    known: Path | None = None,
    behind: Path | None = None,
) -> CameraFile:
    """A camera from a photograph of a chart, and of known lights listed in a file in reading order.

    ``behind`` is the filter that both were photographed through: a file of its transmittance, or its name.
    """
    through = None if behind is None else given_filter(behind)
    photo, lights = open_photo(chart_photo), None
    if known_lights is not None and known is not None:
        listed, lit = read_lights(known), open_photo(known_lights)
        check_pair(photo, lit)
        about = {"file": lit.path.name, "sha256": lit.sha256, "list": named(known)}
        lights = lights_seen(listed, _light_means(lit, known, len(listed)), about)
    return fit_chart(photo, corners, chart, chart_light, lights, through)


def _light_means(photo: Photograph, known: Path, count: int) -> Array:
    """Channel means (m x 3) of the lights found in a photograph."""
    outlines = [found.outline_px for found in find_samples(reduced(photo)).samples]
    if len(outlines) != count:
        raise CannotMeasureError(
            f"{photo.path}: {len(outlines)} lights were found, {known.name} lists {count}; list those in the "
            "photograph, left to right, then top to bottom, or cover others"
        )
    mean = region_means(photo, outlines).mean
    if not np.isfinite(mean).all():
        raise CannotMeasureError(f"{photo.path}: a light is clipped; give less exposure and photograph again")
    return mean


def import_camera(path: Path, behind: Path | None = None) -> CameraFile:
    """A camera from a file of measured sensitivities, which hold the filter they were measured ``behind``.

    One unlike the cameras of the prior is flagged, and its errors are widened.
    """
    file, through = read_sensitivities(path), None if behind is None else given_filter(behind)
    return unlike_widened(replace(file, filter=through))
