"""Tables that a report on a study has beyond those of a run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from glowkin.base.uncertainty import Z95
from glowkin.telling.naming import base_name
from glowkin.telling.numbers import NOTHING, decimals_for, fixed, rounded, with_interval
from glowkin.telling.tables import (
    Table,
    band_words,
    sample_errors,
    wavelength_words,
    without_empty,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from glowkin.base.checks import ShotCheck
    from glowkin.base.records import MeasuredPhoto, Sample
    from glowkin.base.study import StudyFile, StudySample
    from glowkin.telling.study_told import StudyTold


def told_tables(told: StudyTold) -> list[Table]:
    """Samples, storages and lamps as the study file tells them; those it does not tell are left out."""
    file = told.file
    found = [_samples(file), _conditions(file), _lamps(file), _events(file)]
    return [table for table in found if table is not None]


def _filled(table: Table) -> Table:
    """The table less the columns that hold nothing, and a dash where else nothing is told."""
    rows = tuple(tuple(cell or NOTHING for cell in row) for row in table.rows)
    return without_empty(Table(table.caption, table.heads, rows, table.note))


def _samples(file: StudyFile) -> Table | None:
    if not file.sample:
        return None
    heads = ("Sample", "Form", "Batch", "Replicate", "Storage", "State", "Role", "Notes")
    rows = tuple(
        (s.name, s.form, s.batch, s.replicate, s.condition, s.state or "", _role(file, s), s.notes)
        for s in file.sample
    )
    return _filled(Table("Samples as the study file tells them", heads, rows))


def _role(file: StudyFile, s: StudySample) -> str:
    roles = (("control", file.controls), ("converted", file.converted), ("blank", file.blanks))
    told = [role for role, names in roles if s.name in names]
    return ", ".join([*told, *([f"known glow, {base_name(s.reference)}"] if s.reference else [])])


def _conditions(file: StudyFile) -> Table | None:
    if not file.condition:
        return None
    heads = ("Storage", "Temperature, °C", "Relative humidity, %", "Notes")
    rows = tuple((c.name, _g(c.temperature_c), _g(c.humidity_percent), c.notes) for c in file.condition)
    return _filled(Table("Storages", heads, rows))


def _lamps(file: StudyFile) -> Table | None:
    if not file.lamp:
        return None
    rows = tuple((lamp.name, _g(lamp.peak_nm), lamp.filter, lamp.notes) for lamp in file.lamp)
    return _filled(Table("Lamps", ("Lamp", "Peak, nm", "Filter on it", "Notes"), rows))


def _events(file: StudyFile) -> Table | None:
    if not file.event:
        return None
    rows = tuple(
        (e.at.replace("T", " "), e.what, ", ".join(e.samples) or "all", _g(e.temperature_c), e.lamp, e.notes)
        for e in sorted(file.event, key=lambda e: e.at)
    )
    heads = ("When", "What", "Samples", "Temperature then, °C", "Lamp then", "Notes")
    return _filled(Table("Events", heads, rows))


def _g(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def checks_table(checks: Mapping[str, ShotCheck], photos: Sequence[MeasuredPhoto]) -> Table | None:
    """The shots that were not good, each with what to change; the good ones are counted in the caption."""
    known = [(p.path, checks[p.path]) for p in photos if p.path in checks]
    if not known:
        return None
    poor = [(path, check) for path, check in known if check.verdict != "good"]
    good = len(known) - len(poor)
    caption = f"{good} of {len(known)} photographs are good" + ("; the others" if poor else "")
    rows = tuple(
        (
            base_name(path),
            check.verdict,
            " ".join(a.sentence for a in check.advice) or NOTHING,
            ", ".join(name.replace("-", " ") for name in check.also) or NOTHING,
        )
        for path, check in poor
    )
    heads = ("Photograph", "Verdict", "What to change at the next shot", "Also")
    note = "As the command check tells it, each photograph by itself, when it was measured."
    return _filled(Table(caption, heads, rows, note)) if rows else Table(caption, heads, rows, note)


MOST_ROWS = 60


def supporting_table(photos: Sequence[MeasuredPhoto]) -> Table | None:
    """The colours for a paper's supporting information: chromaticities in both diagrams, no flags."""
    samples = [(p, s) for p in photos for s in p.samples if s.u_prime is not None]
    if not samples:
        return None
    several = len({p.path for p, _ in samples}) > 1
    heads = (
        "Sample", "Photograph", "u′", "v′", "x", "y", "Dominant wavelength, nm", "Excitation purity",
        "Inferred band centre and width, nm",
    )  # fmt: skip
    rows = tuple(_supporting_row(base_name(p.path) if several else "", s) for p, s in samples[:MOST_ROWS])
    more = f"The first {MOST_ROWS} of {len(samples)}. " if len(samples) > MOST_ROWS else ""
    white = ", ".join(dict.fromkeys(p.white_point for p in photos))
    note = (
        f"{more}CIE 1976 u′v′ and CIE 1931 xy; white point {white}; 95 % intervals in brackets and after ±. "
        "Bands are inferred from three channels; they are no emission maxima."
    )
    return _filled(Table("Colours", heads, rows, note))


def _supporting_row(where: str, s: Sample) -> tuple[str, ...]:
    u_error, v_error, _ = sample_errors(s)
    x_error, y_error = _xy_errors(s)
    return (
        s.name, where, _pm(s.u_prime, u_error), _pm(s.v_prime, v_error),
        _pm(s.x, x_error), _pm(s.y, y_error),
        wavelength_words(s), with_interval(s.excitation_purity, s.excitation_purity_interval), band_words(s),
    )  # fmt: skip


def _pm(value: float | None, error: float | None) -> str:
    """A figure with its 95 % half-width, both to the digits that it has."""
    if value is None or error is None:
        return rounded(value, error)
    decimals = decimals_for(error)
    return f"{fixed(value, decimals)} ± {fixed(error, decimals)}"


def _xy_errors(s: Sample) -> tuple[float | None, float | None]:
    """95 % half-widths of x and y: the covariance in u'v' carried over to first order (CIE 15:2018)."""
    C, u, v = s.u_prime_v_prime_covariance, s.u_prime, s.v_prime
    if C is None or u is None or v is None:
        return None, None
    import numpy as np

    from glowkin.colour.chromaticity import jacobian_xy_uv_prime

    J = jacobian_xy_uv_prime((u, v))
    x_error, y_error = Z95 * np.sqrt(np.maximum(np.diag(J @ np.array(C) @ J.T), 0.0))
    return float(x_error), float(y_error)


def kept_tables(told: StudyTold) -> list[Table]:
    """What the study keeps beside figures: notes, what was left out and why, conclusions and edits."""
    notes = tuple((base_name(path), note) for path, note in told.notes.items())
    left = tuple((base_name(path), why) for path, why in told.left_out)
    tables = (
        Table("Notes on photographs", ("Photograph", "Note"), notes),
        Table("Left out of the study, and counted nowhere", ("Photograph", "Why"), left),
        Table(
            "Named in the study file, and not there or not readable: mend them and make the report again",
            ("File", "What is wrong"),
            tuple((base_name(name), why) for name, why in told.missing),
        ),
        Table(
            "Courses, comparisons and matches that the study keeps, the latest first",
            ("No.", "Kind", "Made (UTC)", "By", "Photographs", "State"),
            told.conclusions,
        ),
        Table("Edits, the latest first", ("When (UTC)", "What"), told.edits),
    )
    return [table for table in tables if table.rows]
