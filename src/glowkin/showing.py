"""What ``glowkin study show`` does: read, print; nothing is written into the study."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

from glowkin import terminal
from glowkin.base.errors import CannotReadError, WrongUseError
from glowkin.base.files import write_whole
from glowkin.base.places import typed
from glowkin.base.records import measure_document, to_json
from glowkin.study import ledger, words
from glowkin.study.reading import ALL, open_study
from glowkin.study.study_file import STUDY_FILE, check_files, study_file_in
from glowkin.terminal import plain_console, print_json, print_table

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path
    from typing import Any

    from glowkin.study.reading import Reading
    from glowkin.study.rows import PhotographRow

Error = dict[str, str]


def show(
    study: Path, photos: Sequence[Path], program: str, *, sample: str | None, conclusion: int | None,
    edits: bool, outlines: Path | None, as_json: bool,
) -> int:  # fmt: skip
    """Show a study, or what is known of photographs, a sample or edits; the exit status."""
    with open_study(study) as reading:
        rows = reading.find_all(map(str, photos))
        if outlines is not None:
            _write_outlines(reading, rows, outlines)
        if sample is not None:
            return _sample(reading, sample, program, as_json=as_json)
        if conclusion is not None:
            return _conclusion(reading, conclusion, str(study), program, as_json=as_json)
        if edits and not as_json:
            if found := reading.edits(ALL):
                _tables(words.edits_table(found))
            else:
                sys.stdout.write("No edits yet.\n")
            return 0
        return (
            _photos(reading, rows, program, as_json=as_json)
            if rows
            else _study(reading, str(study), program, as_json=as_json)
        )


def report(folder: Path, program: str) -> Path:
    """Write report.html of a study, or of what a run left in a folder; answers its path."""
    if not folder.is_dir():
        raise CannotReadError(f"{folder}: there is no such folder; check the name")
    if not os.access(folder, os.W_OK):
        raise CannotReadError(
            f"{folder}: nothing may be written into it; copy it to where you may, and report on the copy"
        )
    if not (folder / ledger.LEDGER).exists():
        from glowkin.telling.out_dir import rebuild

        return rebuild(folder)
    from glowkin.study import reporting

    with open_study(folder) as reading:
        text = reporting.report(reading, program)
    return write_whole(folder / "report.html", text.encode())


def print_document(study: Path, errors: Sequence[Error], program: str) -> None:
    """The whole study as one JSON document."""
    with open_study(study) as reading:
        print_json(words.study_document(reading, errors, program))


def _study(reading: Reading, study: str, program: str, *, as_json: bool) -> int:
    """The study at a glance, and what is amiss with its files; the exit status."""
    amiss = [*_study_file(reading.folder), *words.amiss(reading, study)]
    if as_json:
        print_json(words.study_document(reading, amiss, program))
    else:
        overview, console = reading.overview(), plain_console()
        console.print(words.heading(overview), highlight=False, markup=False)
        if overview.photographs:
            _tables(words.photographs_table(reading.photographs(words.MOST), overview.photographs))
        else:
            console.print(words.begin_words(study), highlight=False, markup=False)
        if names := reading.names():
            _tables(words.names_table(names))
        if conclusions := reading.conclusions(ALL):
            _tables(words.conclusions_table(conclusions))
        if left_out := reading.left_out(words.MOST):
            _tables(words.left_out_table(left_out, overview.left_out))
        for line in words.flag_lines(reading.flags()):
            console.print(line, highlight=False)
        if overview.awaited:
            console.print(words.go_on(overview.awaited, study), highlight=False, markup=False)
        for row in (r for r in reading.not_done(words.MOST) if r.message is not None):
            console.print(words.not_done_words(row, study), highlight=False, markup=False)
    for error in amiss[: words.MOST // 5]:
        sys.stderr.write(f"Error: {error['message']}\n")
    if len(amiss) > words.MOST // 5:
        sys.stderr.write(
            f"Error: and {len(amiss) - words.MOST // 5} more files like these; --json has all.\n"
        )
    return 1 if amiss else 0


def _study_file(folder: Path) -> list[Error]:
    """What is wrong with the study file, or with a file that it names to measure with."""
    path = folder / STUDY_FILE
    try:
        told = study_file_in(folder)
        if told is not None:
            check_files(path, told)
    except CannotReadError as error:
        return [{"path": STUDY_FILE, "message": str(error)}]
    return []


def _photos(reading: Reading, rows: Sequence[PhotographRow], program: str, *, as_json: bool) -> int:
    """Photographs with their samples and measurements; the exit status."""
    records = [reading.record(row.measurement_id) for row in rows if row.measurement_id is not None]
    errors = [{"path": r.path, "message": r.message} for r in rows if r.message is not None]
    if as_json:
        print_json(measure_document(records, errors, program))
    else:
        if records:
            terminal.show(records)
        for row in rows:
            _tables(words.measurements_table(row.path, reading.measurements_of(row.id)))
            lines = words.photograph_lines(row, reading.exposures(row.id), str(reading.folder))
            sys.stdout.write("".join(f"{line}\n" for line in lines))
    for error in errors:
        sys.stderr.write(f"Error: {error['message']}\n")
    return 1 if errors else 0


def _sample(reading: Reading, name: str, program: str, *, as_json: bool) -> int:
    """One sample through all photographs; the exit status."""
    rows = reading.course(name)
    if not rows:
        there = ", ".join(r.name for r in reading.names()[: words.MOST]) or "none yet"
        raise WrongUseError(f"--sample {name}: no such sample in the study; there are {there}")
    if as_json:
        points = [to_json(row) for row in rows]
        print_json(
            {"schema": "glowkin.study.v1", "program": program, "errors": [], "name": name, "points": points}
        )
    else:
        _tables(words.course_table(name, rows))
    return 0


def _conclusion(reading: Reading, number: int, study: str, program: str, *, as_json: bool) -> int:
    """One conclusion whole, also one that was withdrawn; the exit status."""
    found = reading.conclusion(number)
    if as_json:
        print_json(words.conclusion_document(found, program))
    else:
        terminal.show([], found.pairs, found.course, matches=found.matches)
    if why := reading.withdrawn(number):
        sys.stderr.write(
            f"Conclusion {number} was withdrawn ({why}) and counts nowhere; take it in again with: "
            f"glowkin study edit {typed(study)} --conclusion {number} --take-in\n"
        )
    return 0


def _write_outlines(reading: Reading, rows: Sequence[PhotographRow], path: Path) -> None:
    from glowkin.samples.outlines import outlines_text

    if len(rows) != 1:
        raise WrongUseError("--outlines: name the one PHOTO whose outlines are to be written")
    if path.is_file():
        raise WrongUseError(f"{path}: is there already; name a new file")
    if rows[0].measurement_id is None:
        raise CannotReadError(f"{rows[0].path}: is not measured yet, so there are no outlines to write")
    write_whole(path, outlines_text(reading.record(rows[0].measurement_id)).encode())
    sys.stderr.write(f"{path}: outlines of {rows[0].path}\n")


def _tables(table: Any) -> None:
    print_table(plain_console(), table)
