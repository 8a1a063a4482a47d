"""The folder a run leaves behind, and the report made anew from it.

``measure.json``, ``compare.json``, ``track.json``, ``match.json`` and ``maps.npz`` (where there is
something in them), ``samples.csv`` and ``TABLES``, ``outlines/``, ``figures/`` with SVG, PNG and the
small pictures, and ``report.html``. Every file is written whole by rename; paths in them are cut to what
tells the photographs apart, so that the folder can be published.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from glowkin.base.errors import CannotReadError
from glowkin.base.files import folder_made, write_parts, write_whole
from glowkin.base.matches import Matches, match_document, matches_from_json
from glowkin.base.records import (
    Comparison,
    MeasuredPhoto,
    TimeCourse,
    compare_document,
    course_from_json,
    measure_document,
    pairs_from_json,
    photos_from_json,
    track_document,
)
from glowkin.base.shelf import kept_as, shallow
from glowkin.samples.outlines import outlines_text
from glowkin.telling import figures
from glowkin.telling.conclusion_csv import COURSE_TABLES, course_tables, matches_csv, pairs_csv
from glowkin.telling.csv_file import course_csv_parts, samples_csv_parts
from glowkin.telling.diagram import chromaticity_diagram
from glowkin.telling.maps_file import read_maps, write_maps
from glowkin.telling.match_table import matched_photographs, public_matches
from glowkin.telling.naming import base_name, public_names, without_folders
from glowkin.telling.pieces import Each, json_parts
from glowkin.telling.previews import jpeg, pixels_of
from glowkin.telling.progress import pages
from glowkin.telling.report import build_report, shown_photographs
from glowkin.telling.spots import outside_series
from glowkin.telling.strip import map_pages

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from matplotlib.figure import Figure

    from glowkin.base.maps import FractionMap
    from glowkin.telling.previews import Preview
    from glowkin.telling.study_told import StudyTold

T = TypeVar("T")
DOCUMENTS = ("measure.json", "compare.json", "track.json", "match.json")
TABLES = ("compare.csv", "match.csv", "course.csv", *(f"course-{what}.csv" for what in COURSE_TABLES))


@dataclass(frozen=True)
class Parts:
    """All a report is made from; ``previews`` by the photograph's path. Photographs may be on a shelf."""

    photos: Sequence[MeasuredPhoto] = ()
    pairs: tuple[Comparison, ...] = ()
    course: TimeCourse | None = None
    previews: Mapping[str, Preview] = field(default_factory=dict)
    settings: Mapping[str, Any] = field(default_factory=dict)
    program: str = "glowkin"
    versions: Mapping[str, str] = field(default_factory=dict)
    errors: tuple[dict[str, Any], ...] = ()
    maps: Mapping[str, Sequence[FractionMap]] = field(default_factory=dict)
    matches: tuple[Matches, ...] = ()
    study: StudyTold | None = None


def write_out(
    out_dir: Path,
    photos: Sequence[MeasuredPhoto],
    pairs: Sequence[Comparison] = (),
    course: TimeCourse | None = None,
    previews: Mapping[str, Preview] | None = None,
    settings: Mapping[str, Any] | None = None,
    program: str = "glowkin",
    versions: Mapping[str, str] | None = None,
    errors: Sequence[dict[str, Any]] = (),
    maps: Mapping[str, Sequence[FractionMap]] | None = None,
    matches: Matches | None = None,
) -> Path:
    """Write the whole folder; answers the path of its report.html.

    ``previews`` by the photograph's path; those there already, by ``keep_preview``, need not be told.
    """
    there = _read_previews(out_dir / "figures", shown_photographs(photos, course))
    parts = published(
        Parts(
            photos,
            tuple(pairs),
            course,
            {**there, **(previews or {})},
            settings or {},
            program,
            versions or {},
            tuple(errors),
            maps or {},
            (matches,) if matches else (),
        )
    )
    for folder in ("figures", "outlines"):
        folder_made(out_dir / folder)
    _write_documents(out_dir, parts)
    write_maps(out_dir, parts.maps)
    write_parts(out_dir / "samples.csv", samples_csv_parts(parts.photos))
    for photo in parts.photos:
        name = f"{file_stem(photo.path)}.geojson"
        write_whole(out_dir / "outlines" / name, outlines_text(photo).encode())
    _write_previews(out_dir / "figures", parts)
    for name, fig in drawn(parts):
        figures.save(fig, out_dir / "figures" / f"{name}.svg")
        figures.save(fig, out_dir / "figures" / f"{name}.png")
    return _write_report(out_dir, parts)


def write_records(
    out_dir: Path,
    photos: Sequence[MeasuredPhoto],
    course: TimeCourse,
    settings: Mapping[str, Any],
    program: str,
    versions: Mapping[str, str],
) -> None:
    """The documents alone, of a series that goes on; ``rebuild`` makes a report of them."""
    folder_made(out_dir)
    parts = Parts(photos, course=course, settings=settings, program=program, versions=versions)
    _write_documents(out_dir, published(parts))


def _write_documents(out_dir: Path, parts: Parts) -> None:
    documents = _documents(parts)
    for name in set(DOCUMENTS) - set(documents):
        (out_dir / name).unlink(missing_ok=True)
    for name, document in documents.items():
        write_parts(out_dir / name, json_parts(document))
    tables = dict(_tables(parts))
    for name in set(TABLES) - set(tables):
        (out_dir / name).unlink(missing_ok=True)
    for name, pieces in tables.items():
        write_parts(out_dir / name, pieces)


def _tables(parts: Parts) -> Iterator[tuple[str, Iterable[bytes]]]:
    """What was concluded as tables, by their file names."""
    if parts.pairs:
        yield "compare.csv", [pairs_csv(parts.pairs).encode()]
    for matches in parts.matches:
        yield "match.csv", [matches_csv(matches).encode()]
    if parts.course:
        yield "course.csv", course_csv_parts(parts.course)
        for what, text in course_tables(parts.course).items():
            yield f"course-{what}.csv", [text.encode()]


def keep_preview(out_dir: Path, photo: MeasuredPhoto, pixels: Preview) -> Path:
    """Write a photograph's small copy where ``write_out`` has it; answers its path, to hand in there."""
    folder = folder_made(out_dir / "figures")
    return write_whole(folder / preview_name(photo), jpeg(pixels_of(pixels)))


def rebuild(out_dir: Path) -> Path:
    """Make report.html anew from the documents in a folder; answers its path.

    Raises ``CannotReadError`` where there is nothing to report.
    """
    return _write_report(out_dir, published(read_out_dir(out_dir)))


def read_out_dir(out_dir: Path) -> Parts:
    """What measure, compare, track and match left in a folder; what is missing is left empty.

    Raises ``CannotReadError`` for a folder without any of their documents, and for a broken one.
    """
    found = {name: _read(out_dir / name) for name in DOCUMENTS if (out_dir / name).is_file()}
    if not found:
        raise CannotReadError(
            f"{out_dir}: there is no measure.json, compare.json, track.json or match.json to report on; "
            "make them with: glowkin measure PHOTO... --out DIR"
        )
    try:
        return _parts(out_dir, found)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        names = " or ".join(found)
        raise CannotReadError(
            f"{out_dir}: {names} is not as glowkin wrote it ({type(error).__name__}: {error}); measure again."
        ) from error


def _read(path: Path) -> dict[str, Any]:
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise CannotReadError(f"{path}: cannot be read as JSON ({error}); measure again.") from error
    if not isinstance(document, dict):
        raise CannotReadError(f"{path}: holds no glowkin document; measure again.")
    return document


def _parts(out_dir: Path, found: Mapping[str, dict[str, Any]]) -> Parts:
    measured, compared, tracked, matched = (found.get(name) for name in DOCUMENTS)
    photos = tuple(photos_from_json(measured)) if measured else ()
    said: dict[str, Any] = {}
    for document in reversed(list(found.values())):
        said |= document
    errors = {json.dumps(e, sort_keys=True): e for d in found.values() for e in d.get("errors", ())}
    return Parts(
        photos=photos,
        pairs=tuple(pairs_from_json(compared)) if compared else (),
        course=course_from_json(tracked) if tracked else None,
        previews=_read_previews(out_dir / "figures", photos),
        settings=said.get("settings", {}),
        program=said.get("program", "glowkin"),
        versions=said.get("versions", {}),
        errors=tuple(errors.values()),
        maps=read_maps(out_dir) if tracked else {},
        matches=(matches_from_json(matched),) if matched else (),
    )


def _documents(parts: Parts) -> dict[str, dict[str, Any]]:
    """The documents by file name; settings and versions ride along so that a report can be made again."""
    more = {"settings": dict(parts.settings), "versions": dict(parts.versions)}
    measured = measure_document((), parts.errors, parts.program)
    out = {"measure.json": {**measured, "photos": Each([parts.photos]) if parts.photos else [], **more}}
    if parts.pairs:
        out["compare.json"] = {**compare_document(parts.pairs, parts.errors, parts.program), **more}
    if parts.course:
        head = track_document(TimeCourse((), ()), parts.errors, parts.program)
        out["track.json"] = {**head, **shallow(parts.course), **more}
    for matches in parts.matches:
        out["match.json"] = {**match_document(matches, parts.errors, parts.program), **more}
    return out


def published(parts: Parts) -> Parts:
    """The same parts with every path cut to what tells the photographs apart."""
    short = public_names(_paths(parts))
    pairs = tuple(
        replace(c, a=replace(c.a, path=short[c.a.path]), b=replace(c.b, path=short[c.b.path]))
        for c in parts.pairs
    )
    return replace(
        parts,
        photos=kept_as(parts.photos, (_public_photo(p, short[p.path]) for p in parts.photos)),
        pairs=pairs,
        course=parts.course and _public_course(parts.course, short),
        matches=tuple(public_matches(m, short) for m in parts.matches),
        previews={short[path]: preview for path, preview in parts.previews.items() if path in short},
        settings=without_folders(dict(parts.settings)),
        errors=tuple(_public_error(e, short) for e in parts.errors),
        maps={n: tuple(replace(m, path=short.get(m.path, m.path)) for m in r) for n, r in parts.maps.items()},
        study=parts.study and _public_study(parts.study, short),
    )


def _public_study(told: StudyTold, short: Mapping[str, str]) -> StudyTold:
    def by_name(by_path: Mapping[str, T]) -> dict[str, T]:
        return {short[path]: value for path, value in by_path.items() if path in short}

    checks, room_light, notes = by_name(told.checks), by_name(told.room_light), by_name(told.notes)
    return replace(told, checks=checks, room_light=room_light, notes=notes)


def _paths(parts: Parts) -> Iterator[str]:
    yield from (p.path for p in parts.photos)
    yield from (place.path for c in parts.pairs for place in (c.a, c.b))
    yield from (point.path for s in (parts.course.samples if parts.course else ()) for point in s.points)
    yield from (str(e["path"]) for e in parts.errors if "path" in e)


def _public_photo(photo: MeasuredPhoto, path: str) -> MeasuredPhoto:
    return replace(
        photo,
        path=path,
        camera=replace(photo.camera, name=without_folders(photo.camera.name)),
        merged_from=tuple(replace(m, path=base_name(m.path)) for m in photo.merged_from),
        frames=tuple(replace(f, path=base_name(f.path)) for f in photo.frames),
    )


def _public_course(course: TimeCourse, short: Mapping[str, str]) -> TimeCourse:
    samples = tuple(
        replace(
            s,
            points=tuple(replace(p, path=short[p.path]) for p in s.points),
            map=s.map and replace(s.map, path=short.get(s.map.path or "", s.map.path)),
        )
        for s in course.samples
    )
    return replace(course, samples=samples)


def _public_error(error: Mapping[str, Any], short: Mapping[str, str]) -> dict[str, Any]:
    path = str(error.get("path", ""))
    message = str(error.get("message", ""))
    name = short.get(path, path)
    return {
        **error,
        "path": name,
        "message": without_folders(message.replace(path, name) if path else message),
    }


def _write_report(out_dir: Path, parts: Parts) -> Path:
    return write_whole(out_dir / "report.html", report_text(parts).encode())


def report_text(parts: Parts) -> str:
    """The report as HTML text."""
    title = {"title": parts.study.title} if parts.study else {}
    return build_report(
        parts.photos,
        parts.pairs,
        parts.course,
        parts.previews,
        parts.settings,
        parts.program,
        parts.versions,
        parts.errors,
        maps=parts.maps,
        matches=parts.matches,
        study=parts.study,
        **title,
    )


def preview_name(photo: MeasuredPhoto) -> str:
    """The file name of a photograph's small copy: by content, so that renaming the photograph keeps it."""
    return f"preview-{photo.sha256[:16]}.jpg"


def _write_previews(folder: Path, parts: Parts) -> None:
    for photo in parts.photos:
        preview = parts.previews.get(photo.path)
        if preview is not None and not isinstance(preview, Path):  # a file is there, by ``keep_preview``
            write_whole(folder / preview_name(photo), jpeg(pixels_of(preview)))


def _read_previews(folder: Path, photos: Sequence[MeasuredPhoto]) -> dict[str, Preview]:
    files = {p.path: folder / preview_name(p) for p in photos}
    return {path: file for path, file in files.items() if file.is_file()}


def drawn(parts: Parts) -> Iterator[tuple[str, Figure]]:
    """Every figure with its file name, drawn one after the other."""
    if parts.photos:
        shown = outside_series(parts.photos, parts.course)
        yield "chromaticity-1976", chromaticity_diagram(shown, "1976")
        yield "chromaticity-1931", chromaticity_diagram(shown, "1931")
    yield from drawn_matches(parts)
    for photo in shown_photographs(parts.photos, parts.course):
        stem = file_stem(photo.path)
        if photo.path in parts.previews:
            yield (
                f"annotated-{stem}",
                figures.annotated_photograph(photo, pixels_of(parts.previews[photo.path])),
            )
        yield f"swatches-{stem}", figures.swatches(photo)
    if parts.course and parts.course.samples:
        for i, part in enumerate(pages(parts.course), start=1):
            yield f"fraction-against-time-{i}", figures.fraction_against_time(part, parts.course)
        for i, page in enumerate(map_pages(parts.maps), start=1):
            yield f"maps-{i}", figures.map_strip(page, parts.course)
        yield "path-1976", chromaticity_diagram(parts.photos, "1976", parts.course)


def drawn_matches(parts: Parts) -> Iterator[tuple[str, Figure]]:
    """The figures of samples beside known forms, one for each file of forms."""
    for number, matches in enumerate(parts.matches, start=1):
        among = matched_photographs(matches, parts.photos)
        name = "match-1976" if number == 1 else f"match-1976-{number}"
        if among:
            yield name, chromaticity_diagram(among, "1976", matches=matches)


def file_stem(path: str) -> str:
    """A name fit for a file on every system, from a photograph's public name.

    >>> file_stem("b/IMG 1.dng")
    'b-IMG-1.dng'
    """
    return re.sub(r"[^\w.]+", "-", path).strip("-.") or "photograph"
