"""A study as files for other programs: documents, tables, CGATS.17 text, figures at print size."""

from __future__ import annotations

import json
from itertools import chain
from typing import TYPE_CHECKING, Any

from glowkin.base.files import folder_made, write_parts, write_whole
from glowkin.base.matches import matches_from_json
from glowkin.base.places import tidier
from glowkin.base.records import course_from_json, pairs_from_json, photos_from_json, to_json
from glowkin.study.discreet import walked
from glowkin.study.reading import ALL
from glowkin.study.words import conclusion_document, study_document
from glowkin.telling.cgats import cgats_text
from glowkin.telling.conclusion_csv import course_tables, matches_csv, pairs_csv
from glowkin.telling.csv_file import course_csv, csv_text, samples_csv
from glowkin.telling.naming import public_names

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from glowkin.base.records import MeasuredPhoto
    from glowkin.study.reading import Reading
    from glowkin.study.rows import PhotographRow
    from glowkin.telling.print_size import Column

TABLES = ("study.json", "measure.json", "samples.csv", "photographs.csv", "colours.txt")
_HEADS = (
    ("photograph", "path"), ("taken at (ISO 8601)", "taken_at"), ("exposure (s)", "exposure_s"),
    ("ISO speed (1)", "iso"), ("f-number (1)", "f_number"), ("kind", "kind"), ("status", "status"),
    ("why not measured", "message"), ("samples (1)", "samples"), ("camera description", "camera"),
    ("measured at (UTC)", "measured_at"), ("measured by", "program"), ("flags", "flags"), ("note", "note"),
    ("left out because", "left_out"), ("SHA-256", "sha256"),
)  # fmt: skip


def write_tables(reading: Reading, folder: Path, program: str, *, folders: bool = False) -> list[str]:
    """Write ``TABLES`` and conclusions into a folder that is there; answers their names. Paths are cut short
    unless ``folders``.
    """
    rows = [*reading.photographs(ALL), *reading.left_out(ALL)]
    paths = [row.path for row in rows]
    names = {p: p for p in paths} if folders else public_names(paths)
    change = tidier(names, folders=folders, samples=reading.every_name())
    document = walked(study_document(reading, (), program), change)
    write_whole(folder / "study.json", _text(document))
    errors = [{"path": r.path, "message": r.message} for r in rows if r.message and not r.left_out]
    kept: list[MeasuredPhoto] = []
    records = (walked(to_json(photo), change) for photo in reading.measured())
    lines = _document_lines(records, walked(errors, change), program, kept)
    write_parts(folder / "measure.json", (line.encode() for line in lines))
    write_whole(folder / "samples.csv", samples_csv(kept).encode())
    write_whole(folder / "photographs.csv", _photographs_csv(rows, change).encode())
    write_whole(
        folder / "colours.txt", cgats_text(kept, change(reading.overview().title), program).encode("ascii")
    )
    return [*TABLES, *_write_conclusions(reading, folder, change)]


def write_figures(
    reading: Reading, folder: Path, column: Column, *, folders: bool = False
) -> list[tuple[str, float, float]]:
    """Write figures as SVG and PNG; answers name, width and height in mm of each.

    Of many photographs the first and the last are drawn; of courses that stand the latest with its maps, and
    the latest match of each sample.
    """
    from glowkin.study.reporting import kept, latest_matches
    from glowkin.telling.out_dir import Parts, drawn, drawn_matches, published
    from glowkin.telling.print_size import drawn_for, save_for_print
    from glowkin.telling.report import MOST_PHOTOGRAPHS

    rows = [r for r in reading.photographs(ALL) if r.measurement_id is not None]
    photos: list[MeasuredPhoto] = []
    previews: dict[str, bytes] = {}
    for row in rows if len(rows) <= MOST_PHOTOGRAPHS else (rows[0], rows[-1]):
        assert row.measurement_id is not None  # noqa: S101 - chosen above
        photos.append(reading.record(row.measurement_id))
        jpeg = reading.preview(row.id)
        previews |= {row.path: jpeg} if jpeg else {}
    found, by_path = kept(reading), {r.path: r.measurement_id for r in rows}
    parts = Parts(photos=tuple(photos), course=found.course, previews=previews, maps=found.maps)
    matches = latest_matches(found.matches, list(by_path))
    there = dict.fromkeys(s.path for m in matches for s in m.samples)
    beside = Parts(tuple(reading.record(by_path[path] or 0) for path in there), matches=matches)
    folder_made(folder)
    with drawn_for(column):
        parts, beside = (p if folders else published(p) for p in (parts, beside))
        figures = chain(drawn(parts), drawn_matches(beside)) if photos else ()
        return [(name, *save_for_print(fig, folder / name, column)) for name, fig in figures]


def _write_conclusions(reading: Reading, folder: Path, change: Callable[[str], str]) -> list[str]:
    """Conclusions, each a document of its kind and its tables, by their numbers; and the forms that matches
    were made by.
    """
    names = []
    for row in reversed(reading.conclusions(ALL)):
        found = reading.conclusion(row.id)
        document = conclusion_document(found, row.program)
        names.append(f"{row.kind}-{row.id}.json")
        write_whole(folder / names[-1], _text(walked(document, change)))
        for name, table in _tables_of(walked(document, change), f"{row.kind}-{row.id}"):
            names.append(name)
            write_whole(folder / name, table.encode())
        if row.kind == "match":
            forms = reading.file(reading.told_of(row.id)["forms"]["sha256"])[1]
            names.append(f"{row.kind}-{row.id}-forms.json")
            write_whole(folder / names[-1], forms)
    return names


def _tables_of(document: dict[str, Any], stem: str) -> Iterator[tuple[str, str]]:
    """The tables of a conclusion's document, by their file names."""
    if "pairs" in document:
        yield f"{stem}.csv", pairs_csv(pairs_from_json(document))
    elif "known" in document:
        yield f"{stem}.csv", matches_csv(matches_from_json(document))
    else:
        course = course_from_json(document)
        yield f"{stem}.csv", course_csv(course)
        yield from ((f"{stem}-{what}.csv", text) for what, text in course_tables(course).items())


def _document_lines(
    records: Iterator[dict[str, Any]], errors: list[dict[str, Any]], program: str, kept: list[MeasuredPhoto]
) -> Iterator[str]:
    """glowkin.measure.v1, a photograph a line; each is kept without its outlines for the tables."""
    head = json.dumps(
        {"schema": "glowkin.measure.v1", "program": program, "errors": errors}, ensure_ascii=False
    )
    yield f'{head[:-1]}, "photos": ['
    for number, record in enumerate(records):
        yield f"{',' if number else ''}\n{json.dumps(record, ensure_ascii=False, allow_nan=False)}"
        kept.append(photos_from_json({"photos": [_without_outlines(record)]})[0])
    yield "\n]}\n"


def _without_outlines(record: dict[str, Any]) -> dict[str, Any]:
    """What no table has left out, which is most of it."""
    samples = [{**s, "outline_px": (), "shared_errors": None} for s in record["samples"]]
    return {**record, "samples": samples, "rejected": ()}


def _photographs_csv(rows: Sequence[PhotographRow], change: Callable[[str], str]) -> str:
    values = ([getattr(row, field) for _, field in _HEADS] for row in rows)
    told = ([change(v) if isinstance(v, str) else v for v in row] for row in values)
    return csv_text([head for head, _ in _HEADS], told)


def _text(document: dict[str, Any]) -> bytes:
    return f"{json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False)}\n".encode()
