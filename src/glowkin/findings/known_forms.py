"""Forms kept from photographs, and the samples of photographs beside known forms, in words."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import CannotMeasureError, CannotReadError, WrongUseError
from glowkin.base.matches import (
    CANNOT_TELL,
    NOT_IDENTITY,
    FormProbability,
    KnownForm,
    Matches,
    MixtureProbability,
    SampleMatch,
)
from glowkin.base.spectra import Form
from glowkin.base.uncertainty import Uncertain, matrix
from glowkin.camera.emission import NO_NAME
from glowkin.colour.emission_shape import measured
from glowkin.findings.compare import uncertain_colour
from glowkin.findings.match import forms_ready, fraction_interval

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.matches import Assumed
    from glowkin.base.records import MeasuredPhoto, Sample
    from glowkin.findings.match import Forms, Told
    from glowkin.findings.spectrum import Told as Words


def form_of_sample(name: str, photo: MeasuredPhoto, sample: Sample, words: Words) -> Form:
    """A form from a measured sample, with the errors that it shares with whatever its camera sees.

    Two cameras that do not tell their names may be two: their errors are each form's own.
    Raises ``CannotMeasureError`` for a sample without a colour.
    """
    colour = uncertain_colour(sample)
    if colour is None or sample.x is None or sample.y is None:
        raise CannotMeasureError(f"{photo.path}: {sample.name} has no colour to keep; its flags say why")
    known = not photo.camera.name.startswith(NO_NAME)
    return Form(
        name=name,
        u_prime=float(colour.value[0]),
        v_prime=float(colour.value[1]),
        u_prime_v_prime_covariance=matrix(colour.covariance),
        x=sample.x,
        y=sample.y,
        observer=photo.observer,
        basis="photograph",
        source=words.source or f"{sample.name} in a photograph",
        excitation=words.excitation,
        notes=words.notes,
        shared_errors=sample.shared_errors if known else None,
        camera=f"{photo.camera.name}, {photo.camera.basis}",
        photograph_sha256=photo.sha256,
        flags=sample.flags,
    )


def colour_of_form(form: Form, observer: int, where: str) -> Uncertain:
    """The colour of a form with its errors; for the other observer from its spectrum, where it has one.

    Raises ``CannotReadError`` where it has none.
    """
    C = np.array(form.u_prime_v_prime_covariance, dtype=float)
    if form.observer == observer:
        shared = {source: np.array(S, dtype=float) for source, S in (form.shared_errors or {}).items()}
        own = C - sum((S @ S.T for S in shared.values()), np.zeros((2, 2)))
        return Uncertain(np.array([form.u_prime, form.v_prime]), own, shared)
    if form.wavelength_nm and form.power:
        return Uncertain(*measured(np.array(form.wavelength_nm), np.array(form.power)).uv_prime(observer))
    raise CannotReadError(
        f"{where}: form {form.name!r} is for the {form.observer}° observer and holds no spectrum, so its "
        f"colour for {observer}° is not known; match with --observer {form.observer}, or keep the form for "
        f"{observer}°"
    )


def match_photos(
    photos: Sequence[MeasuredPhoto],
    forms: Sequence[Form],
    assumed: Assumed,
    where: str,
    sha256: str = "",
    observer: int = 2,
) -> Matches:
    """Every sample of the photographs beside the forms; ``observer`` is asked for where there is none.

    Raises ``WrongUseError`` for weights of forms that there are not, ``CannotReadError`` for no forms.
    """
    if not forms:
        raise CannotReadError(f"{where}: holds no form; add one with glowkin spectrum --form")
    names = [form.name for form in forms]
    _check_weights(names, assumed, where)
    observers = {photo.observer for photo in photos} or {observer}
    if len(observers) > 1:
        raise WrongUseError("match: these photographs were measured for both observers; measure all for one")
    observer = observers.pop()
    colours = [colour_of_form(form, observer, where) for form in forms]
    ready = forms_ready(names, colours, assumed, observer) if photos else None
    samples = [match_sample(p, s, ready, assumed) for p in photos for s in p.samples] if ready else []
    known = tuple(_used(form, colour) for form, colour in zip(forms, colours, strict=True))
    return Matches(where, sha256, observer, known, assumed, tuple(samples))


def _used(form: Form, colour: Uncertain) -> KnownForm:
    u, v = (float(value) for value in colour.value)
    return KnownForm(form.name, u, v, matrix(colour.covariance), form.basis, form.source)


def _check_weights(names: Sequence[str], assumed: Assumed, where: str) -> None:
    weights = assumed.weights or {}
    unknown = [name for name in weights if name not in names]
    if unknown:
        raise WrongUseError(f"--weight {unknown[0]}: {where} has no such form; there are {', '.join(names)}")
    if not any(weights.get(name, 1.0) > 0 for name in names):
        raise WrongUseError("--weight: one form at least needs a weight above 0")


def match_sample(photo: MeasuredPhoto, sample: Sample, forms: Forms, assumed: Assumed) -> SampleMatch:
    """One sample beside the forms; without a colour every answer keeps the probability it had before."""
    colour = uncertain_colour(sample)
    told = forms.told(colour, photo.kind) if colour is not None else forms.untold()
    answered = _probabilities(photo, sample, forms, told)
    return _concluded(answered, assumed.sure) if colour is not None else answered


def _probabilities(photo: MeasuredPhoto, sample: Sample, forms: Forms, told: Told) -> SampleMatch:
    alone: list[FormProbability] = []
    mixed: list[MixtureProbability] = []
    for answer, p, weight in zip(forms.answers, told.probability, told.weight, strict=False):
        names = [forms.names[i] for i in answer.forms]
        if len(names) == 1:
            alone.append(FormProbability(names[0], answer.prior, float(p)))
            continue
        middle, low, high = fraction_interval(answer.fraction, weight)
        mixed.append(MixtureProbability(names[0], names[1], answer.prior, float(p), middle, (low, high)))
    return SampleMatch(
        path=photo.path,
        name=sample.name,
        verdict=CANNOT_TELL,
        sentence="cannot tell: the sample has no colour",
        consistent_with=(),
        not_excluded=(),
        forms=tuple(alone),
        mixtures=tuple(mixed),
        prior_of_none=forms.prior_of_none,
        probability_of_none=float(told.probability[-1]),
        u_prime=sample.u_prime,
        v_prime=sample.v_prime,
        flags=sample.flags,
    )


def _concluded(match: SampleMatch, sure: float) -> SampleMatch:
    """With the verdict, and the likeliest answers that together are as probable as was asked for."""
    likeliest = sorted(((p, forms) for forms, _, p in match.answers()), key=lambda row: -row[0])
    kept: list[tuple[str, ...]] = []
    so_far = 0.0
    for p, forms in likeliest:
        if so_far >= sure:
            break
        kept.append(forms)
        so_far += p
    verdict, forms, sentence = _verdict(match, kept, sure)
    return replace(match, verdict=verdict, sentence=sentence, consistent_with=forms, not_excluded=tuple(kept))


def _verdict(
    match: SampleMatch, kept: Sequence[tuple[str, ...]], sure: float
) -> tuple[str, tuple[str, ...], str]:
    """The verdict, the forms it names, and its sentence."""
    if len(kept) == 1:
        forms = kept[0]
        if not forms:
            return "none of the forms", (), "colour consistent with none of the forms"
        verdict = "one form" if len(forms) == 1 else "mixture of two forms"
        what = forms[0] if len(forms) == 1 else f"a mixture of {forms[0]} and {forms[1]}"
        return verdict, forms, f"colour consistent with {what}; {NOT_IDENTITY}"
    takes_part = {f.form: match.probability_with(f.form) for f in match.forms}
    likeliest = max(takes_part, key=lambda name: takes_part[name])
    if takes_part[likeliest] >= sure:
        sentence = f"colour consistent with {likeliest}, alone or mixed; {NOT_IDENTITY}"
        return "one form, alone or mixed", (likeliest,), sentence
    return CANNOT_TELL, (), f"{CANNOT_TELL}: {_either(kept)}"


def _either(kept: Sequence[tuple[str, ...]], most: int = 4) -> str:
    words = [" with ".join(forms) if forms else "none of them" for forms in kept]
    words = words if len(words) <= most else [*words[:most], f"{len(words) - most} more"]
    return f"{', '.join(words[:-1])} or {words[-1]}"
