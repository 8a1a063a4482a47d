"""What the commands that conclude from a study do: from the ledger by a recipe back into the ledger."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from glowkin import recipes
from glowkin.base.errors import CannotMeasureError
from glowkin.base.records import compare_document, track_document
from glowkin.findings.track import Plan
from glowkin.light.photo import RAW_SUFFIXES
from glowkin.run.gather import one_a_shot
from glowkin.session import listed
from glowkin.study.reading import ALL
from glowkin.study.study_file import known_glows, study_file_in
from glowkin.study.words import course_words, pairs_words
from glowkin.study.workbook import open_workbook
from glowkin.terminal import print_json, show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.records import Comparison, MeasuredPhoto, TimeCourse
    from glowkin.study.workbook import Workbook


def track(
    study: Path, photos: Sequence[Path], program: str, options: dict[str, Any], *, as_json: bool
) -> int:
    """Follow samples through the study's photographs and keep the course; the exit status."""
    with open_workbook(study, program) as workbook:
        number, count, series, course = tracked(workbook, photos, program, options)
    if as_json:
        print_json(track_document(course, [], program))
    else:
        show(series, course=course)
        _say_kept(study, number, count)
    return 0


def tracked(
    workbook: Workbook, photos: Sequence[Path], program: str, options: dict[str, Any]
) -> tuple[int, int, Sequence[MeasuredPhoto], TimeCourse]:
    """The course of samples through photographs of a study, kept in it: its number, of how many, and itself
    with its photographs.
    """
    written = study_file_in(workbook.folder)
    numbers, measured = _measured(workbook, photos)
    lean = [photo.without_outlines() for photo in measured]
    names = listed(options["names"]) or (written.names if written else ())
    plan = Plan(
        options["controls"], options["converted"], options["start"], options["swapped"], options["at"]
    )
    references = known_glows(workbook.folder, written) if written else ()
    series, course = recipes.track(lean, plan.told_by(written), names, references)
    document = track_document(course, [], program)
    number = workbook.conclude("track", document, options, course_words(course), numbers)
    return number, len(numbers), series, course


def compare(
    study: Path, photos: Sequence[Path], program: str, options: dict[str, Any], *, as_json: bool
) -> int:
    """Compare samples of the study's photographs and keep what comes of it; the exit status."""
    with open_workbook(study, program) as workbook:
        number, count, measured, pairs = compared(workbook, photos, program, options)
    if as_json:
        print_json(compare_document(pairs, [], program))
    else:
        show(measured, pairs)
        _say_kept(study, number, count)
    return 0


def compared(
    workbook: Workbook, photos: Sequence[Path], program: str, options: dict[str, Any]
) -> tuple[int, int, list[MeasuredPhoto], list[Comparison]]:
    """Samples of photographs of a study compared, and that kept in it: its number, of how many photographs,
    these, and itself.
    """
    numbers, measured = _measured(workbook, photos)
    asked = options["pairs"], options["tolerance"], options["lab_white"]
    pairs = recipes.compare(measured, *asked, study_file_in(workbook.folder))
    there = {place.path for c in pairs for place in (c.a, c.b)}
    grounds = [n for n, photo in zip(numbers, measured, strict=True) if photo.path in there]
    document = compare_document(pairs, [], program)
    number = workbook.conclude("compare", document, options, pairs_words(pairs), grounds)
    return number, len(grounds), measured, pairs


def _measured(workbook: Workbook, photos: Sequence[Path]) -> tuple[list[int], list[MeasuredPhoto]]:
    """The current measurements meant, with their numbers: of each shot saved both ways the raw file only."""
    reading = workbook.reading
    rows = reading.find_all(map(str, photos)) or reading.photographs(ALL)
    missing = [row.path for row in rows if row.measurement_id is None]
    if photos and missing:
        raise CannotMeasureError(f"{', '.join(missing)}: not measured yet; go on with: glowkin study add")
    wanted = {p.as_posix() for p in one_a_shot([Path(row.path) for row in rows], RAW_SUFFIXES)}
    numbers = [row.measurement_id for row in rows if row.measurement_id is not None and row.path in wanted]
    if not numbers:
        raise CannotMeasureError(
            f"{workbook.folder.name}: holds no measured photograph; add some with: glowkin study add"
        )
    return numbers, [reading.record(number) for number in numbers]


def _say_kept(study: Path, number: int, photographs: int) -> None:
    sys.stdout.write(
        f"Kept in the study as conclusion {number}, of {photographs} "
        f"{'photograph' if photographs == 1 else 'photographs'}; see it again with: "
        f"glowkin study show {study} --conclusion {number}\n"
    )
