"""A study in words: tables for the terminal and the one document of ``--json``."""

from __future__ import annotations

import os
import re
from dataclasses import asdict
from math import sqrt
from typing import TYPE_CHECKING, Any

import numpy as np

from glowkin.base.flags import FLAGS
from glowkin.base.matches import match_document
from glowkin.base.places import typed
from glowkin.base.records import compare_document, track_document
from glowkin.base.uncertainty import Z95, ellipse_95
from glowkin.study.pictures import mend
from glowkin.study.reading import ALL
from glowkin.telling.numbers import NOTHING, duration, rounded, significant
from glowkin.telling.provenance import GRAVITY
from glowkin.telling.tables import Table, flag_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from glowkin.base.matches import Matches
    from glowkin.base.records import Comparison, TimeCourse
    from glowkin.study.pictures import Picture
    from glowkin.study.reading import Reading
    from glowkin.study.rows import (
        Conclusion,
        ConclusionRow,
        EditRow,
        FlagRow,
        MeasurementRow,
        NameRow,
        Overview,
        PhotographRow,
        SampleRow,
    )

MOST = 50
FEW = 4


def heading(o: Overview) -> str:
    """The study in a sentence or two.

    >>> from glowkin.study.rows import Overview
    >>> made = "2026-05-04T09:00:00+00:00", "glowkin 1"
    >>> heading(Overview("Drying", *made, 3, 1, 1, 1, 0, 0, 5, None, None, 0))
    'Drying: 3 photographs, 1 measured, 1 still to be measured, 1 that could not be; 5 samples.'
    """
    parts = [_many(o.photographs, "photograph"), f"{o.measured} measured"]
    parts += [f"{o.awaited} still to be measured"] if o.awaited else []
    parts += [f"{o.not_measured} that could not be"] if o.not_measured else []
    parts += [f"an older result of {o.anew} of these stands"] if o.anew else []
    parts += [f"{o.left_out} more left out"] if o.left_out else []
    first, last = _time(o.first_taken_at), _time(o.last_taken_at)
    taken = f" Taken from {first} to {last}." if first != last else f" Taken {first}."
    taken = taken if o.first_taken_at else ""
    return f"{o.title}: {', '.join(parts)}; {_many(o.samples, 'sample')}.{taken}"


def photographs_table(rows: Sequence[PhotographRow], whole: int) -> Table:
    """The photographs, each with what became of it."""
    heads = ("Photograph", "Taken", "Status", "Samples", "Camera description", "Flags", "Note")
    cells = tuple(
        (
            r.path, _time(r.taken_at), r.status, NOTHING if r.samples is None else str(r.samples),
            r.camera or NOTHING, flag_words(r.flags), r.note or NOTHING,
        )
        for r in rows
    )  # fmt: skip
    return Table("Photographs", heads, cells, _more(len(rows), whole))


def _more(shown: int, whole: int, which: str = "first") -> str:
    """What a table does not show."""
    return f"The {which} {shown} of {whole}; --json has all of them." if whole > shown else ""


def left_out_table(rows: Sequence[PhotographRow], whole: int) -> Table:
    """The photographs that are left out, with the reason."""
    cells = tuple((r.path, _time(r.taken_at), r.left_out) for r in rows)
    return Table("Left out", ("Photograph", "Taken", "Why"), cells, _more(len(rows), whole))


def names_table(rows: Sequence[NameRow]) -> Table:
    """The samples by name."""
    cells = tuple(
        (r.name, str(r.photographs), _time(r.first_taken_at), _time(r.last_taken_at)) for r in rows[:MOST]
    )
    heads = ("Sample", "Photographs", "First", "Last")
    return Table("Samples by name", heads, cells, _more(len(cells), len(rows)))


def course_table(name: str, rows: Sequence[SampleRow]) -> Table:
    """One sample through its photographs."""
    heads = ("Photograph", "Taken", "u′", "v′", "95 % semi-axis", "Light per exposure", "Flags")
    note = "The semi-axis is that of the longer axis of the 95 % ellipse in u′v′."
    return Table(name, heads, tuple(_course_row(r) for r in rows), note)


def _course_row(r: SampleRow) -> tuple[str, ...]:
    C = r.u_prime_v_prime_covariance
    u_error, v_error = (Z95 * sqrt(C[i][i]) if C else None for i in (0, 1))
    return (
        r.path, _time(r.taken_at), rounded(r.u_prime, u_error), rounded(r.v_prime, v_error),
        significant(ellipse_95(np.array(C))[0]) if C else NOTHING,
        NOTHING if r.luminance_per_exposure is None else significant(r.luminance_per_exposure, 3),
        flag_words(r.flags),
    )  # fmt: skip


def measurements_table(path: str, rows: Sequence[MeasurementRow]) -> Table:
    """Every measurement of a photograph; one counts."""
    cells = tuple(
        (r.measured_at, r.program, r.camera, str(r.samples), "yes" if r.current else "no, kept") for r in rows
    )
    return Table(
        f"Measurements of {path}", ("Made (UTC)", "By", "Camera description", "Samples", "Counts"), cells
    )


def conclusions_table(rows: Sequence[ConclusionRow]) -> Table:
    """Courses, comparisons and matches, the latest first."""
    heads = ("No.", "Kind", "Made (UTC)", "By", "Photographs", "Found", "State")
    cells = tuple(
        (
            str(r.id), r.kind, r.made_at, r.program, str(r.photographs), r.words,
            f"{r.gone} measured anew or left out since; make it again" if r.gone else "stands",
        )
        for r in rows[:MOST]
    )  # fmt: skip
    return Table("Conclusions", heads, cells, _more(len(cells), len(rows), "latest"))


def course_words(course: TimeCourse) -> str:
    """A course in a line."""
    said = [
        f"{s.name} {s.verdict}{f', half-time {duration(s.half_time_s)}' if s.half_time_s else ''}"
        for s in course.samples
    ]
    return _few(said)


def pairs_words(pairs: Sequence[Comparison]) -> str:
    """Comparisons in a line."""
    return _few([f"{c.a.name} and {c.b.name}: {c.verdict}" for c in pairs])


def matches_words(matches: Matches) -> str:
    """Matches with known forms in a line."""
    said = [
        f"{s.name}: {s.verdict}" + (f" ({', '.join(s.consistent_with)})" if s.consistent_with else "")
        for s in matches.samples
    ]
    return f"{_few(said)}; a colour does not prove identity"


def _few(said: Sequence[str]) -> str:
    rest = len(said) - FEW
    return "; ".join(said[:FEW]) + (f"; and {rest} more" if rest > 0 else "")


def edits_table(rows: Sequence[EditRow]) -> Table:
    """What the user changed, the latest first."""
    cells = tuple(
        (r.made_at, r.words, f"undone {r.undone_at}" if r.undone_at else "stands") for r in rows[:MOST]
    )
    return Table("Edits", ("Made (UTC)", "What", "State"), cells, _more(len(cells), len(rows), "latest"))


def photograph_lines(r: PhotographRow, exposures: Sequence[Picture] = (), study: str = "STUDY") -> list[str]:
    """What else is known of a photograph, and of the other ``exposures`` of a bracket."""
    out = [f"A bracket, with {', '.join(p.path for p in exposures)}"] if exposures else []
    out += [f"Note: {r.note}"] if r.note else []
    out += [f"Left out: {r.left_out}"] if r.left_out else []
    out += [not_done_words(r, study)] if r.status != "measured" else []
    return [*out, f"Added {r.added_at}; SHA-256 {r.sha256}"]


def not_done_words(r: PhotographRow, study: str = "STUDY") -> str:
    """Why there is no new measurement of a photograph."""
    stands = " An older result stands." if r.measurement_id is not None else ""
    if r.message is None:
        return f"{r.path}: is still to be measured; go on with: glowkin study add {typed(study)}.{stands}"
    why = named_here(r.message, study).removeprefix(f"{r.path}: ").rstrip(".")
    mend = f"glowkin study edit {typed(study)} {typed(r.path)} --leave-out WHY"
    return f"{r.path}: could not be measured: {why}. Or leave it out with: {mend}.{stands}"


def named_here(message: str, study: str) -> str:
    """A message of the ledger, which tells no folder, with the study as it is named here.

    >>> named_here("a.dng: is gone; name its place: glowkin study add STUDY NEW_PLACE", "dry ing")
    "a.dng: is gone; name its place: glowkin study add 'dry ing' NEW_PLACE"
    """
    return re.sub(
        r"(glowkin study \w+) STUDY(?=\s|$)", lambda command: f"{command[1]} {typed(study)}", message
    )


def begin_words(study: str) -> str:
    """What to do with an empty study."""
    return f"No photographs yet; add some with: glowkin study add {typed(study)} PHOTO..."


def go_on(awaited: int, study: str) -> str:
    """How to do what is left to do."""
    return (
        f"{_many(awaited, 'photograph')} still to be measured; go on with: glowkin study add {typed(study)}"
    )


def flag_lines(rows: Sequence[FlagRow]) -> Iterator[str]:
    """Every flag with its mend and where it was raised, gravest first."""
    from rich.markup import escape

    order = {name: i for i, name in enumerate(GRAVITY)}
    for r in sorted(rows, key=lambda r: order.get(r.flag, len(order))):
        if r.flag in FLAGS:
            where = f"{_many(r.photographs, 'photograph')}, as {escape(r.paths[0])}"
            yield f"[bold]{r.flag}[/] ({where}): {FLAGS[r.flag].sentence} {FLAGS[r.flag].mend}"


def amiss(reading: Reading, study: str) -> Iterator[dict[str, str]]:
    """Every photograph not left out, or frame beside one, that is not where it was or not what it was."""
    needed = reading.needed()
    for picture in reading.pictures():
        if picture.sha256 in needed and (state := picture.state(reading.folder)) != "there":
            yield {
                "path": picture.path,
                "message": mend(picture, state, study, _from_here(picture.file(reading.folder))),
            }


def _from_here(file: Path) -> str:
    """A file's path as it is typed here."""
    try:
        return os.path.relpath(file)
    except ValueError:  # on another drive
        return str(file)


def study_document(reading: Reading, errors: Sequence[dict[str, str]], program: str) -> dict[str, Any]:
    """The glowkin.study.v1 document: the study without its records."""
    return {
        "schema": "glowkin.study.v1", "program": program, "errors": list(errors),
        "study": asdict(reading.overview()),
        "photographs": [asdict(r) for r in reading.photographs(ALL)],
        "left_out": [asdict(r) for r in reading.left_out(ALL)],
        "samples": [asdict(r) for r in reading.names()],
        "flags": [asdict(r) for r in reading.flags()],
        "cameras": [asdict(r) for r in reading.cameras()],
        "programs": [asdict(r) for r in reading.programs()],
        "settings": [asdict(r) for r in reading.settings()],
        "conclusions": [asdict(r) for r in reading.conclusions(ALL)],
        "edits": [asdict(r) for r in reading.edits(ALL)],
    }  # fmt: skip


def conclusion_document(found: Conclusion, program: str) -> dict[str, Any]:
    """The document of a conclusion, as the command that made it prints it."""
    if found.course is not None:
        return track_document(found.course, [], program)
    if found.matches is not None:
        return match_document(found.matches, [], program)
    return compare_document(found.pairs, [], program)


def _many(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _time(taken_at: str | None) -> str:
    return (taken_at or "unknown").replace("T", " ")[:16]
