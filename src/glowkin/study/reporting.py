"""The report on a study: what the ledger holds and the study file tells, on one page.

The same study gives the same page, to the byte: no clock is read and no folder named.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from glowkin import recipes
from glowkin.base.errors import CannotMeasureError, CannotReadError, GlowkinError
from glowkin.base.files import named
from glowkin.base.given import LuminanceRatio
from glowkin.base.names import listed
from glowkin.base.places import base_name, tidier, typed, without_folders
from glowkin.base.study import StudyFile
from glowkin.base.versions import versions
from glowkin.findings.track import Plan, name_along
from glowkin.study.mapping import outlined
from glowkin.study.reading import ALL
from glowkin.study.series import arrangement, own_names, shown_by
from glowkin.study.study_file import known_glows, study_file_in
from glowkin.telling.out_dir import Parts, published, report_text
from glowkin.telling.previews import LONGEST_PX
from glowkin.telling.report import shown_photographs
from glowkin.telling.study_told import Program, RoomLight, StudyTold

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from glowkin.base.maps import FractionMap
    from glowkin.base.matches import Matches
    from glowkin.base.preparations import Preparation
    from glowkin.base.records import Comparison, MeasuredPhoto, TimeCourse
    from glowkin.study.reading import Reading
    from glowkin.study.rows import PhotographRow

MOST_PAIRS = 60
"""As many comparisons that the study does not keep a page can hold; the words count all."""
NOT_KEPT = "the study's export, once glowkin study track keeps this course,"
"""Where all points are of a course that was worked out for the page."""
Error = dict[str, str]


def report(reading: Reading, program: str) -> str:
    """The report on a study as HTML text."""
    return report_text(published(gathered(reading, program)))


def gathered(reading: Reading, program: str) -> Parts:
    """All that a report on a study is made from, samples compared and followed.

    Raises ``CannotReadError`` where nothing in it is measured yet, or a file that the study file names is
    wrong; one that is missing is told on the page.
    """
    file = study_file_in(reading.folder) or StudyFile()
    rows = reading.photographs(ALL)
    numbers = {r.path: r.measurement_id for r in rows if r.measurement_id is not None}
    photos = [reading.record(number).without_outlines() for number in numbers.values()]
    if not photos:
        raise CannotReadError(
            f"{reading.folder}: nothing in it is measured yet; add photographs with: glowkin study add "
            f"{typed(reading.folder)} PHOTO..."
        )
    errors, found = _not_measured(rows), kept(reading)
    course, maps, pairs = found.course, found.maps, found.pairs
    series = _along(course, photos, found.swapped) if course else []
    course_in, note = f"track-{found.number}.csv of the study's export", ""
    if not series:
        fallen = found.fallen if (own := _own(reading, found.fallen, photos)) else None
        asked = reading.told_of(fallen) if fallen else {}
        maps, course_in, note = {}, NOT_KEPT, _not_kept_words(file, asked, fallen)
        course, series = _followed(
            own or arrangement(photos), file, asked, known_glows(reading.folder, file), errors
        )
    followed = {p.path for p in series}
    others = [p for p in photos if p.path not in followed]
    since = _since_words(others, [p for p in photos if p.path in followed])
    note = f"{note} {since}".strip()
    photos, kept_pairs = [*others, *series], bool(pairs)
    if others and not pairs:
        pairs = recipes.compare([reading.record(numbers[p.path]) for p in others], study=file)
    shown = {p.path for p in shown_photographs(photos, course)}
    photos = [outlined(p, reading.record(numbers[p.path])) if p.path in shown else p for p in photos]
    previews = {r.path: jpeg for r in rows if r.path in shown and (jpeg := reading.preview(r.id)) is not None}
    return Parts(
        tuple(photos), tuple(pairs), course, previews, {}, program, versions(), tuple(errors), maps,
        latest_matches(found.matches, [p.path for p in photos]),
        replace(
            told(reading, file, rows, photos, course),
            most_pairs=None if kept_pairs else MOST_PAIRS,
            course_in=course_in,
            course_note=note if course else "",
        ),
    )  # fmt: skip


@dataclass
class Kept:
    """What a study keeps and what stands: the last course with its number, maps and the swaps it was told of,
    the last comparison of each two samples, and all matches, the latest first. ``fallen``: the number of the
    last course, where none stands.
    """

    course: TimeCourse | None = None
    number: int | None = None
    fallen: int | None = None
    maps: Mapping[str, Sequence[FractionMap]] = field(default_factory=dict)
    swapped: Sequence[tuple[str, str, str]] = ()
    pairs: Sequence[Comparison] = ()
    matches: list[Matches] = field(default_factory=list)


def kept(reading: Reading) -> Kept:
    """What a study keeps and what stands."""
    out = Kept()
    pairs: dict[tuple[str, ...], Comparison] = {}
    for row in reading.conclusions(ALL):
        if row.kind == "track" and row.gone:
            out.fallen = out.fallen or row.id
        if row.gone or (row.kind == "track" and out.course is not None):
            continue
        found = reading.conclusion(row.id)
        if found.course is not None:
            out.course, out.number, out.maps = found.course, row.id, found.maps
            out.swapped = [(file, a, b) for file, a, b in reading.told_of(row.id).get("swapped", ())]
        if found.matches is not None:
            out.matches.append(found.matches)
        for c in found.pairs:
            pairs.setdefault((c.a.path, c.a.name, c.b.path, c.b.name), c)
    out.pairs = list(pairs.values())
    return out


def latest_matches(found: Sequence[Matches], paths: Sequence[str]) -> tuple[Matches, ...]:
    """The latest match of each sample in each photograph, in the order of these; of ``found`` the latest is
    the first. Those by the same forms and suppositions come together.
    """
    seen: set[tuple[str, str]] = set()
    alike: dict[str, Matches] = {}
    order = {path: i for i, path in enumerate(paths)}
    for matches in found:
        new = [s for s in matches.samples if (s.path, s.name) not in seen and s.path in order]
        seen |= {(s.path, s.name) for s in new}
        if new:
            same = repr((matches.forms_sha256, matches.observer, matches.known, matches.assumed))
            before = alike.get(same, replace(matches, samples=()))
            samples = sorted((*before.samples, *new), key=lambda s: order[s.path])
            alike[same] = replace(before, samples=tuple(samples))
    return tuple(alike.values())


def _along(
    course: TimeCourse, photos: Sequence[MeasuredPhoto], swapped: Sequence[tuple[str, str, str]]
) -> list[MeasuredPhoto]:
    """The photographs of a course, their samples named by place as in the course."""
    paths = {point.path for s in course.samples for point in s.points}
    series = [p for p in photos if p.path in paths]
    if not series:
        return []
    names = [s.name for s in course.samples]
    first = min(series, key=lambda p: p.taken_at or "")
    return list(name_along(series, names if len(names) == len(first.samples) else (), swapped))


def _own(reading: Reading, fallen: int | None, photos: Sequence[MeasuredPhoto]) -> list[MeasuredPhoto]:
    """The photographs of a course that no longer stands, as they are measured now; none where those that are
    left make no course.
    """
    paths = reading.hashes_of(fallen) if fallen else {}
    own = [p for p in photos if p.path in paths]
    return own if len({p.taken_at for p in own}) > 1 else []


def _followed(
    series: Sequence[MeasuredPhoto], file: StudyFile, asked: Mapping[str, Any],
    glows: Sequence[tuple[str, str]], errors: list[Error],
) -> tuple[TimeCourse | None, list[MeasuredPhoto]]:  # fmt: skip
    """The course of a series, by what was asked for when one was last kept, else by the study file; and its
    photographs with their samples named by place.
    """
    if not series:
        return None, []
    names = listed(asked.get("names")) or (file.names if asked and not own_names(series) else ())
    names = names if len(names) == len(series[0].samples) else ()
    there = {s.name for p in series for s in p.samples} | set(names)
    controls, converted = (
        tuple(n for n in asked.get(key) or told if n in there)
        for key, told in (("controls", file.controls), ("converted", file.converted))
    )
    given = asked.get("luminance_ratio")
    ratio = LuminanceRatio.read(str(given), "luminance_ratio") if given else file.ratio
    plan = Plan(
        controls, converted, asked.get("start") or file.start,
        tuple((str(photo), str(a), str(b)) for photo, a, b in asked.get("swapped", ())),
        tuple(asked.get("at", ())), study=file, all_models=bool(asked.get("all_models")),
        luminance_ratio=ratio if series[0].kind == "raw" else None,
    )  # fmt: skip
    try:
        named_along, course = recipes.track(series, plan, names, [g for g in glows if g[0] in there])
    except CannotMeasureError as error:
        errors.append({"path": "series", "message": str(error)})
        return None, []
    return course, list(named_along)


def _since_words(others: Sequence[MeasuredPhoto], series: Sequence[MeasuredPhoto]) -> str:
    """How many photographs of the samples that were followed are not in the course that stands."""
    shown = {shown_by(p) for p in series}
    more = sum(bool(p.taken_at) and shown_by(p) in shown for p in others)
    if not more:
        return ""
    which = "1 more photograph shows" if more == 1 else f"{more} more photographs show"
    are = "is" if more == 1 else "are"
    return f"{which} these samples and {are} not in this course; glowkin study track makes it anew."


def _not_kept_words(file: StudyFile, asked: Mapping[str, Any], fallen: int | None) -> str:
    """What a course that was worked out for the page goes without: maps and forms, and not what else was
    ``asked`` of one that has fallen.
    """
    forms = [key for key, value in (("old_form", file.old_form), ("new_form", file.new_form)) if value]
    by = f", as conclusion {fallen} was asked for, which no longer stands" if fallen else ""
    if lost := [key for key in ("old_form", "new_form") if asked.get(key)]:
        by += f", but without its {' and '.join(lost)}"
    more = f" and takes {' and '.join(forms)} of the study file, which were not used here" if forms else ""
    return (
        f"This course was worked out for this page{by}. The command glowkin study track keeps it, with maps "
        f"of where each sample changes{more}."
    )


def _not_measured(rows: Sequence[PhotographRow]) -> list[Error]:
    return [
        {"path": r.path, "message": r.message or f"{r.path}: is still to be measured"}
        for r in rows
        if r.measurement_id is None
    ]


def told(
    reading: Reading, file: StudyFile, rows: Sequence[PhotographRow], photos: Sequence[MeasuredPhoto],
    course: TimeCourse | None,
) -> StudyTold:  # fmt: skip
    """What the study tells beyond its measurements."""
    overview, missing = reading.overview(), list[tuple[str, str]]()
    concluded = [
        (str(c.id), c.kind, c.made_at, c.program, str(c.photographs), _state(c.gone))
        for c in reading.conclusions(ALL)
    ]
    left_out = reading.left_out(ALL)
    paths = {r.path: base_name(r.path) for r in (*rows, *left_out)}
    tidy = tidier(paths, samples=reading.every_name())
    edits = [(e.made_at, tidy(e.words)) for e in reading.edits(ALL) if e.undone_at is None]
    checked = {r.path: reading.check(r.measurement_id) for r in rows if r.measurement_id is not None}
    return StudyTold(
        str(without_folders(file.title or overview.title)),
        overview.made_at,
        file,
        tuple(_preparations(reading.folder, file, course, missing)),
        {path: check for path, check in checked.items() if check is not None},
        _room_light(reading.folder, file, shown_photographs(photos, course), missing),
        {r.path: r.note for r in rows if r.note},
        tuple((r.path, r.left_out) for r in left_out),
        tuple(edits),
        tuple(concluded),
        tuple(Program(p.program, p.versions, p.photographs) for p in reading.programs()),
        missing,
    )


def _state(gone: int) -> str:
    return f"{gone} photographs measured anew or left out since; not in this report" if gone else "stands"


def _preparations(
    folder: Path, file: StudyFile, course: TimeCourse | None, missing: list[tuple[str, str]]
) -> list[Preparation]:
    """The batches' preparations; a vial that was weighed has its light beside it."""
    from glowkin.lab.preparation import prepare
    from glowkin.lab.preparation_file import read_preparation
    from glowkin.lab.weighings import with_weighings

    out = []
    for name in _there(folder, "preparation", [b.preparation for b in file.batch], missing):
        told = read_preparation(folder / name)
        light = course if told.weighing and course and course.sample(told.vial.sample) else None
        out.append(with_weighings(prepare(told), told, light, ""))
    return out


def _room_light(
    folder: Path, file: StudyFile, photos: Sequence[MeasuredPhoto], missing: list[tuple[str, str]]
) -> dict[str, RoomLight]:
    """The photographs in room light that the study file names beside those shown; one that cannot be read is
    noted.
    """
    beside = {p.path: file.shot_of(p.path, p.taken_at).room_light for p in photos}
    seen: dict[str, RoomLight] = {}
    for name in _there(folder, "room_light", list(beside.values()), missing):
        try:
            pixels = _seen(folder / name)
        except GlowkinError as error:
            why = str(without_folders(str(error).removeprefix(f"{folder / name}: ")))
            missing.append((name, f"room_light cannot be read: {why}"))
            continue
        seen[name] = RoomLight(base_name(name), named(folder / name)["sha256"], pixels)
    return {path: seen[name] for path, name in beside.items() if name in seen}


def _seen(path: Path) -> NDArray[np.uint8]:
    """A small picture of a photograph of any kind that can be measured, or without colour."""
    from glowkin.light.decode import open_photo
    from glowkin.light.linear import reduced
    from glowkin.light.preview import preview, without_colour

    try:
        photo = open_photo(path)
    except CannotReadError:
        if (grey := without_colour(path, LONGEST_PX)) is None:
            raise
        return grey
    return preview(photo, reduced(photo, LONGEST_PX))


def _there(folder: Path, key: str, names: Sequence[str], missing: list[tuple[str, str]]) -> list[str]:
    """Those of the files that the study file names that are there; others are noted."""
    told = list(dict.fromkeys(name for name in names if name))
    gone = [name for name in told if not (folder / name).is_file()]
    missing += [(name, f"{key} is not there") for name in gone]
    return [name for name in told if name not in gone]
