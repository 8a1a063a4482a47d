"""Forms given from elsewhere, as directions in the camera's linear RGB: from a sample, or from a colour."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.base.given import FormGiven
from glowkin.base.uncertainty import matrix
from glowkin.camera.predicted import direction_of
from glowkin.findings.given import FormLight, Given

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.given import LuminanceRatio
    from glowkin.base.records import MeasuredPhoto
    from glowkin.base.uncertainty import Array
    from glowkin.camera.emission import Camera
    from glowkin.camera.glows import Glow

_CLIPPED = 0.01


def form_from_sample(form: str, told: str, photo: MeasuredPhoto, name: str) -> FormGiven:
    """A form from a measured sample: its channels' direction, with noise and the stray light taken off it."""
    sample = photo.sample(name)
    if sample is None:
        there = ", ".join(s.name for s in photo.samples) or "none"
        raise WrongUseError(f"--{form}-form {told}: no such sample in it; there are {there}")
    if sample.linear_rgb is None or sample.linear_rgb_covariance is None:
        raise CannotMeasureError(f"--{form}-form {told}: the sample has no light to go by; its flags say why")
    if sample.clipped_fraction > _CLIPPED:
        raise CannotMeasureError(
            f"--{form}-form {told}: the sample is clipped, and the rest is no measure of it; give a shorter "
            "exposure"
        )
    s, stray = np.array(sample.linear_rgb), np.array(sample.stray_rgb or (0.0, 0.0, 0.0))
    C = np.array(sample.linear_rgb_covariance) + np.outer(stray, stray)
    return _given(form, told, "photograph", s, C, sample.flags)


def form_from_glow(form: str, told: str, camera: Camera, glow: Glow, basis: str) -> FormGiven:
    """A form from a known colour or spectrum, as this camera would show it."""
    return _given(form, told, basis, *direction_of(camera, glow))


def check_alike(form: str, told: str, photo: MeasuredPhoto, series: MeasuredPhoto) -> None:
    """Channels of another camera, or of a file of another kind, are not those of the series."""
    one, other = ((p.kind, p.camera.name) for p in (photo, series))
    if one != other:
        raise CannotMeasureError(
            f"--{form}-form {told}: is {one[0]} by {one[1]}, the series is {other[0]} by {other[1]}; give a "
            "photograph by the same camera, or keep the form with glowkin measure --form and give the file "
            "as FORMS.json:FORM"
        )


def check_raw(given: Sequence[str], series: MeasuredPhoto) -> None:
    """A rendered series is held to nothing ``given`` (names of options): its tone curve is known too little.

    On rendered JPEG series forms outside sRGB, as saturated glows are, told nothing, and others told wrongly
    where a change stops (docs/following-a-change.md).
    """
    if given and series.kind == "rendered":
        raise CannotMeasureError(
            f"{' and '.join(given)}: a series of JPEG files cannot be held to it, as their tone curve bends "
            "what lies between two forms; photograph raw, or leave it away"
        )


def known_beforehand(forms: Sequence[FormGiven], ratio: LuminanceRatio | None) -> Given | None:
    """What a course is held to, None where nothing is given."""
    if not forms and ratio is None:
        return None
    old, new = (next((_light(f) for f in forms if f.form == which), None) for which in ("old", "new"))
    if ratio is None:
        return Given(old, new)
    return Given(old, new, ratio.value, ratio.sd / ratio.value)


def _light(form: FormGiven) -> FormLight:
    return FormLight(np.array(form.linear_rgb), np.array(form.linear_rgb_covariance))


def _given(form: str, told: str, basis: str, s: Array, C: Array, flags: tuple[str, ...] = ()) -> FormGiven:
    size = float(np.linalg.norm(s))
    r, g, b = (float(v) / size for v in s)
    return FormGiven(form, told, basis, (r, g, b), matrix(C / size**2), flags)
