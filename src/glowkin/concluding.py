"""What the commands that conclude from a study do: from the ledger by a recipe back into the ledger."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from glowkin import recipes
from glowkin.base.errors import CannotMeasureError
from glowkin.base.records import compare_document, track_document
from glowkin.findings.track import Plan
from glowkin.light.photo import RAW_SUFFIXES
from glowkin.run.gather import one_a_shot
from glowkin.studied import taken
from glowkin.study.study_file import read_study_file
from glowkin.study.words import course_words, pairs_words
from glowkin.study.workbook import open_workbook

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.records import Comparison, MeasuredPhoto, TimeCourse
    from glowkin.base.study import StudyFile
    from glowkin.study.workbook import Workbook

STUDY_FILE = "study.toml"


def track(
    study: Path, photos: Sequence[Path], program: str, options: dict[str, Any], *, as_json: bool
) -> int:
    """Follow samples through the study's photographs and keep the course; the exit status."""
    with open_workbook(study, program) as workbook:
        number, count, series, course = tracked(workbook, photos, program, options)
    if as_json:
        _print(track_document(course, [], program))
    else:
        from glowkin.terminal import show

        show(series, course=course)
        _kept(study, number, count)
    return 0


def tracked(
    workbook: Workbook, photos: Sequence[Path], program: str, options: dict[str, Any]
) -> tuple[int, int, Sequence[MeasuredPhoto], TimeCourse]:
    """The course of samples through photographs of a study, kept in it: its number, of how many, and itself
    with its photographs.
    """
    written = written_down(workbook.folder)
    numbers, measured = _measured(workbook, photos)
    lean = [photo.without_outlines() for photo in measured]
    given = options["names"]
    names = tuple(n.strip() for n in given.split(",") if n.strip()) if given else ()
    names = names or (written.names if written else ())
    plan = Plan(options["controls"], options["converted"], options["start"], (), options["at"])
    told = filled(workbook.folder, {"outlines": None}).get("references", ())
    references = [(name, glow) for name, _, glow in (text.partition("=") for text in told)]
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
        _print(compare_document(pairs, [], program))
    else:
        from glowkin.terminal import show

        show(measured, pairs)
        _kept(study, number, count)
    return 0


def compared(
    workbook: Workbook, photos: Sequence[Path], program: str, options: dict[str, Any]
) -> tuple[int, int, list[MeasuredPhoto], list[Comparison]]:
    """Samples of photographs of a study compared, and that kept in it: its number, of how many photographs,
    these, and itself.
    """
    numbers, measured = _measured(workbook, photos)
    asked = options["pairs"], options["tolerance"], options["lab_white"]
    pairs = recipes.compare(measured, *asked, written_down(workbook.folder))
    there = {place.path for c in pairs for place in (c.a, c.b)}
    grounds = [n for n, photo in zip(numbers, measured, strict=True) if photo.path in there]
    document = compare_document(pairs, [], program)
    number = workbook.conclude("compare", document, options, pairs_words(pairs), grounds)
    return number, len(grounds), measured, pairs


def written_down(folder: Path) -> StudyFile | None:
    """The study file in a study's folder, where there is one."""
    path = folder / STUDY_FILE
    return read_study_file(path) if path.is_file() else None


def filled(folder: Path, options: dict[str, Any]) -> dict[str, Any]:
    """Options of a measuring command; those not given as the study file in the folder has them."""
    path = folder / STUDY_FILE
    return taken(path, options)[1] if path.is_file() else options


def _measured(workbook: Workbook, photos: Sequence[Path]) -> tuple[list[int], list[MeasuredPhoto]]:
    """The current measurements meant, with their numbers: of each shot saved both ways the raw file only."""
    reading = workbook.reading
    rows = reading.find_all(map(str, photos)) or reading.photographs(reading.overview().photographs)
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


def _kept(study: Path, number: int, photographs: int) -> None:
    sys.stdout.write(
        f"Kept in the study as conclusion {number}, of {photographs} "
        f"{'photograph' if photographs == 1 else 'photographs'}; see it again with: "
        f"glowkin study show {study} --conclusion {number}\n"
    )


def _print(document: dict[str, Any]) -> None:
    json.dump(document, sys.stdout, indent=1, ensure_ascii=False, allow_nan=False)
    sys.stdout.write("\n")
