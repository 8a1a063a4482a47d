"""What ``glowkin prep`` does with a file: read, reckoned, written, printed. No science here."""

from __future__ import annotations

import json
import sys
from datetime import datetime
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from glowkin.base.errors import CannotReadError, GlowkinError, WrongUseError
from glowkin.options import JSON, PROGRAM

if TYPE_CHECKING:
    from glowkin.base.preparations import Preparation
    from glowkin.base.records import TimeCourse

_LARGEST_SIZE = 1e9


@click.command(epilog="Example: glowkin prep sample_images/preparation.toml")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--scale", type=click.FloatRange(0, min_open=True), metavar="FACTOR",
              help="Reckon the same at this multiple of its size.")  # fmt: skip
@click.option("--to-yield", type=click.FloatRange(0, min_open=True), metavar="GRAMS",
              help="Reckon the size that should yield so much product.")  # fmt: skip
@click.option("--track", type=click.Path(path_type=Path), metavar="FILE",
              help="The track.json of the vial that was weighed: light beside mass.")  # fmt: skip
@click.option("--sample", default="", metavar="NAME", help="The vial's name in it, if not in FILE.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder for the record, tables and a figure.")
@JSON
def prep(file: Path, as_json: bool, **options: Any) -> None:
    """Reckon the preparation in FILE: formula masses, amounts, yield, mass changes, weighings."""
    sys.exit(run(file, options, as_json=as_json))


def prepared(
    path: Path, *, scale: float | None = None, to_yield: float | None = None,
    track: TimeCourse | Path | None = None, sample: str = "",
) -> Preparation:  # fmt: skip
    """A preparation file reckoned through, with the light of a track record beside its weighings."""
    from glowkin.lab.preparation import prepare
    from glowkin.lab.preparation_file import read_preparation
    from glowkin.lab.weighings import with_weighings

    if scale is not None and to_yield is not None:
        raise WrongUseError("--scale and --to-yield both set the size; give one of them")
    for option, size in (("--scale", scale), ("--to-yield", to_yield)):
        if size is not None and not 0.0 < size <= _LARGEST_SIZE:
            raise WrongUseError(f"{option} {size:g}: give a number above 0, at most {_LARGEST_SIZE:g}")
    told = read_preparation(path)
    course = _read_track(track) if isinstance(track, Path) else track
    return with_weighings(prepare(told, scale=scale, to_yield_g=to_yield), told, course, sample)


def run(path: Path, options: dict[str, Any], *, as_json: bool) -> int:
    """One run of the command; the exit status."""
    from glowkin.base.files import named
    from glowkin.base.preparations import prep_document
    from glowkin.terminal import print_json

    out, asked = options["out"], {key: value for key, value in options.items() if key != "out"}
    try:
        preparation = prepared(path, **asked)
    except GlowkinError as error:
        if as_json and not isinstance(error, WrongUseError):
            print_json(prep_document(None, _rows(path, error), PROGRAM))
        raise
    document = prep_document(preparation, [], PROGRAM, named(path))
    if out:
        from glowkin.telling.preparation_files import write_preparation

        write_preparation(out, preparation, document | _obtained(asked))
    if as_json:
        print_json(document)
    else:
        _show(preparation)
    return 0


def _obtained(asked: dict[str, Any]) -> dict[str, Any]:
    """What was asked for, files by name and hash, and what computed."""
    from glowkin.base.files import named
    from glowkin.base.versions import versions

    track = asked["track"]
    settings = asked | {"track": None if track is None else named(track)}
    return {"settings": settings, "versions": versions()}


def _rows(path: Path, error: GlowkinError) -> list[dict[str, str]]:
    """One row for each thing to correct."""
    sentences = getattr(error, "sentences", None) or [str(error)]
    return [{"path": str(path), "message": sentence} for sentence in sentences]


def _read_track(path: Path) -> TimeCourse:
    from glowkin.base.records import course_from_json

    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise CannotReadError(
            f"{path}: there is no such file; name the track.json of glowkin track"
        ) from None
    except (OSError, ValueError, RecursionError) as error:
        raise CannotReadError(f"{path}: is no JSON that can be read ({error}); name a track.json") from None
    if not isinstance(document, dict) or document.get("schema") != "glowkin.track.v1":
        raise CannotReadError(f"{path}: is no glowkin.track.v1 record; name the track.json of glowkin track")
    try:
        return _sound(course_from_json(document))
    except (KeyError, TypeError, AttributeError, ValueError):
        raise CannotReadError(f"{path}: this track record is incomplete; make it anew") from None


def _sound(course: TimeCourse) -> TimeCourse:
    """The course; ``ValueError`` or ``TypeError`` where its times or fractions are none."""
    datetime.fromisoformat("2000-01-01" if course.start is None else course.start)
    points = [p for sample in course.samples for p in sample.points]
    told = [v for p in points for v in (p.fraction_start, p.low, p.high) if v is not None]
    if not all(isfinite(v) for v in (*told, *(p.time_s for p in points))):
        raise ValueError("not finite")
    return course


def _show(preparation: Preparation) -> None:
    from glowkin.telling.preparation_page import CAUTION, preparation_tables
    from glowkin.terminal import plain_console, print_table

    console = plain_console()
    for table in preparation_tables(preparation):
        print_table(console, table)
        console.print()
    for remark in preparation.remarks:
        console.print(f"[bold]{remark.cause}[/]: ", end="")
        console.print(remark.sentence, highlight=False, markup=False)
    console.print(CAUTION, highlight=False)
