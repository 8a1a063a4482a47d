"""The commands of a study: parse, call the workbook or the reading, print. No science here."""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path
from typing import Any

import click

from glowkin.base.errors import WrongUseError
from glowkin.matching import FORMS_OR_KEPT, supposed, supposing
from glowkin.options import (
    BRACKET,
    JOBS,
    JSON,
    LAB_WHITE,
    PAIRS,
    PROGRAM,
    TOLERANCE,
    Commands,
    course_options,
    shared_options,
)

STUDY = click.argument("study", type=click.Path(path_type=Path))
PHOTOS = click.argument("photos", nargs=-1, type=click.Path(path_type=Path), metavar="[PHOTO]...")
OMISSIBLE = ("camera", "filter", "lamp-off", "lens-capped", "flat", "blank", "reference")


@click.group("study", cls=Commands)
def study_commands() -> None:
    """Keep the work of weeks in one folder: photographs, measurements, edits, and what was concluded."""


@study_commands.command(epilog='Example: glowkin study new drying --title "Drying of the red form"')
@STUDY
@click.option("--title", default="", metavar="TEXT", help="What the study is called; else as its folder.")
@JSON
def new(study: Path, title: str, *, as_json: bool) -> None:
    """Begin a study in the folder STUDY, which is made."""
    from glowkin import bookkeeping

    sys.exit(bookkeeping.begin(study, title, PROGRAM, as_json=as_json))


@study_commands.command(epilog="Example: glowkin study add drying evening.dng --names red,green --copy")
@STUDY
@PHOTOS
@click.option("--copy", is_flag=True, help="Copy the photographs into the study's folder.")
@click.option("--replace", is_flag=True, help="Where a photograph has new content, take that in its place.")
@BRACKET
@partial(shared_options, left_out=("out",))
def add(
    study: Path, photos: tuple[Path, ...], *, copy: bool, replace: bool, bracket: bool, **options: Any
) -> None:
    """Take PHOTOs into the study and measure them; complete what is still to be measured.

    Adding one twice is harmless. One that was moved is found again when it is added from its new place.
    """
    from glowkin import bookkeeping

    sys.exit(bookkeeping.add(study, photos, PROGRAM, options, copy=copy, replace=replace, bracket=bracket))


@study_commands.command(epilog="Example: glowkin study show drying evening.dng")
@STUDY
@PHOTOS
@click.option("--sample", metavar="NAME", help="One sample through all photographs.")
@click.option("--conclusion", type=click.IntRange(1), metavar="NO", help="A course or comparisons, whole.")
@click.option("--edits", is_flag=True, help="What was edited, the latest first.")
@click.option("--outlines", type=click.Path(path_type=Path), metavar="FILE",
              help="Write the outlines of the one PHOTO as GeoJSON, to be changed.")  # fmt: skip
@JSON
def show(study: Path, photos: tuple[Path, ...], **options: Any) -> None:
    """Show what the study holds, or what is known of PHOTOs in it."""
    from glowkin import showing

    sys.exit(showing.show(study, photos, PROGRAM, **options))


@study_commands.command(epilog="Example: glowkin study remeasure drying --camera camera.json")
@STUDY
@PHOTOS
@click.option("--without", multiple=True, metavar="OPTION",
              type=click.Choice(OMISSIBLE),
              help="Leave out what was measured with. Repeatable.")  # fmt: skip
@partial(shared_options, left_out=("names", "outlines", "out"))
@click.pass_context
def remeasure(
    context: click.Context,
    /,
    study: Path,
    photos: tuple[Path, ...],
    *,
    without: tuple[str, ...],
    **options: Any,
) -> None:
    """Measure PHOTOs anew, or all, by this version; options given take the place of those kept.

    A result stands until the new one is whole, and is kept after that.
    """
    from glowkin import bookkeeping

    default = click.core.ParameterSource.DEFAULT
    given = {name for name in options if context.get_parameter_source(name) is not default}
    sys.exit(bookkeeping.remeasure(study, photos, PROGRAM, options, given, without))


@study_commands.command(
    epilog="Example: glowkin study track drying --control steady --start 2026-05-04T09:00"
)
@STUDY
@PHOTOS
@click.option("--names", metavar="A,B,..", help="Names in the first photograph, left to right, then down.")
@course_options
@JOBS
@JSON
def track(study: Path, photos: tuple[Path, ...], *, jobs: int, as_json: bool, **options: Any) -> None:
    """Follow samples through PHOTOs of the study, or one arrangement, and keep the course, with maps.

    Without PHOTO: the photographs by one camera that show the same samples, most of all such.

    A study.toml in the study's folder says what options do not. For the maps a few photographs are read
    again.
    """
    from glowkin import concluding

    sys.exit(concluding.track(study, photos, PROGRAM, options, jobs, as_json=as_json))


@study_commands.command(epilog="Example: glowkin study compare drying evening.dng --pair red green")
@STUDY
@PHOTOS
@PAIRS
@TOLERANCE
@LAB_WHITE
@JSON
def compare(study: Path, photos: tuple[Path, ...], *, as_json: bool, **options: Any) -> None:
    """Compare samples of PHOTOs in the study, or of all, and keep what comes of it."""
    from glowkin import concluding

    sys.exit(concluding.compare(study, photos, PROGRAM, options, as_json=as_json))


@study_commands.command(epilog="Example: glowkin study match drying evening.dng --forms forms.json")
@STUDY
@PHOTOS
@FORMS_OR_KEPT
@supposing
@JSON
def match(
    study: Path, photos: tuple[Path, ...], *, forms: Path | None, as_json: bool, **options: Any
) -> None:
    """Set samples of PHOTOs in the study, or of all, beside known forms, and keep what comes of it."""
    from glowkin import concluding

    sys.exit(concluding.match(study, photos, PROGRAM, forms, supposed(options), as_json=as_json))


@study_commands.command(epilog="Example: glowkin study edit drying evening.dng --rename S1=red-batch-1")
@STUDY
@PHOTOS
@click.option("--names", metavar="A,B,..", help="Names of all samples, left to right, then top to bottom.")
@click.option("--rename", multiple=True, metavar="OLD=NEW", help="Another name for one sample. Repeatable.")
@click.option("--outlines", type=click.Path(path_type=Path), metavar="FILE", help="Other outlines, GeoJSON.")
@click.option("--found", is_flag=True, help="Back to the outlines that are found.")
@click.option("--note", metavar="TEXT", help="A note on the photograph; an empty one removes it.")
@click.option("--leave-out", metavar="WHY", help="Leave the photograph out, for this reason.")
@click.option("--take-in", is_flag=True, help="Take in again what was left out.")
@click.option("--conclusion", "conclusions", type=click.IntRange(1), multiple=True, metavar="NO",
              help="A conclusion to withdraw (--leave-out) or to --take-in again. Repeatable.")  # fmt: skip
@JOBS
@JSON
def edit(study: Path, photos: tuple[Path, ...], *, jobs: int, as_json: bool, **options: Any) -> None:
    """Change names, outlines or the note of PHOTOs in the study, or leave them out, as one edit.

    Conclusions are left out in the same way: with --conclusion, also without a PHOTO.
    """
    from glowkin import bookkeeping

    given = [name for name, value in options.items() if value not in (None, (), False)]
    if not photos and "conclusions" not in given:
        raise WrongUseError("name the PHOTO to edit, or a conclusion with --conclusion NO")
    if not set(given) - {"conclusions"}:
        raise WrongUseError("nothing to edit; say what: --names, --rename, --outlines, --note or --leave-out")
    if not photos and (of_photos := [n for n in given if n not in ("conclusions", "leave_out", "take_in")]):
        raise WrongUseError(f"--{of_photos[0]}: is of photographs; name the PHOTO")
    if "conclusions" in given and not {"leave_out", "take_in"} & set(given):
        raise WrongUseError("--conclusion: say --leave-out WHY to withdraw it, or --take-in")
    for one, other in (("outlines", "found"), ("leave_out", "take_in")):
        if options[one] is not None and options[other]:
            names = (f"--{name.replace('_', '-')}" for name in (one, other))
            raise WrongUseError(f"{' and '.join(names)} contradict each other; give one of them")
    sys.exit(bookkeeping.edit(study, photos, PROGRAM, options, jobs, as_json=as_json))


@study_commands.command(epilog="Example: glowkin study undo drying")
@STUDY
@JOBS
@JSON
def undo(study: Path, *, jobs: int, as_json: bool) -> None:
    """Undo the last edit; once more, and the one before."""
    from glowkin import bookkeeping

    sys.exit(bookkeeping.undo(study, PROGRAM, jobs, as_json=as_json))


@study_commands.command(epilog="Example: glowkin study export drying --out for-print --zip drying.zip")
@STUDY
@click.option("--out", type=click.Path(path_type=Path), metavar="DIR",
              help="Folder for JSON, CSV, CGATS.17 text and figures.")  # fmt: skip
@click.option("--zip", "zip_file", type=click.Path(path_type=Path), metavar="FILE",
              help="The whole study as one file, to be opened and measured again elsewhere.")  # fmt: skip
@click.option("--width", type=click.Choice(["single", "double"]), default="single", show_default=True,
              help="Columns that figures are printed in: 85 or 175 mm.")  # fmt: skip
@click.option("--with-metadata", is_flag=True,
              help="Leave position, serial numbers and folders in photographs and texts.")  # fmt: skip
@JOBS
@JSON
def export(study: Path, **options: Any) -> None:
    """Write the study for other programs (--out), for another computer (--zip), or both."""
    from glowkin import exporting

    sys.exit(exporting.export(study, PROGRAM, **options))


@study_commands.command("open", epilog="Example: glowkin study open drying.zip drying")
@click.argument("zip_file", type=click.Path(path_type=Path), metavar="FILE")
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@JSON
def open_zip(zip_file: Path, folder: Path, *, as_json: bool) -> None:
    """Open FILE, a study's zip, as a study in the new folder DIR; it is checked first."""
    from glowkin import exporting

    sys.exit(exporting.open_zip(zip_file, folder, PROGRAM, as_json=as_json))
