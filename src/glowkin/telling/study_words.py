"""What a report on a study says for a notebook, in supporting information, of its pictures and errors."""

from __future__ import annotations

from typing import TYPE_CHECKING

from glowkin.telling.naming import base_name
from glowkin.telling.numbers import significant
from glowkin.telling.provenance import camera_words, exposure_words
from glowkin.telling.tables import sample_errors

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from glowkin.base.records import MeasuredPhoto, TimeCourse
    from glowkin.base.study import Lamp, StudyFile
    from glowkin.telling.study_told import StudyTold

_MOST_HASHES = 24
_DIGITS = 12
_NOT_AS_TAKEN = ("edited-file", "merged-by-phone")
_BY_ITSELF = "automatic-white-balance"


def facts(told: StudyTold) -> list[tuple[str, str]]:
    """Who, when, under what licence; what is not told is left out."""
    file = told.file
    rows = [("author", file.author), ("licence", file.licence), ("study begun", told.begun[:10])]
    rows += [("time zero", (file.zero or "").replace("T", " ")), ("notes", file.notes)]
    return [(key, value) for key, value in rows if value]


def notebook(
    told: StudyTold, photos: Sequence[MeasuredPhoto], summary: Sequence[str], caution: str, program: str
) -> str:
    """The study as plain lines, to be pasted into a notebook."""
    head = [told.title, *(f"{key}: {value}" for key, value in facts(told) if key in ("author", "time zero"))]
    span = span_words(photos)
    head += [f"photographs: {len(photos)}{f', {span}' if span else ''}"]
    lines = [*head, "", *(f"- {sentence}" for sentence in summary), f"- Caution: {caution}", ""]
    if len(photos) <= _MOST_HASHES:
        hashes = (f"{base_name(p.path)} {p.sha256[:_DIGITS]}" for p in photos)
        lines.append(f"SHA-256, first {_DIGITS} digits: {'; '.join(hashes)}")
    return "\n".join([*lines, f"Intervals are 95 %. A colour does not prove identity. {program}"])


def span_words(photos: Sequence[MeasuredPhoto]) -> str:
    """From when to when they were taken."""
    taken = sorted(p.taken_at for p in photos if p.taken_at)
    if not taken:
        return ""
    first, last = (moment.replace("T", " ")[:16] for moment in (taken[0], taken[-1]))
    return f"taken {first}" if first == last else f"taken {first} to {last}"


def methods_paragraph(
    file: StudyFile, photos: Sequence[MeasuredPhoto], course: TimeCourse | None, programs: str
) -> str:
    """How it was done, in one paragraph for supporting information."""
    names = len({s.name for p in photos for s in p.samples})
    kinds = {"raw": "raw", "rendered": "developed by the camera"}
    how = " and ".join(
        f"{sum(p.kind == k for p in photos)} {w}"
        for k, w in kinds.items()
        if any(p.kind == k for p in photos)
    )
    span = span_words(photos)
    out = [
        f"Luminescence colours of {names} sample{'s' * (names != 1)} were read from {len(photos)} "
        f"photograph{'s' * (len(photos) != 1)} ({how}{f'; {span}' if span else ''})."
    ]
    out += [*_lit(file, photos), *_exposed(photos)]
    out.append(
        f"Each sample's mean in linear light was turned into CIE 1976 u′v′ ({_observers(photos)}) by "
        f"inferring its emission from the three channel means with the camera description "
        f"{_cameras(photos)}; dominant wavelength and excitation purity refer to the white point "
        f"{_whites(photos)}."
    )
    out += [_course_words(course)] if course else []
    out.append(f"Intervals are 95 %. Computed with {programs}.")
    return " ".join(out)


def _lit(file: StudyFile, photos: Sequence[MeasuredPhoto]) -> list[str]:
    """Lamp, filter and temperature, as far as the study file tells them of these photographs."""
    lamps = [_lamp(lamp) for lamp in file.lamp]
    out = [f"Lamp: {', '.join(lamps)}."] if lamps else []
    shots = [file.shot_of(p.path, p.taken_at) for p in photos]
    filters = list(dict.fromkeys(base_name(s.filter) for s in shots if s.filter))
    warm, damp = _span(s.temperature_c for s in shots), _span(s.humidity_percent for s in shots)
    said = [f"through the filter {' or '.join(filters)}"] if filters else []
    said += [f"with samples at {warm} °C"] if warm else []
    said += [f"at {damp} % relative humidity"] if damp else []
    return [*out, f"Photographs were taken {', '.join(said)}."] if said else out


def _span(values: Iterable[float | None]) -> str:
    """The one value told, or from the least to the largest; empty where none is."""
    told = [v for v in values if v is not None]
    ends = dict.fromkeys((min(told), max(told))) if told else ()
    return " to ".join(f"{v:g}" for v in ends)


def _lamp(lamp: Lamp) -> str:
    peak = "" if lamp.peak_nm is None else f"peak {lamp.peak_nm:g} nm"
    more = ", ".join(part for part in (peak, f"filter {lamp.filter}" if lamp.filter else "") if part)
    return f"{lamp.name} ({more})" if more else lamp.name


def _exposed(photos: Sequence[MeasuredPhoto]) -> list[str]:
    exposures = list(dict.fromkeys(exposure_words(p) for p in photos))
    known = [words for words in exposures if words]
    if not known:
        return []
    few = "; ".join(known[:4]) + (f" and {len(known) - 4} others" if len(known) > 4 else "")
    return [f"Exposure: {few}."]


def _observers(photos: Sequence[MeasuredPhoto]) -> str:
    degrees = sorted({p.observer for p in photos})
    return " and ".join("CIE 1964 10° observer" if d == 10 else "CIE 1931 2° observer" for d in degrees)


def _cameras(photos: Sequence[MeasuredPhoto]) -> str:
    return ", ".join(dict.fromkeys(camera_words(p) for p in photos))


def _whites(photos: Sequence[MeasuredPhoto]) -> str:
    return ", ".join(dict.fromkeys(p.white_point for p in photos))


def _course_words(course: TimeCourse) -> str:
    steady = f", the lamp steadied by {course.control}" if course.control else ""
    zero = f" after {course.start.replace('T', ' ')}" if course.start else " after the first photograph"
    return (
        f"Over time{zero}, fractions were unmixed in linear light{steady}, and rate models compared by AICc; "
        "half-times hold all models with support."
    )


def integrity(photos: Sequence[MeasuredPhoto], series: Sequence[MeasuredPhoto], told: StudyTold) -> list[str]:
    """How the pictures on the page came about, and whether photographs were exposed alike."""
    out = [
        "Pictures of photographs show the whole frame, made smaller. Nothing was cropped, masked, "
        "retouched or changed in one place only; outlines and names were drawn over them afterwards. "
        "Raw photographs are shown in linear light times one factor for the whole picture, which differs "
        "from picture to picture, then encoded as sRGB: compare brightness in the tables, not between "
        "pictures. All figures come from the files whose hashes are listed, not from these pictures."
    ]
    out += [_exposed_alike(series, "the series followed over time")] if len(series) > 1 else []
    followed = {p.path for p in series}
    rest = [p for p in photos if p.path not in followed]
    out += [_exposed_alike(rest, "the photographs compared")] if len(rest) > 1 else []
    spoiled = [base_name(p.path) for p in photos if set(p.flags) & set(_NOT_AS_TAKEN)]
    out.append(
        f"Saved by an editing program or merged by the phone, by their own account: {_listed(spoiled)}."
        if spoiled
        else "No file says that it was saved by an editing program or merged from several frames."
    )
    itself = [base_name(p.path) for p in photos if _BY_ITSELF in p.flags]
    out += [f"White balance was automatic, or may have been: {_listed(itself)}."] if itself else []
    if told.left_out:
        n = len(told.left_out)
        were = "photograph of the study was" if n == 1 else "photographs of the study were"
        out.append(f"{n} {were} left out, listed below with the reason.")
    return out


def _exposed_alike(photos: Sequence[MeasuredPhoto], what: str) -> str:
    exposures = list(dict.fromkeys(exposure_words(p) for p in photos))
    if exposures == [""]:
        return f"The files of {what} do not tell their exposure."
    if len(exposures) == 1:
        who = f"The two photographs {_kind(what)}" if len(photos) == 2 else f"All {len(photos)} of {what}"
        return f"{who} have the same exposure: {exposures[0]}."
    told = "; ".join(words or "unknown" for words in exposures[:4])
    more = f" and {len(exposures) - 4} others" if len(exposures) > 4 else ""
    return (
        f"Exposures differ within {what}: {told}{more}. Colours do not depend on it; brightness was divided "
        "by it where that is meant."
    )


def _kind(what: str) -> str:
    return "compared" if "compared" in what else f"of {what}"


def _listed(names: Sequence[str], most: int = 6) -> str:
    rest = len(names) - most
    return ", ".join(names[:most]) + (f" and {rest} more" if rest > 0 else "")


def uncertainty(photos: Sequence[MeasuredPhoto], course: TimeCourse | None) -> list[str]:
    """What the intervals hold, how wide they are, and what they do not hold."""
    axes = sorted(axis for p in photos for s in p.samples if (axis := sample_errors(s)[2]) is not None)
    out = [
        "Every interval is 95 %. Those of colours follow the Guide to the Expression of Uncertainty in "
        "Measurement (JCGM 100:2008), those of differences come from draws (JCGM 101:2008). Held are noise, "
        "unevenness of the sample, stray light and reflections as far as they were seen, and what is not "
        "known of the camera and of the shape of the emission."
    ]
    if axes:
        low, middle, high = (significant(axes[i]) for i in (0, len(axes) // 2, -1))
        out.append(
            f"The longer semi-axis of the 95 % ellipse in u′v′ is {middle} for the middle one of {len(axes)} "
            f"readings (smallest {low}, largest {high})."
            if len(axes) > 1
            else f"The longer semi-axis of the 95 % ellipse in u′v′ is {middle}."
        )
    out.append(
        "Errors that two samples have in common, as those of the camera, cancel in their difference, which "
        "is therefore better known than either colour. They do not cancel against another camera or a "
        "spectrum."
    )
    if course:
        out.append("Half-times have intervals by profile likelihood that span all models with support.")
    if course and course.storages:
        out.append(
            "Half-times of single vials hold the errors of the photographs only; those of storages hold how "
            "vials scatter as well. One vial says nothing about a storage."
        )
    out.append(
        "Not held: preparation and batch, where one was made; a lamp of another wavelength; another "
        "temperature; and whether equal colour means equal substance."
    )
    return out


def versions_words(versions: Mapping[str, str]) -> str:
    """What a program computes by."""
    return ", ".join(f"{name} {version}" for name, version in sorted(versions.items()))
