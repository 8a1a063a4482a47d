"""Records as rows of words for the report: every figure to the digits it has, every flag in a sentence."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING

from glowkin.base.uncertainty import Z95, ellipse_95
from glowkin.telling.naming import base_name
from glowkin.telling.numbers import NOTHING, at_least, duration, fixed, rounded, significant, with_interval

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.records import (
        Comparison,
        MeasuredPhoto,
        Sample,
        SampleCourse,
        TimeCourse,
    )
    from glowkin.base.storages import CourseComparison

MOST_ROWS = 40
"""More samples than that and the table shows a few photographs only."""


@dataclass(frozen=True)
class Table:
    """Headings and rows of words; the first cell of a row names it."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


def flag_words(names: Sequence[str]) -> str:
    """Flags in words, without their hyphens.

    >>> flag_words(("lit-by-neighbour", "clipped"))
    'lit by neighbour, clipped'
    """
    return ", ".join(name.replace("-", " ") for name in names) or NOTHING


def without_empty(table: Table) -> Table:
    """The table less the columns that hold nothing."""
    full = [i for i in range(len(table.heads)) if any(r[i] not in ("", NOTHING) for r in table.rows)]
    rows = tuple(tuple(r[i] for i in full) for r in table.rows)
    return Table(table.caption, tuple(table.heads[i] for i in full), rows, table.note)


def flags_if_any(table: Table) -> Table:
    """The table less its last column, of flags, where none was raised."""
    if any(row[-1] != NOTHING for row in table.rows):
        return table
    return Table(table.caption, table.heads[:-1], tuple(row[:-1] for row in table.rows), table.note)


def samples_table(photos: Sequence[MeasuredPhoto]) -> Table:
    """One row a sample; of many only those in the first and the last photograph."""
    many = sum(len(p.samples) for p in photos) > MOST_ROWS and len(photos) > 2
    shown = [photos[0], photos[-1]] if many else photos
    several = len(photos) > 1
    heads: tuple[str, ...] = (
        "Sample",
        "Photograph",
        "u′",
        "v′",
        "95 % semi-axis",
        "Dominant wavelength, nm",
        "Excitation purity",
        "Inferred band, nm",
        "Flags",
    )
    rows = tuple(_sample_row(base_name(p.path), s) for p in shown for s in p.samples)
    banded = any(s.band_centre_nm is not None for p in shown for s in p.samples)
    left_out = {*(() if several else ("Photograph",)), *(() if banded else ("Inferred band, nm",))}
    kept = [i for i, head in enumerate(heads) if head not in left_out]
    heads, rows = tuple(heads[i] for i in kept), tuple(tuple(r[i] for i in kept) for r in rows)
    note = "The first and the last photograph are shown. " if many else ""
    caption = f"Samples in {base_name(photos[0].path)}" if photos and not several else "Samples"
    return Table(caption, heads, rows, note + _WHAT_IT_MEANS + (_BAND if banded else ""))


_WHAT_IT_MEANS = (
    "Intervals are 95 %. The semi-axis is that of the longer axis of the 95 % ellipse in u′v′. c: "
    "complementary wavelength, for colours between red and violet."
)
_BAND = (
    " The band, as centre and full width at half maximum, is inferred from three channels; it is not a "
    "measured emission maximum."
)


def _sample_row(where: str, s: Sample) -> tuple[str, ...]:
    u_error, v_error, semi_axis = sample_errors(s)
    return (
        s.name,
        where,
        rounded(s.u_prime, u_error),
        rounded(s.v_prime, v_error),
        NOTHING if semi_axis is None else significant(semi_axis),
        wavelength_words(s),
        with_interval(s.excitation_purity, s.excitation_purity_interval),
        band_words(s),
        flag_words(s.flags),
    )


def sample_errors(s: Sample) -> tuple[float | None, float | None, float | None]:
    """95 % half-widths of u' and v', and the longer semi-axis."""
    C = s.u_prime_v_prime_covariance
    if C is None:
        return None, None, None
    import numpy as np

    return Z95 * sqrt(C[0][0]), Z95 * sqrt(C[1][1]), ellipse_95(np.array(C))[0]


def wavelength_words(s: Sample) -> str:
    """Dominant wavelength, or the complementary one, marked c, with its interval."""
    if s.dominant_wavelength_nm is None and s.complementary_wavelength_nm is not None:
        return "c " + with_interval(s.complementary_wavelength_nm, s.complementary_wavelength_interval_nm)
    return with_interval(s.dominant_wavelength_nm, s.dominant_wavelength_interval_nm)


def band_words(s: Sample) -> str:
    """Centre and width of the inferred band, with their intervals."""
    if s.band_centre_nm is None:
        return NOTHING
    centre = with_interval(s.band_centre_nm, s.band_centre_interval_nm)
    return f"{centre}; width {with_interval(s.band_width_nm, s.band_width_interval_nm)}"


def pairs_table(pairs: Sequence[Comparison], most: int | None = None) -> Table:
    """One row a comparison, of the first ``most``."""
    paths = {place.path for c in pairs for place in (c.a, c.b)}
    lab = any(c.delta_e_2000 is not None for c in pairs)
    heads = ("Samples", "Verdict", "Δu′v′", "n-step", "Dominant wavelengths apart, nm", "Tolerance, Δu′v′",
             "Chance to lie within it", *(("ΔE00 (white)",) if lab else ()), "Flags")  # fmt: skip
    rows = tuple(_pair_row(c, len(paths) > 1, lab) for c in pairs[:most])
    all_in = "glowkin study compare keeps all of them, its export has them as a table. "
    note = f"The first {len(rows)} of {len(pairs)}; {all_in}" if len(rows) < len(pairs) else ""
    note += _WHAT_STEPS_MEAN + (_WHAT_LAB_MEANS if lab else "")
    return flags_if_any(Table("Samples against each other", heads, rows, note))


_WHAT_STEPS_MEAN = (
    "An interval that begins at 0 holds no difference too. n-step is the difference in units of 0.0011 "
    "(CIE TN 001:2014), made for near-white lights: for saturated glow it is a length, not a visibility. "
)
_WHAT_LAB_MEANS = "ΔE00 was made for surfaces beside a white; for a glow it is given on request only."


def pair_name(c: Comparison, with_photo: bool) -> str:
    """Both samples, with their photographs where there are several."""
    names = [f"{p.name} ({base_name(p.path)})" if with_photo else p.name for p in (c.a, c.b)]
    return " and ".join(names)


def _pair_row(c: Comparison, with_photo: bool, lab: bool) -> tuple[str, ...]:
    low, high = c.delta_u_prime_v_prime_interval
    white = f" ({c.delta_e_2000_white})" if c.delta_e_2000_white else ""
    delta_e = NOTHING if c.delta_e_2000 is None else significant(c.delta_e_2000) + white
    return (
        pair_name(c, with_photo),
        c.verdict,
        with_interval(c.delta_u_prime_v_prime, (low, high)),
        rounded(c.n_step, (high - low) / 2 / 0.0011),
        with_interval(c.delta_dominant_wavelength_nm, c.delta_dominant_wavelength_interval_nm),
        f"{c.tolerance_u_prime_v_prime:g}",
        chance(c.probability_within_tolerance),
        *((delta_e,) if lab else ()),
        flag_words(c.flags),
    )


def chance(p: float) -> str:
    """A chance from draws, no nearer to 0 or 1 than draws can tell."""
    if p < 0.01:
        return "below 1 %"
    return "above 99 %" if p > 0.99 else f"{fixed(100 * p, 0)} %"


def courses_table(course: TimeCourse) -> Table:
    """One row a followed sample."""
    heads = (
        "Sample",
        "Verdict",
        "Half-time",
        "Stops at",
        "Best model",
        "Not excluded",
        "Luminance ratio",
        "Flags",
    )
    rows = tuple(_course_row(s) for s in course.samples)
    note = (
        "Half-time: from time zero to the middle between the first and the last amount, any delay included. "
        "Stops at: the amount left in the end. Models not excluded describe these photographs about as well "
        "as the best. Luminance ratio: converted over unconverted, under the same lamp."
    )
    return Table("Change over time", heads, rows, note)


_FORMS = {
    True: "",
    False: "; two forms do not explain the path",
    None: "; whether two forms explain the path is not told",
}


def _course_row(s: SampleCourse) -> tuple[str, ...]:
    ratio = s.luminance_ratio
    return (
        s.name,
        s.verdict + (_FORMS[s.two_forms_suffice] if s.verdict == "changing" else ""),
        half_time(s),
        with_interval(s.stops_at, s.stops_at_interval),
        model_words(s.model) if s.model else NOTHING,
        ", ".join(model_words(m) for m in s.not_excluded if m != s.model) or NOTHING,
        with_interval(ratio.value, (ratio.low, ratio.high)) if ratio else "unknown",
        flag_words(s.flags),
    )


def state_table(course: TimeCourse) -> Table:
    """One short row a sample: how it stands in the last photograph that shows it."""
    rows = tuple((s.name, s.verdict, _left(s), half_time(s)) for s in course.samples)
    return Table("", ("Sample", "Verdict", "Left", "Half-time"), rows)


def _left(s: SampleCourse) -> str:
    last = next((p for p in reversed(s.points) if "spoiled-frame" not in p.flags), None)
    if last is None or (last.light_fraction_start is None and last.fraction_start is None):
        return NOTHING
    if last.fraction_start is None:
        return f"{significant(last.light_fraction_start or 0.0)} of the light"
    return with_interval(last.fraction_start, (last.low, last.high))


def stop_words(s: SampleCourse) -> str:
    """The amount left in the end where it is told from none; a half-time without it would mislead."""
    low = (s.stops_at_interval or (0.0, 1.0))[0]
    return (
        ""
        if s.stops_at is None or low <= 0
        else with_interval(s.stops_at, s.stops_at_interval).split(" (")[0]
    )


def model_words(model: str) -> str:
    """A rate model as chemists write it."""
    named = {"avrami-erofeev": "Avrami–Erofeev", "prout-tompkins": "Prout–Tompkins"}
    return named.get(model, model.replace("-", " "))


def half_time(s: SampleCourse) -> str:
    """The half-time of the amount, failing that a bound, failing that the half-time of the light."""
    if s.half_time_s is not None or s.half_time_interval_s is not None:
        return duration(s.half_time_s, s.half_time_interval_s)
    if s.longer_than_s is not None:
        return f"longer than {at_least(s.longer_than_s)}"
    if s.light_half_time_s is not None:
        length = duration(s.light_half_time_s, None)
        return f"unknown; light alone reaches its middle after {length}"
    return "not found"


def ratios_table(course: TimeCourse) -> Table:
    """One row for each two storages, whose ratios hold how vials scatter; else for each two samples."""
    heads = ("Samples", "Ratio of half-times", "Verdict", "Flags")
    caption, note, compared = "How many times longer one takes than the other", "", course.comparisons
    if course.storage_comparisons:
        heads, compared = ("Storages", *heads[1:]), course.storage_comparisons
        note = "The record of the course also has the ratios of single vials."
    return flags_if_any(Table(caption, heads, tuple(map(_ratio_row, compared)), note))


def _ratio_row(c: CourseComparison) -> tuple[str, ...]:
    low, high = c.interval
    ratio = with_interval(c.half_time_ratio, c.interval)
    if c.half_time_ratio is None and (low or high):
        ratio = f"above {significant(low)}" if low else f"below {significant(high or 0.0)}"
    return f"{c.a} against {c.b}", ratio, c.verdict, flag_words(c.flags)
