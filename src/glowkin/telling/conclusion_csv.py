"""What was concluded as tables for other programs; the points of a course are ``csv_file.course_csv``.

One row an observation, the unit in every column's head, unknown is empty; several names in one cell stand
between semicolons. Each figure is the one of the document beside it, to the last digit.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from glowkin.base.storages import vial_in
from glowkin.telling.csv_file import csv_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from glowkin.base.matches import Matches
    from glowkin.base.records import Comparison, ModelFit, SampleCourse, TimeCourse
    from glowkin.base.storages import Arrhenius, CourseComparison, StorageCourse

    Cells = tuple[Any, ...]

COURSE_TABLES = ("samples", "models", "storages", "ratios", "temperatures")


def course_tables(course: TimeCourse) -> dict[str, str]:
    """Those of ``COURSE_TABLES`` that hold anything: verdicts and half-times, every rate model, storages,
    half-times in pairs, and what temperature does.
    """
    fits = ((s, fit) for s in course.samples for fit in s.models)
    pairs = [("samples", c) for c in course.comparisons]
    pairs += [("typical vials", c) for c in course.storage_comparisons]
    rows: dict[str, tuple[Sequence[str], Iterable[Cells]]] = {
        "samples": (_SAMPLE, map(_sample, course.samples)),
        "models": (_MODEL, (_model(s, fit) for s, fit in fits)),
        "storages": (_STORAGE, map(_storage, course.storages)),
        "ratios": (_RATIO, (_ratio(of, c) for of, c in pairs)),
        "temperatures": (_TEMPERATURE, (row for a in course.arrhenius for row in _temperatures(a))),
    }
    found = {name: (heads, list(cells)) for name, (heads, cells) in rows.items()}
    return {name: csv_text(heads, cells) for name, (heads, cells) in found.items() if cells}


def pairs_csv(pairs: Sequence[Comparison]) -> str:
    """One row a pair of samples."""
    return csv_text(_PAIR, map(_pair, pairs))


def matches_csv(matches: Matches) -> str:
    """One row a sample and answer: a form, two of them mixed, or none, which has no name."""
    return csv_text(_MATCH, _answers(matches))


def _limits(head: str, unit: str) -> tuple[str, str, str]:
    return f"{head} ({unit})", f"{head} low 95 % ({unit})", f"{head} high 95 % ({unit})"


def _ends(interval: Sequence[float | None] | None) -> tuple[float | None, float | None]:
    return (None, None) if interval is None else (interval[0], interval[1])


def _yes(value: bool | None) -> str | None:
    return None if value is None else "yes" if value else "no"


def _list(names: Iterable[object]) -> str:
    return "; ".join(map(str, names))


_PAIR = (
    "photograph of a", "sample a", "photograph of b", "sample b", *_limits("difference u prime v prime", "1"),
    "n-step (1)", *_limits("dominant wavelength of b minus a", "nm"), "CIEDE2000 (1)",
    "white of CIEDE2000", "tolerance u prime v prime (1)", "probability within tolerance (1)", "verdict",
    "flags",
)  # fmt: skip


def _pair(c: Comparison) -> Cells:
    return (
        c.a.path, c.a.name, c.b.path, c.b.name, c.delta_u_prime_v_prime,
        *_ends(c.delta_u_prime_v_prime_interval), c.n_step, c.delta_dominant_wavelength_nm,
        *_ends(c.delta_dominant_wavelength_interval_nm), c.delta_e_2000, c.delta_e_2000_white,
        c.tolerance_u_prime_v_prime, c.probability_within_tolerance, c.verdict, c.flags,
    )  # fmt: skip


_SAMPLE = (
    "sample", "verdict", *_limits("half-time", "s"), "half-time of the light (s)", "longer than (s)",
    "best rate model", "rate models not excluded", *_limits("fraction left in the end", "1"),
    *_limits("luminance ratio", "1"), "two forms suffice", "begun after time zero (s)",
    "change goes by", "change begins", "storage condition", "replicate", "batch",
    "storage temperature (degC)", "states", "given but contradicted", "photographs not counted", "flags",
)  # fmt: skip


def _sample(s: SampleCourse) -> Cells:
    vial, ratio = vial_in(s), s.luminance_ratio
    return (
        s.name, s.verdict, s.half_time_s, *_ends(s.half_time_interval_s), s.light_half_time_s,
        s.longer_than_s, s.model, _list(s.not_excluded), s.stops_at, *_ends(s.stops_at_interval),
        *((ratio.value, ratio.low, ratio.high) if ratio else (None, None, None)), _yes(s.two_forms_suffice),
        s.begun_s, s.clock and s.clock.explains, s.map and s.map.begins, vial.condition, vial.replicate,
        vial.batch, vial.temperature_c, _list(vial.states), _list(s.contradicted), _list(s.spoiled_photos),
        s.flags,
    )  # fmt: skip


_MODEL = (
    "sample", "rate model", "not excluded", "AICc (1)", *_limits("half-time", "s"), "tau (s)", "exponent (1)",
    "germ (1)", "induction (s)", "fraction left in the end (1)",
)  # fmt: skip


def _model(s: SampleCourse, fit: ModelFit) -> Cells:
    told = ("tau_s", "exponent", "germ", "induction_s", "stops_at")
    return (
        s.name, fit.model, _yes(fit.model in s.not_excluded), fit.aicc, fit.half_time_s,
        *_ends(fit.half_time_interval_s), *(fit.parameters.get(key) for key in told),
    )  # fmt: skip


_STORAGE = (
    "storage", "rank (1)", *_limits("half-time of a typical vial", "s"), "scatter from vial to vial (1)",
    "scatter from batch to batch (1)", "storage temperature (degC)", "vials", "batches", "vials left out",
    "flags",
)  # fmt: skip


def _storage(s: StorageCourse) -> Cells:
    return (
        s.name, s.rank, s.half_time_s, *_ends(s.half_time_interval_s), s.scatter, s.batch_scatter,
        s.temperature_c, _list(s.vials), _list(s.batches), _list(s.left_out), s.flags,
    )  # fmt: skip


_RATIO = ("of", "a", "b", *_limits("half-time of a over that of b", "1"), "verdict", "flags")


def _ratio(of: str, c: CourseComparison) -> Cells:
    return of, c.a, c.b, c.half_time_ratio, *_ends(c.interval), c.verdict, c.flags


_TEMPERATURE = (
    "storage but for its temperature", *_limits("activation energy", "kJ/mol"), "temperatures watched (degC)",
    "temperature (degC)", *_limits("half-time", "s"), "beyond the temperatures watched",
)  # fmt: skip


def _temperatures(a: Arrhenius) -> Iterator[Cells]:
    known = (a.name, a.activation_energy_kj_mol, *_ends(a.activation_energy_interval_kj_mol))
    watched = _list(a.temperatures_c)
    for at in a.at:
        half_time = (at.half_time_s, *_ends(at.half_time_interval_s))
        yield *known, watched, at.temperature_c, *half_time, _yes(at.beyond)
    if not a.at:
        yield *known, watched, *(None,) * 5


_MATCH = (
    "photograph", "sample", "verdict", "consistent with", "u prime (1)", "v prime (1)", "form a", "form b",
    "probability before (1)", "probability (1)", *_limits("light of a", "1"), "flags",
)  # fmt: skip


def _answers(matches: Matches) -> Iterator[Cells]:
    for s in matches.samples:
        mixed = {(m.a, m.b): m for m in s.mixtures}
        for forms, prior, probability in s.answers():
            a, b = (*forms, None, None)[:2]
            of_a = mixed.get((a or "", b or ""))
            share = (of_a.light_fraction_a, *_ends(of_a.light_fraction_a_interval)) if of_a else (None,) * 3
            yield (
                s.path, s.name, s.verdict, _list(s.consistent_with), s.u_prime, s.v_prime, a, b, prior,
                probability, *share, s.flags,
            )  # fmt: skip
