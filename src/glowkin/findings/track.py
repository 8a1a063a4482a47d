"""Samples followed through a series of measured photographs: from records to time courses.

What the signals are is worked out in ``frames``, what they say in ``kinetics``, and what a rendered file
withholds in ``rendered``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from glowkin.base.errors import WrongUseError
from glowkin.base.ground import CONTROLS, VIOLET, LampSteadied
from glowkin.base.records import SampleCourse, TimeCourse, TrackPoint
from glowkin.base.storages import vial_of
from glowkin.findings.across import across, across_states, states_in
from glowkin.findings.bleaching import fading
from glowkin.findings.change import CHANGING
from glowkin.findings.clocks import which_clock
from glowkin.findings.frames import (
    POSITION_SD,
    Frame,
    all_series,
    clipped_at_an_end,
    exposure,
    frames_in_time,
    name_along,
    steadied,
)
from glowkin.findings.given_forms import known_beforehand
from glowkin.findings.kinetics import CourseFit, EndForm, Series, fit_course, see_only
from glowkin.findings.occasions import Occasions, occasions_of
from glowkin.findings.places import PUT_ELSEWHERE
from glowkin.findings.rate_models import RATE_MODELS
from glowkin.findings.ratios import compare_half_times
from glowkin.findings.rendered import Open, open_channels, over_tones, toned
from glowkin.findings.storage import storages_found
from glowkin.findings.tones import Filed, denied, powers_told
from glowkin.findings.violet import lit_by

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from glowkin.base.given import FormGiven, LuminanceRatio
    from glowkin.base.records import MeasuredPhoto
    from glowkin.base.storages import Vial
    from glowkin.base.study import StudyFile
    from glowkin.base.uncertainty import Array

__all__ = ["Plan", "name_along", "track_photos"]

_FILLING_SD = 0.1
"""How far vials of one batch may differ in brightness ratio where only one shows it."""


@dataclass(frozen=True)
class Plan:
    """What the user says of a series: ``controls`` do not change; ``converted`` samples end fully in the new
    form and show what the others would become; ``start`` is time zero (ISO 8601); ``swapped`` are two samples
    that changed places, each with the first photograph after it (file, name, name); ``at`` are temperatures
    (degrees Celsius) to reckon half-times for, from storages at several; ``study`` tells more of samples,
    lamps and events; ``references`` are those of the controls whose glow is known; ``all_models`` asks for
    all in tables, not only the best three. ``old_form`` and ``new_form`` name forms known from elsewhere
    (PHOTO:SAMPLE or FORMS.json:FORM), ``forms`` are these once they are looked up; ``luminance_ratio`` is
    that of the new form to the old, per amount.
    """

    controls: tuple[str, ...] = ()
    converted: tuple[str, ...] = ()
    start: str | None = None
    swapped: tuple[tuple[str, str, str], ...] = ()
    at: tuple[float, ...] = ()
    study: StudyFile | None = None
    references: tuple[str, ...] = ()
    all_models: bool = False
    old_form: str = ""
    new_form: str = ""
    luminance_ratio: LuminanceRatio | None = None
    forms: tuple[FormGiven, ...] = ()

    @property
    def zero(self) -> str | None:
        """Time zero: the start, failing that when something was first opened, as the study file tells."""
        return self.start or (self.study.zero if self.study else None)

    @property
    def said(self) -> str:
        """Where the start was given: in the study file or as an option."""
        return "start (study file)" if self.study and self.start == self.study.start else "--start"

    def told_by(self, study: StudyFile | None) -> Plan:
        """The plan with what it does not say itself as a study file has it."""
        if study is None:
            return self
        return replace(
            self,
            controls=self.controls or study.controls,
            converted=self.converted or study.converted,
            start=self.start or study.start,
            study=study,
            old_form=self.old_form or study.old_form,
            new_form=self.new_form or study.new_form,
            luminance_ratio=self.luminance_ratio or study.ratio,
        )


def track_photos(photos: Sequence[MeasuredPhoto], plan: Plan | None = None) -> TimeCourse:
    """The course of every sample through photographs from ``name_along``."""
    plan = plan or Plan()
    opened = not plan.start and plan.zero is not None
    frames = frames_in_time(photos, plan.zero, opened=opened, said=plan.said)
    told = occasions_of(frames, plan.study, plan.controls, plan.references)
    names = list(dict.fromkeys(name for frame in frames for name in frame.samples))
    _check_names(plan, names)
    rendered = frames[0].photo.kind == "rendered"
    fits = (_fit_rendered if rendered else _fit)(frames, names, plan, told)
    points, vials = _points(frames, fits, told), _vials(frames, plan, names)
    courses = tuple(_record(frames, name, fits[name], points[name], vials, plan, told) for name in names)
    apart = {*plan.controls, *(plan.study.blanks if plan.study else ())}
    stored = storages_found([c for c in courses if c.name not in apart], plan.at)
    beyond = any(at.beyond for fit in stored.arrhenius for at in fit.at)
    return TimeCourse(
        samples=courses,
        comparisons=compare_half_times(courses),
        control=", ".join(plan.controls) or None,
        start=plan.zero,
        flags=(
            *_series_flags(frames, plan, told),
            *told.flags(frames),
            *(("beyond-temperatures",) if beyond else ()),
        ),
        storages=stored.storages,
        storage_comparisons=stored.comparisons,
        arrhenius=stored.arrhenius,
        events=told.events,
        bleaching=told.faded,
        models_shown=len(RATE_MODELS) if plan.all_models else 3,
        forms_given=plan.forms,
        luminance_ratio_given=plan.luminance_ratio,
        lamp_steadied=_lamp_steadied(plan, told),
    )


def _fit(
    frames: Sequence[Frame],
    names: list[str],
    plan: Plan,
    told: Occasions,
    told_of: Mapping[str, Open] | None = None,
) -> Mapping[str, CourseFit]:
    """Every sample's course; of a rendered file from what it tells of each."""
    given = known_beforehand(plan.forms, plan.luminance_ratio)
    found = _all_series(frames, names, plan, told)
    series = {name: replace(s, given=given if changes(name, plan) else None) for name, s in found.items()}
    steady = bool(plan.controls) or told.violet is not None
    cut = {name for name in names if clipped_at_an_end(frames, name, by_bounds=steady)}
    if told_of is not None:
        series = {name: told_of[name].of(s) for name, s in series.items()}
        cut |= {name for name in names if not len(told_of[name].channels)}
    ends = _end_forms(series, plan)
    fits = {name: see_only(s) if name in cut else fit_course(s, ends.get(name)) for name, s in series.items()}
    if told.lamp_on is None:
        return fits
    return {
        name: replace(fit, clock=which_clock(series[name], *told.lamp_on, ends.get(name), fit.spoiled))
        if fit.model
        else fit
        for name, fit in fits.items()
    }


def _fit_rendered(
    frames: Sequence[Frame], names: list[str], plan: Plan, told: Occasions
) -> Mapping[str, CourseFit]:
    """Courses from what a rendered file does tell: channels where they are not at zero, under the tone curves
    that the samples leave open.

    A channel at zero is a bound, not a value; where none is left, or the lamp is not known and so all three
    are needed, only whether something changes is said.
    """
    told_of = open_channels(frames, names, whole=not plan.controls, together=bool(plan.converted))
    plain = _all_series(frames, names, plan, told)
    telling = [n for n in names if len(told_of[n].channels) and not clipped_at_an_end(frames, n)]
    filed = _filed(frames, plain, plan, told)
    power, *limits = powers_told(filed, telling, lambda name, series: told_of[name].of(series))
    best = _fit(toned(frames, power), names, plan, told, told_of)
    more = [_fit(toned(frames, limit), names, plan, told, told_of) for limit in limits]
    fits = {name: over_tones(best[name], [fits[name] for fits in more]) for name in names}
    return {name: _seen_whole(fit, filed, name, told_of[name]) for name, fit in fits.items()}


def _filed(frames: Sequence[Frame], plain: Mapping[str, Series], plan: Plan, told: Occasions) -> Filed:
    steady = fading(told.faded) or plan.controls
    lamps = np.array([frame.lamp for frame in steadied(frames, steady)])
    return Filed(plain, np.array([exposure(frame.photo) for frame in frames]) * lamps, steady)


def _seen_whole(fit: CourseFit, filed: Filed, name: str, told: Open) -> CourseFit:
    """Whether two forms do not suffice, which is all a rendered file tells of it; and that what turns from a
    bound into a value has changed, though the values by themselves do not tell.
    """
    plain = filed.series[name]
    if fit.verdict != CHANGING:
        seen = see_only(plain)
        return seen if seen.verdict == CHANGING else fit
    good = np.setdiff1d(plain.usable(), fit.spoiled, assume_unique=True)
    refused = len(told.channels) and denied(filed, name, lambda s: told.of(s).take(good))
    return replace(fit, two_forms_suffice=False if refused else None)


def _all_series(frames: Sequence[Frame], names: list[str], plan: Plan, told: Occasions) -> dict[str, Series]:
    if told.violet is not None:
        steady, lamp_sd = lit_by(frames, told.violet.levels), told.violet.sd
    else:
        lamp_sd = POSITION_SD if plan.controls else np.inf
        steady = steadied(frames, fading(told.faded) or plan.controls)
    found = all_series(steady, names, lamp_sd)
    return {name: told.on(series, frames, name) for name, series in found.items()}


def changes(name: str, plan: Plan) -> bool:
    """Whether a sample is one of those that turn from the old form into the new."""
    return name not in plan.controls and not (plan.study and name in plan.study.blanks)


def _check_names(plan: Plan, names: list[str]) -> None:
    for option, given in (("--control", plan.controls), ("--converted", plan.converted)):
        for name in given:
            if name not in names:
                raise WrongUseError(f"{option} {name}: no such sample; there are {', '.join(names)}")


def _end_forms(series: dict[str, Series], plan: Plan) -> dict[str, EndForm]:
    """What each sample would look like fully converted, from those that converted, by their own start."""
    if not plan.converted or not plan.controls:
        return {}
    shown = [fit_course(series[name]) for name in plan.converted]
    pairs = zip(shown, plan.converted, strict=True)
    relative = [end for fit, name in pairs if (end := _relative_end(fit, series[name]))]
    if not relative:
        return {}
    ends = np.array([r[0] for r in relative])
    mean, spread = ends.mean(axis=0), relative[0][1] + np.outer(ends[0], ends[0]) * _FILLING_SD**2
    if len(ends) > 2:
        spread = np.mean([r[1] for r in relative], axis=0) / len(ends) + np.cov(ends.T) * (1 + 1 / len(ends))
    out = {}
    for name, s in series.items():
        if name not in plan.converted and name not in plan.controls:
            first = _start_level(s)
            out[name] = EndForm(mean * first, spread * first**2)
    return out


def _relative_end(fit: CourseFit, series: Series) -> tuple[Array, Array] | None:
    """End signal and covariance in units of the sample's own starting luminance."""
    if fit.end_signal is None or fit.half_time_s is None:
        return None
    first = _start_level(series)
    return fit.end_signal.signal / first, fit.end_signal.covariance / first**2


def _start_level(series: Series) -> float:
    """Luminance of the first usable frame that is clipped in no channel."""
    index = series.usable()
    index = index if series.bounds is None else index[~series.bounds[index].any(axis=1)]
    return float(series.signals[index[0]] @ series.luminance_weights) if len(index) else float("nan")


def _record(
    frames: Sequence[Frame],
    name: str,
    fit: CourseFit,
    points: Sequence[TrackPoint],
    vials: Mapping[str, Vial],
    plan: Plan,
    told: Occasions,
) -> SampleCourse:
    alone = sum(v.condition == vials[name].condition for v in vials.values()) < 2
    checks = {
        "single-vial": alone and name not in plan.controls,
        "maybe-swapped": any("maybe-swapped" in p.flags for p in points),
        "condition-changed": told.condition_changed(frames, name),
        "late-sample": points[0].path != frames[0].photo.path,
        "vanished": points[-1].path != frames[-1].photo.path,
        PUT_ELSEWHERE: any(PUT_ELSEWHERE in p.flags for p in points),
        "spoiled-frame": bool(fit.spoiled),
    }
    unlike = across_states(vials[name].states)
    flags = (*fit.flags, *(flag for flag, raised in checks.items() if raised), *unlike)
    return SampleCourse(
        name=name,
        verdict=fit.verdict,
        two_forms_suffice=fit.two_forms_suffice,
        luminance_ratio=fit.luminance_ratio,
        stops_at=fit.stops_at,
        model=fit.model,
        not_excluded=fit.not_excluded,
        half_time_s=fit.half_time_s,
        half_time_interval_s=fit.half_time_interval_s,
        light_half_time_s=fit.light_half_time_s,
        longer_than_s=fit.longer_than_s,
        models=fit.models,
        points=tuple(points),
        stops_at_interval=fit.stops_at_interval,
        flags=flags,
        vial=vials[name],
        begun_s=told.begun_s(name),
        clock=fit.clock,
        spoiled_photos=tuple(frames[i].photo.path for i in fit.spoiled),
        contradicted=fit.contradicted,
    )


def _points(
    frames: Sequence[Frame], fits: Mapping[str, CourseFit], told: Occasions
) -> dict[str, list[TrackPoint]]:
    """The points of every sample, in one pass over the frames; equal flags are one tuple."""
    out: dict[str, list[TrackPoint]] = {name: [] for name in fits}
    begun = {name: told.begun_s(name) for name in fits}
    seen: dict[tuple[str, ...], tuple[str, ...]] = {}
    for i, frame in enumerate(frames):
        lit = None if told.lamp_on is None else float(told.lamp_on[0][i])
        for name, sample in frame.samples.items():
            fit, flags = fits[name], sample.flags
            flags = (*flags, "spoiled-frame") if i in fit.spoiled else flags
            point = TrackPoint(
                time_s=frame.time_s - begun[name],
                path=frame.photo.path,
                fraction_start=fit.fraction_start[i],
                low=fit.low[i],
                high=fit.high[i],
                light_fraction_start=fit.light_fraction_start[i],
                u_prime=sample.u_prime,
                v_prime=sample.v_prime,
                luminance_relative=sample.luminance_relative,
                flags=seen.setdefault(flags, flags),
                lamp_on_s=lit,
            )
            out[name].append(point)
    return out


def _vials(frames: Sequence[Frame], plan: Plan, names: list[str]) -> dict[str, Vial]:
    """Condition, batch and states of each sample, as the study file tells or, failing that, the name."""
    if plan.study is None:
        return {name: vial_of(name) for name in names}
    told = plan.study.vials
    states = states_in(plan.study, ((frame.photo.path, frame.samples) for frame in frames))
    return {name: replace(told.get(name) or vial_of(name), states=states.get(name, ())) for name in names}


def _lamp_steadied(plan: Plan, told: Occasions) -> LampSteadied | None:
    """What the lamp's brightness was read from."""
    if plan.controls:
        return LampSteadied(CONTROLS, fading(told.faded) or plan.controls, POSITION_SD)
    return None if told.violet is None else LampSteadied(VIOLET, (), told.violet.sd)


def _series_flags(frames: Sequence[Frame], plan: Plan, told: Occasions) -> tuple[str, ...]:
    exposures = {round(exposure(frame.photo), 9) for frame in frames}
    checks = {
        "no-start-time": plan.zero is None,
        "lamp-not-steadied": not plan.controls and told.violet is None,
        "lamp-by-violet": told.violet is not None,
        "moved": any("moved" in frame.photo.flags for frame in frames),
        "exposure-changed": len(exposures) > 1,
    }
    taken = [(frame.photo.path, frame.photo.taken_at) for frame in frames]
    unlike = across(plan.study, taken) if plan.study else ()
    return (*(name for name, raised in checks.items() if raised), *unlike)
