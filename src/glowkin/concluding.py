"""What the commands that conclude from a study do: from the ledger by a recipe back into the ledger."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from glowkin import giving, recipes
from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.base.matches import match_document
from glowkin.base.names import listed
from glowkin.base.places import typed
from glowkin.base.records import compare_document, track_document
from glowkin.base.settings import Settings
from glowkin.base.shelf import Shelf
from glowkin.base.spectra import forms_content, forms_in
from glowkin.findings.track import Plan
from glowkin.light.photo import RAW_SUFFIXES
from glowkin.run.gather import one_a_shot
from glowkin.study.mapping import map_course
from glowkin.study.reading import ALL
from glowkin.study.series import own_names, series_in, unlike
from glowkin.study.study_file import known_glows, located, study_file_in
from glowkin.study.ways import File, file_of
from glowkin.study.words import course_words, matches_words, pairs_words
from glowkin.study.workbook import open_workbook
from glowkin.terminal import print_json, show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.matches import Assumed, Matches
    from glowkin.base.records import Comparison, MeasuredPhoto, TimeCourse
    from glowkin.study.reading import Reading
    from glowkin.study.workbook import Workbook

_FEW = 5


def track(
    study: Path, photos: Sequence[Path], program: str, options: dict[str, Any], jobs: int, *, as_json: bool
) -> int:
    """Follow samples through the study's photographs and keep the course with its maps; the exit status."""
    with open_workbook(study, program) as workbook:
        number, count, series, course = tracked(workbook, photos, program, options, jobs)
    if as_json:
        print_json(track_document(course, [], program))
    else:
        show(series, course=course)
        _say_kept(study, number, count)
    return 0


def tracked(
    workbook: Workbook, photos: Sequence[Path], program: str, options: dict[str, Any], jobs: int
) -> tuple[int, int, Sequence[MeasuredPhoto], TimeCourse]:
    """The course of samples through photographs of a study, kept in it with maps of those that change: its
    number, of how many, and itself with its photographs. Photographs that maps need and that are not there
    are told on standard error.
    """
    written = study_file_in(workbook.folder)
    numbers, lean = _series(workbook, photos)
    names = listed(options["names"]) or (written.names if written and not own_names(lean) else ())
    plan = Plan(
        options["controls"], options["converted"], options["start"], options["swapped"], options["at"],
        all_models=options["all_models"], old_form=options["old_form"], new_form=options["new_form"],
        luminance_ratio=options["luminance_ratio"],
    )  # fmt: skip
    references = known_glows(workbook.folder, written) if written else ()
    there = None if written is None else located(written, workbook.folder)
    elsewhere = _elsewhere(workbook, lean, names)
    references = tuple(r for r in references if r[0] not in elsewhere)
    full = plan.told_by(there)
    full = replace(
        full,
        controls=plan.controls or tuple(n for n in full.controls if n not in elsewhere),
        converted=plan.converted or tuple(n for n in full.converted if n not in elsewhere),
    )
    plan = _with_forms(workbook, full, lean, names)
    series, course = recipes.track(lean, plan, names, references)
    options = {**options, **giving.told(plan)}
    by_path = {photo.path: number for photo, number in zip(lean, numbers, strict=True)}
    course, maps, missing = map_course(workbook.reading, by_path, series, course, jobs)
    _say_unmapped(missing)
    drawn = [(by_path[m.path], name, m) for name, row in maps.items() for m in row]
    document = track_document(course, [], program)
    number = workbook.conclude("track", document, options, course_words(course), numbers, maps=drawn)
    return number, len(numbers), series, course


def _series(workbook: Workbook, photos: Sequence[Path]) -> tuple[list[int], Shelf[MeasuredPhoto]]:
    """The measurements to follow samples through, by number and without outlines: of the photographs named,
    else of one arrangement. What is left aside, or named differently, is told on standard error.
    """
    numbers = _numbers(workbook, photos)
    lean = Shelf(workbook.reading.record(number).without_outlines() for number in numbers)
    if photos:
        if unlike(lean):
            sys.stderr.write(
                "The names of samples differ among these photographs: samples are followed by their places, "
                "from those of the first photograph.\n"
            )
        return numbers, lean
    chosen = series_in(lean)
    if aside := len(numbers) - len(chosen):
        sys.stderr.write(
            f"Left aside: {aside} of {len(numbers)} photographs, which show other samples, are by another "
            "camera or have no capture time; name PHOTOs to follow others.\n"
        )
        return [numbers[i] for i in chosen], Shelf(lean[i] for i in chosen)
    return numbers, lean


def _elsewhere(workbook: Workbook, photos: Sequence[MeasuredPhoto], names: Sequence[str]) -> set[str]:
    """Samples that only other photographs of the study show: what the study file says of them waits."""
    there = {s.name for photo in photos for s in photo.samples}
    return {row.name for row in workbook.reading.names()} - there - set(names)


def _with_forms(
    workbook: Workbook, plan: Plan, photos: Sequence[MeasuredPhoto], names: Sequence[str]
) -> Plan:
    """The plan with the forms it names: of photographs of the study, or of files beside it."""
    from glowkin.bookkeeping import as_written

    def look(name: str) -> MeasuredPhoto | None:
        try:
            row = workbook.reading.find(name)
        except WrongUseError:
            return None
        return None if row.measurement_id is None else workbook.reading.record(row.measurement_id)

    told = as_written(workbook.folder, dict.fromkeys(("outlines", "camera", "filter", "references", "names")))
    settings = Settings(names=tuple(names), camera=told["camera"], filter=told["filter"])
    return giving.with_forms(plan, photos, settings, look=look, folder=workbook.folder)


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


def match(
    study: Path, photos: Sequence[Path], program: str, forms: Path | None, assumed: Assumed, *, as_json: bool
) -> int:
    """Set samples of the study's photographs beside known forms and keep the matches; the exit status."""
    with open_workbook(study, program) as workbook:
        number, count, measured, matches = matched(workbook, photos, program, forms, assumed)
    if as_json:
        print_json(match_document(matches, [], program))
    else:
        show(measured, matches=matches)
        _say_kept(study, number, count)
    return 0


def matched(
    workbook: Workbook, photos: Sequence[Path], program: str, forms: Path | None, assumed: Assumed
) -> tuple[int, int, list[MeasuredPhoto], Matches]:
    """Samples of photographs of a study set beside known forms, and that kept in it with the forms: its
    number, of how many photographs, these, and itself.

    Without ``forms`` those of the latest match in the study are taken; ``WrongUseError`` where there is none.
    """
    file = _forms_kept(workbook.reading) if forms is None else file_of(forms.name, forms_content(forms))
    known = forms_in(file.content, file.name if forms is None else str(forms))
    numbers, measured = _measured(workbook, photos)
    matches = recipes.match(measured, known, assumed, file.name, file.sha256)
    told = {
        "forms": file.told, "prior_none": assumed.prior_of_none, "prior_mixtures": assumed.prior_of_mixtures,
        "weights": assumed.weights or {}, "variation": assumed.variation_u_prime_v_prime,
        "sure": assumed.sure,
    }  # fmt: skip
    document, words = match_document(matches, [], program), matches_words(matches)
    number = workbook.conclude("match", document, told, words, numbers, files=[file])
    return number, len(numbers), measured, matches


def _forms_kept(reading: Reading) -> File:
    """The forms file of the latest match in a study."""
    latest = next((row.id for row in reading.conclusions(ALL) if row.kind == "match"), None)
    if latest is None:
        raise WrongUseError(
            f"{reading.folder}: holds no match yet, so no known forms; name their file with --forms"
        )
    return file_of(*reading.file(reading.told_of(latest)["forms"]["sha256"]))


def _measured(workbook: Workbook, photos: Sequence[Path]) -> tuple[list[int], list[MeasuredPhoto]]:
    """The current measurements meant, with their numbers."""
    numbers = _numbers(workbook, photos)
    return numbers, [workbook.reading.record(number) for number in numbers]


def _numbers(workbook: Workbook, photos: Sequence[Path]) -> list[int]:
    """The numbers of the current measurements meant: of each shot saved both ways of the raw file only."""
    reading = workbook.reading
    rows = reading.find_all(map(str, photos)) or reading.photographs(ALL)
    missing = [row.path for row in rows if row.measurement_id is None]
    add = f"glowkin study add {typed(workbook.folder)}"
    if photos and missing:
        raise CannotMeasureError(f"{', '.join(missing)}: not measured yet; go on with: {add}")
    wanted = {p.as_posix() for p in one_a_shot([Path(row.path) for row in rows], RAW_SUFFIXES)}
    numbers = [row.measurement_id for row in rows if row.measurement_id is not None and row.path in wanted]
    if not numbers:
        raise CannotMeasureError(
            f"{workbook.folder}: holds no measured photograph; add some with: {add} PHOTO..."
        )
    return numbers


def _say_kept(study: Path, number: int, photographs: int) -> None:
    sys.stdout.write(
        f"Kept in the study as conclusion {number}, of {photographs} "
        f"{'photograph' if photographs == 1 else 'photographs'}; see it again with: "
        f"glowkin study show {typed(study)} --conclusion {number}\n"
    )


def _say_unmapped(missing: Sequence[str]) -> None:
    """Say on standard error of which photographs there are no maps, a few of many."""
    for words in missing[:_FEW]:
        sys.stderr.write(f"Not in the maps: {words}.\n")
    if len(missing) > _FEW:
        sys.stderr.write(f"Not in the maps: {len(missing) - _FEW} more photographs.\n")
