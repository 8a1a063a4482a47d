"""Forms given from elsewhere, as directions in the camera's linear RGB: from a sample, or from a colour."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.base.given import FormGiven
from glowkin.base.uncertainty import matrix
from glowkin.camera.development import BALANCE
from glowkin.camera.predicted import direction_of
from glowkin.findings.given import FormLight, Given

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.given import LuminanceRatio
    from glowkin.base.records import MeasuredPhoto
    from glowkin.base.uncertainty import Array
    from glowkin.camera.emission import Camera
    from glowkin.camera.glows import Glow

_BALANCED = ", balanced in "
_AT_ZERO = 0.004
"""Share of the highest channel below which one of a rendered file is a bound, as in ``rendered``."""
_CLIPPED = 0.01


def form_from_sample(form: str, told: str, photo: MeasuredPhoto, name: str) -> FormGiven:
    """A form from a measured sample: its channels' direction, with noise and the stray light taken off it.

    A rendered file of automatic white balance has one of its own, and that is part of the error.
    """
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
    if _BALANCED in photo.camera.name:
        C = C + np.diag(np.square(BALANCE["automatic"] * s))
    if photo.kind == "rendered":
        cut = s <= _AT_ZERO * s.max()
        C = C + np.diag(np.where(cut, np.square(10.0 * s.max()), 0.0))
    return _given(form, told, "photograph", s, C, sample.flags)


def form_from_glow(form: str, told: str, camera: Camera, glow: Glow, basis: str) -> FormGiven:
    """A form from a known colour or spectrum, as this camera would show it."""
    return _given(form, told, basis, *direction_of(camera, glow))


def check_alike(form: str, told: str, photo: MeasuredPhoto, series: MeasuredPhoto) -> None:
    """Channels of another camera, or of a file of another kind, are not those of the series."""
    one, other = ((p.kind, p.camera.name.split(_BALANCED)[0]) for p in (photo, series))
    if one != other:
        raise CannotMeasureError(
            f"--{form}-form {told}: is {one[0]} by {one[1]}, the series is {other[0]} by {other[1]}; give a "
            "photograph by the same camera, or keep the form with glowkin measure --form and give the file "
            "as FORMS.json:FORM"
        )


def known_beforehand(forms: Sequence[FormGiven], ratio: LuminanceRatio | None, tone: float) -> Given | None:
    """What a course is held to, None where nothing is given; the light of rendered files is theirs to the
    power of ``tone``.
    """
    if not forms and ratio is None:
        return None
    old, new = (next((_light(f, tone) for f in forms if f.form == which), None) for which in ("old", "new"))
    if ratio is None:
        return Given(old, new)
    return Given(old, new, ratio.value, ratio.sd / ratio.value)


def _light(form: FormGiven, tone: float) -> FormLight:
    s, C = np.clip(form.linear_rgb, 1e-6, None), np.array(form.linear_rgb_covariance)
    if tone == 1.0:
        return FormLight(np.array(form.linear_rgb), C)
    slope = tone * s ** (tone - 1.0)
    return FormLight(s**tone, C * slope * slope[:, None])


def _given(form: str, told: str, basis: str, s: Array, C: Array, flags: tuple[str, ...] = ()) -> FormGiven:
    size = float(np.linalg.norm(s))
    r, g, b = (float(v) / size for v in s)
    return FormGiven(form, told, basis, (r, g, b), matrix(C / size**2), flags)
