"""The sections of a report that only a study has, as the page's template takes them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from glowkin.base.places import tidier
from glowkin.telling import study_tables, study_words
from glowkin.telling.naming import without_folders
from glowkin.telling.preparation_page import CAUTION, preparation_tables
from glowkin.telling.spots import outside_series

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from typing import Any

    from glowkin.base.preparations import MassCourse, Preparation
    from glowkin.base.records import MeasuredPhoto, TimeCourse
    from glowkin.telling.study_told import StudyTold
    from glowkin.telling.tables import Table


@dataclass(frozen=True)
class Prepared:
    """One preparation on the page."""

    notes: str
    tables: list[Table]
    remarks: list[str]
    figures: list[Any]


@dataclass(frozen=True)
class StudyPage:
    """Everything in words and tables; what the study does not tell is empty."""

    facts: list[tuple[str, str]]
    notebook: str
    told: list[Table]
    prepared: list[Prepared]
    prepared_caution: str
    checks: Table | None
    methods: str
    supporting: list[Table]
    integrity: list[str]
    uncertainty: list[str]
    programs: list[tuple[str, str]]
    kept: list[Table]
    course_note: str


def parts(
    told: StudyTold,
    photos: Sequence[MeasuredPhoto],
    course: TimeCourse | None,
    summary: Sequence[str],
    caution: str,
    program: str,
    versions: Mapping[str, str],
    mass_figure: Callable[[MassCourse, str], Any],
) -> StudyPage:
    """The study's sections; ``mass_figure`` draws a vial's mass beside its light, its ids with a prefix."""
    names = {s.name for p in photos for s in p.samples} | {s.name for s in told.file.sample}
    tidy = tidier({}, samples=names)
    outside = outside_series(photos, course)
    apart = {p.path for p in outside}
    series = [p for p in photos if p.path not in apart] if course else []
    by = [(p.name, study_words.versions_words(p.versions), p.photographs) for p in told.programs]
    same = study_words.versions_words(versions)
    programs = " and ".join(f"{name} ({versions})" for name, versions, _ in by) or program
    coloured = study_tables.supporting_table(outside)
    return StudyPage(
        facts=[(key, tidy(value)) for key, value in study_words.facts(told)],
        notebook=study_words.notebook(told, photos, summary, caution, program),
        told=_public(study_tables.told_tables(told), names),
        prepared=[_prepared(p, f"mass{i}", mass_figure) for i, p in enumerate(told.preparations)],
        prepared_caution=CAUTION,
        checks=study_tables.checks_table(told.checks, photos),
        methods=study_words.methods_paragraph(told.file, photos, course, programs) if photos else "",
        supporting=[coloured] if coloured else [],
        integrity=study_words.integrity(photos, series, told) if photos else [],
        uncertainty=study_words.uncertainty(photos, course) if photos else [],
        programs=[
            (
                f"measured {n} of these photographs",
                f"{name}, {'with the versions above' if words == same else words}",
            )
            for name, words, n in by
        ],
        kept=_public(study_tables.kept_tables(told), names),
        course_note=told.course_note,
    )


def _prepared(p: Preparation, prefix: str, mass_figure: Callable[[MassCourse, str], Any]) -> Prepared:
    figures = [mass_figure(p.course, prefix)] if p.course else []
    remarks = [str(without_folders(r.sentence)) for r in p.remarks]
    return Prepared(str(without_folders(p.notes)), _public(preparation_tables(p)), remarks, figures)


def _public(shown: Sequence[Table], names: Iterable[str] = ()) -> list[Table]:
    """The tables with every path in their words cut to its last part; names of samples stay."""
    tidy = tidier({}, samples=names)
    return [
        replace(t, caption=tidy(t.caption), rows=tuple(tuple(map(tidy, row)) for row in t.rows))
        for t in shown
    ]
