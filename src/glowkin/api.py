"""The doors for Python: one photograph a call, options by name."""

from __future__ import annotations

from os import PathLike
from typing import TYPE_CHECKING, TypeAlias

from glowkin import recipes
from glowkin.base.errors import CannotMeasureError
from glowkin.base.matches import Assumed
from glowkin.base.priors import PRIOR_OF_MIXTURES, PRIOR_OF_NONE, SURE, VARIATION
from glowkin.base.records import Comparison, MeasuredPhoto, TimeCourse
from glowkin.base.settings import Settings
from glowkin.findings.compare import TOLERANCE
from glowkin.findings.track import Plan
from glowkin.giving import read_ratio, with_forms

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from glowkin.base.checks import ShotCheck
    from glowkin.base.matches import Matches
    from glowkin.base.preparations import Preparation
    from glowkin.base.spectra import Form, SpectrumRead
    from glowkin.base.study import StudyFile
    from glowkin.camera.emission import Camera

Frames: TypeAlias = "str | Path | Sequence[str | Path]"
Outline = tuple[tuple[float, float], ...]


def measure(
    photo: str | Path | Sequence[str | Path],
    *,
    camera: Camera | str | Path | None = None,
    names: Sequence[str] = (),
    outlines: Sequence[Outline] | None = None,
    white_point: str = "E",
    observer: int = 2,
    lamp_off: Frames = (),
    lens_capped: Frames = (),
    flat: Frames = (),
    blank: Frames = (),
    filter: str | Path | None = None,  # noqa: A002 - the trade's word, and the command's
    references: Mapping[str, str] | None = None,
) -> MeasuredPhoto:
    """Measure the samples of one photograph, or of one scene in several exposures.

    ``names`` are in reading order, ``outlines`` polygons of (x, y) pixels, ``white_point`` a name or "x,y",
    ``observer`` 2 or 10 degrees, ``camera`` a camera or its file, ``filter`` the file of a filter before the
    lens. ``lamp_off``, ``lens_capped``, ``flat`` and ``blank`` are frames taken beside it: a path, or several
    to be averaged.
    ``references`` are samples of known glow, as {"vial": "fluorescein"}: that, ``quinine-sulfate``, a
    spectrum file, or ``FORMS.json:FORM``.
    Raises CannotReadError, CannotMeasureError or WrongUseError with a sentence that names the mend.
    Files are decoded in this process; ``glowkin.run.map`` decodes in others, with limits.
    """
    polygons = None if outlines is None else tuple(tuple(outline) for outline in outlines)
    off, dark, even, nothing = (_several(given) for given in (lamp_off, lens_capped, flat, blank))
    glows = tuple((references or {}).items())
    file, known = _file_or_camera(camera)
    ways = white_point, observer, tuple(names), polygons
    settings = Settings(*ways, off, dark, even, nothing, file, filter, references=glows)
    return recipes.measure(photo, settings, known)


def _file_or_camera(camera: Camera | str | Path | None) -> tuple[str | Path | None, Camera | None]:
    return (camera, None) if camera is None or isinstance(camera, str | PathLike) else (None, camera)


def _several(given: Frames) -> tuple[str | Path, ...]:
    return (given,) if isinstance(given, str | PathLike) else tuple(given)


def check(
    photo: str | Path | Sequence[str | Path],
    *,
    names: Sequence[str] = (),
    outlines: Sequence[Outline] | None = None,
    lamp_off: Frames = (),
    lens_capped: Frames = (),
    flat: Frames = (),
    blank: Frames = (),
    camera: Camera | str | Path | None = None,
    filter: str | Path | None = None,  # noqa: A002 - the trade's word, and the command's
) -> ShotCheck | list[ShotCheck]:
    """Say whether a photograph can be measured, and what to change at the next shot.

    Of several photographs, taken as one series, a list comes back, and changes between them are told too.
    ``names``, ``outlines``, the frames, ``camera`` and ``filter`` are as in ``measure``.
    """
    polygons = None if outlines is None else tuple(tuple(outline) for outline in outlines)
    off, dark, even, nothing = (_several(given) for given in (lamp_off, lens_capped, flat, blank))
    file, known = _file_or_camera(camera)
    settings = Settings("E", 2, tuple(names), polygons, off, dark, even, nothing, file, filter)
    photos = [photo] if isinstance(photo, str | PathLike) else photo
    checks = recipes.check_series([recipes.check(one, settings, known) for one in photos])
    return checks[0] if isinstance(photo, str | PathLike) else checks


def compare(
    a: tuple[MeasuredPhoto, str],
    b: tuple[MeasuredPhoto, str],
    *,
    tolerance: float = TOLERANCE,
    lab_white: str | None = None,
    study: StudyFile | str | Path | None = None,
) -> Comparison:
    """Compare two samples, each given as its photograph and its name; errors they share cancel.

    ``study``: a study file, or what was read of one; it flags photographs that were not taken alike.
    """
    photos = [a[0]] if a[0] == b[0] else [a[0], b[0]]
    pair = (f"{a[0].path}:{a[1]}", f"{b[0].path}:{b[1]}")
    found = recipes.compare(photos, [pair], tolerance, lab_white, _told(study))
    if not found:
        raise CannotMeasureError(f"{pair[0]} and {pair[1]}: one has no colour; its flags say why")
    return found[0]


def track(
    photos: Sequence[MeasuredPhoto | str | Path],
    *,
    names: Sequence[str] = (),
    controls: Sequence[str] = (),
    converted: Sequence[str] = (),
    start: str | None = None,
    swapped: Sequence[tuple[str, str, str]] = (),
    at: Sequence[float] = (),
    references: Mapping[str, str] | None = None,
    study: StudyFile | str | Path | None = None,
    old_form: str = "",
    new_form: str = "",
    luminance_ratio: str | float | None = None,
    camera: Camera | str | Path | None = None,
) -> TimeCourse:
    """Follow samples through photographs of one arrangement, measured ones or their paths.

    ``names`` are those of the first photograph's samples, ``controls`` do not change, ``converted`` turn
    fully into the new form, ``start`` is time zero (ISO 8601), ``swapped`` are samples that changed places
    (first file after it, name, name), ``at`` are temperatures (degrees Celsius) to reckon half-times for.
    ``references`` as in ``measure``: they steady the lamp as controls do. ``study``: a study file, or what
    was read of one; it tells all of this that is not given, and events, conditions and lamps.
    ``old_form`` and ``new_form`` are forms known from elsewhere, as "PHOTO:SAMPLE" or "FORMS.json:FORM";
    ``luminance_ratio`` is the new form's luminance over the old form's, per amount: a number, or "10±2" with
    its standard deviation. ``camera`` as in ``measure``, for photographs still to be measured.
    """
    measured = [p if isinstance(p, MeasuredPhoto) else measure(p, camera=camera) for p in photos]
    told = _told(study)
    plan = Plan(
        tuple(controls), tuple(converted), start, tuple(swapped), tuple(at), old_form=old_form,
        new_form=new_form, luminance_ratio=read_ratio(luminance_ratio),
    ).told_by(told)  # fmt: skip
    file, known = _file_or_camera(camera)
    settings = Settings(names=tuple(names), camera=file)
    plan = with_forms(plan, measured, settings, camera=known)
    glows = tuple((references or {}).items()) or (told.references if told else ())
    return recipes.track(measured, plan, names or (told.names if told else ()), glows)[1]


def _told(study: StudyFile | str | Path | None) -> StudyFile | None:
    if study is None or not isinstance(study, str | PathLike):
        return study
    from pathlib import Path as FilePath

    from glowkin.study.study_file import located, read_study_file

    return located(read_study_file(FilePath(study)), FilePath(study).parent)


def match(
    photos: MeasuredPhoto | str | Path | Sequence[MeasuredPhoto | str | Path],
    forms: str | Path | Sequence[Form],
    *,
    prior_of_none: float = PRIOR_OF_NONE,
    prior_of_mixtures: float = PRIOR_OF_MIXTURES,
    weights: Mapping[str, float] | None = None,
    variation: float = VARIATION,
    sure: float = SURE,
) -> Matches:
    """Which known forms the samples of photographs are consistent with: of each form, of two of them mixed,
    and of none of them the probability. A colour does not prove identity, and light is not amount.

    ``forms`` is a forms file or its forms, ``prior_of_none`` and ``prior_of_mixtures`` what is thought before
    the photograph (the rest is the forms' alone, by their ``weights``), ``variation`` how far batches of one
    form differ in u' and in v' (one standard deviation; 0.004 is common practice, no source), ``sure`` the
    probability that a verdict needs.
    Raises CannotReadError or WrongUseError with a sentence that names the mend.
    """
    from pathlib import Path as FilePath

    given = [photos] if isinstance(photos, MeasuredPhoto | str | PathLike) else photos
    seen = [p if isinstance(p, MeasuredPhoto) else measure(p) for p in given]
    file = FilePath(forms) if isinstance(forms, str | PathLike) else forms
    assumed = Assumed(prior_of_none, prior_of_mixtures, dict(weights or {}), variation, sure)
    return recipes.match(seen, file, assumed)


def spectrum(
    path: str | Path, *, photons: bool = False, white_point: str = "E", observer: int = 2
) -> SpectrumRead:
    """Colour, peak and width of a measured spectrum, a file of ``wavelength_nm,intensity``.

    ``photons``: the file counts photons; all figures are in power per nm.
    """
    from pathlib import Path as FilePath

    from glowkin.findings.spectrum import Told
    from glowkin.spectra import spectrum as read

    return read(FilePath(path), Told(white_point, observer), photons=photons)[0]


def prepare(
    path: str | Path,
    *,
    scale: float | None = None,
    to_yield_g: float | None = None,
    track: TimeCourse | str | Path | None = None,
    sample: str = "",
) -> Preparation:
    """A preparation file reckoned through, at ``scale`` times its size or so that it yields ``to_yield_g``.

    ``track``: the time course, or its track.json, of the vial that was weighed, named ``sample`` in it.
    """
    from pathlib import Path as FilePath

    from glowkin.preparing import prepared

    course = FilePath(track) if isinstance(track, str | PathLike) else track
    return prepared(FilePath(path), scale=scale, to_yield=to_yield_g, track=course, sample=sample)
