"""Forms given from elsewhere, looked up before a course is worked out. No science here."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

from glowkin import recipes
from glowkin.base.errors import CannotMeasureError, CannotReadError, WrongUseError
from glowkin.base.given import LuminanceRatio
from glowkin.base.spectra import read_forms
from glowkin.camera.glows import known_glow
from glowkin.findings.given_forms import check_alike, check_raw, form_from_glow, form_from_sample
from glowkin.run.many import map_photos

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from glowkin.base.given import FormGiven
    from glowkin.base.records import MeasuredPhoto
    from glowkin.base.settings import Settings
    from glowkin.camera.emission import Camera
    from glowkin.findings.track import Plan

    Look = Callable[[str], MeasuredPhoto | None]
"""A photograph that was measured already, by its name; None for others."""


def with_forms(
    plan: Plan,
    photos: Sequence[MeasuredPhoto],
    settings: Settings,
    *,
    look: Look | None = None,
    camera: Camera | None = None,
    folder: Path = Path(),
) -> Plan:
    """The plan with the forms it names, as these photographs' camera shows them.

    ``look`` finds photographs that are measured, ``camera`` is the series' own where it is not told by files
    and settings, ``folder`` is where the paths of its photographs begin.
    Raises WrongUseError, CannotReadError or CannotMeasureError with the option and the mend.
    """
    forms: list[FormGiven] = []
    if photos:
        check_raw([f"--{key.replace('_', '-')}" for key in told(plan)], photos[0])
    for form, words in (("old", plan.old_form), ("new", plan.new_form)):
        if words and photos:
            file, name = parted(form, words)
            if file.lower().endswith(".json"):
                first = camera or _camera(folder / photos[0].path, settings)
                forms.append(form_from_glow(form, words, first, known_glow(words), _basis(form, file, name)))
                continue
            photo = (look and look(file)) or _measured(file, settings)
            check_alike(form, words, photo, photos[0])
            forms.append(form_from_sample(form, words, _named(photo, settings.names), name))
    return replace(plan, forms=tuple(forms))


def parted(form: str, told: str) -> tuple[str, str]:
    """File and name of what --old-form or --new-form was given."""
    file, _, name = told.rpartition(":")
    if not file or not name:
        raise WrongUseError(
            f"--{form}-form {told}: write it as PHOTO:SAMPLE, such as fresh.dng:S1, or as FORMS.json:FORM"
        )
    return file, name


def check_forms(plan: Plan) -> None:
    """Say no to what is not there before any photograph is decoded."""
    for form, told in (("old", plan.old_form), ("new", plan.new_form)):
        if told:
            file, name = parted(form, told)
            if file.lower().endswith(".json"):
                _basis(form, file, name)


def read_ratio(given: str | float | None) -> LuminanceRatio | None:
    """A luminance ratio, a number or words."""
    return None if given is None else LuminanceRatio.read(str(given), "luminance_ratio")


def told(plan: Plan) -> dict[str, str]:
    """What was given, in words to keep beside the results; without what was not."""
    ratio = plan.luminance_ratio
    words = "" if ratio is None else f"{ratio.value:g}" + (f"±{ratio.sd:g}" if ratio.sd else "")
    given = {"old_form": plan.old_form, "new_form": plan.new_form, "luminance_ratio": words}
    return {key: value for key, value in given.items() if value}


def _basis(form: str, file: str, name: str) -> str:
    there = {f.name: f for f in read_forms(Path(file))}
    if name not in there:
        raise WrongUseError(
            f"--{form}-form {file}:{name}: no such form; there are {', '.join(there) or 'none'}"
        )
    return there[name].basis


@lru_cache(maxsize=8)
def _measured(file: str, settings: Settings) -> MeasuredPhoto:
    work = partial(recipes.measure_lean, settings=replace(settings, names=(), outlines=None, references=()))
    outcome = next(iter(map_photos(work, [Path(file)])))
    if outcome.result is None:
        raise CannotReadError(outcome.message or f"{file}: cannot be read")
    return outcome.result


@lru_cache(maxsize=8)
def _camera(path: Path, settings: Settings) -> Camera:
    if not path.is_file():
        raise CannotMeasureError(
            f"{path}: is not there any more, and tells the camera that a form of a file is seen by; give the "
            "form as PHOTO:SAMPLE"
        )
    return recipes.camera_of_photo(path, settings)


def _named(photo: MeasuredPhoto, names: Sequence[str]) -> MeasuredPhoto:
    """Its samples by the series' names, where it shows as many and does not name them itself."""
    if len(names) != len(photo.samples):
        return photo
    samples = tuple(replace(s, name=n) for s, n in zip(photo.samples, names, strict=True))
    return replace(photo, samples=samples)
