"""The command line: parse, call the recipes, print. No science here."""

from __future__ import annotations

import sys
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from glowkin import __version__
from glowkin.base.errors import CannotMeasureError, CannotReadError
from glowkin.matching import asked_forms, keep_forms, keeping_forms, match
from glowkin.options import (
    BRACKET,
    JSON,
    LAB_WHITE,
    PAIRS,
    PHOTOS,
    PROGRAM,
    STUDY_FILE,
    TOLERANCE,
    Commands,
    course_options,
    four_corners,
    shared_options,
)
from glowkin.preparing import prep
from glowkin.studying import study_commands

if TYPE_CHECKING:
    from collections.abc import Sequence

    from glowkin.base.given import LuminanceRatio

CAUTION = (
    "UV hurts eyes and skin: eyewear rated for the lamp, no direct or reflected view, gloves and sleeves, "
    "ventilation. The lamp's instructions, local codes and licensed or supervised practice come first."
)


@click.group(cls=Commands, epilog=CAUTION, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="glowkin")
def main() -> None:
    """Turn photographs of samples glowing under a UV lamp into defensible colour measurements."""


@main.command(epilog="Example: glowkin measure evening.dng --names red,green --out results")
@PHOTOS
@BRACKET
@keeping_forms
@shared_options
def measure(photos: tuple[Path, ...], **options: Any) -> None:
    """Find the samples of each PHOTO and measure their colours."""
    from glowkin.session import start

    kept = asked_forms(options)
    session = start(photos, PROGRAM, **options)
    keep_forms(session, kept)
    sys.exit(session.finish())


@main.command(epilog="Example: glowkin compare evening.dng --names red,green --pair red green")
@PHOTOS
@PAIRS
@TOLERANCE
@LAB_WHITE
@STUDY_FILE
@shared_options
def compare(
    photos: tuple[Path, ...],
    pairs: tuple[tuple[str, str], ...],
    tolerance: float,
    lab_white: str | None,
    study_file: Path | None,
    **options: Any,
) -> None:
    """Compare samples: all pairs within each PHOTO, or the named ones."""
    from glowkin import recipes, studied
    from glowkin.session import start

    study, options = studied.taken(study_file, options)
    session = start(photos, PROGRAM, tolerance=tolerance, lab_white=lab_white, **options)
    found = recipes.compare(session.photos, pairs, tolerance, lab_white, study) if session.photos else []
    session.pairs = found
    sys.exit(session.finish())


@main.command(epilog="Example: glowkin track series --control steady --start 2026-05-04T09:00 --out results")
@PHOTOS
@course_options
@click.option("--watch", is_flag=True, help="Take up what comes into the one folder named, until ctrl-C.")
@STUDY_FILE
@shared_options
def track(
    photos: tuple[Path, ...],
    controls: tuple[str, ...],
    converted: tuple[str, ...],
    swapped: tuple[tuple[str, str, str], ...],
    start: str | None,
    at: tuple[float, ...],
    study_file: Path | None,
    *,
    old_form: str,
    new_form: str,
    luminance_ratio: LuminanceRatio | None,
    all_models: bool,
    watch: bool,
    **options: Any,
) -> None:
    """Follow samples through the PHOTOS (or folders of them) over time."""
    from glowkin import giving, recipes, studied
    from glowkin.base.records import TimeCourse
    from glowkin.findings.track import Plan
    from glowkin.session import start as begin

    study, options = studied.taken(study_file, options)
    said = Plan(controls, converted, start, swapped, at, all_models=all_models)
    plan = replace(said, old_form=old_form, new_form=new_form, luminance_ratio=luminance_ratio).told_by(study)
    giving.check_forms(plan)
    options |= {"controls": plan.controls, "converted": plan.converted, "at": at, **giving.told(plan)}
    if watch:
        from glowkin.watching import watch_folder

        sys.exit(watch_folder(photos, PROGRAM, plan, **options))
    session = begin(photos, PROGRAM, series=True, **options)
    session.course = TimeCourse((), ())
    if session.photos:
        names, references = session.settings.names, session.settings.references
        try:
            plan = giving.with_forms(plan, session.photos, session.settings)
            session.photos, session.course = recipes.track(session.photos, plan, names, references)
        except (CannotMeasureError, CannotReadError) as error:
            session.fail(error)
        else:
            session.map_course(options["jobs"])
    sys.exit(session.finish())


@main.command(epilog="Example: glowkin plan --half-time 12h --photos 10")
@click.option("--half-time", required=True, metavar="TIME", help="Your guess, as 90min, 12h or 3d.")
@click.option("--photos", type=click.IntRange(5, 60), default=10, show_default=True, help="How many.")
@click.option("--brightness-ratio", type=click.FloatRange(0.01, 100), default=3.0, show_default=True,
              help="New form over old, under the same lamp.")  # fmt: skip
@click.option("--noise", type=click.FloatRange(0.05, 20), default=0.5, show_default=True, metavar="PERCENT",
              help="Of a sample's channel mean, from photograph to photograph.")  # fmt: skip
@click.option("--lamp-noise", type=click.FloatRange(0.05, 20), default=1.5, show_default=True,
              metavar="PERCENT", help="Of brightness, when the control is divided out.")  # fmt: skip
@JSON
def plan(
    half_time: str, photos: int, brightness_ratio: float, noise: float, lamp_noise: float, as_json: bool
) -> None:
    """Say when to photograph a change, and how well its half-time would be known."""
    from glowkin.findings.planning import Assumed
    from glowkin.planning import run as run_plan

    assumed = Assumed(brightness_ratio, noise / 100.0, lamp_noise / 100.0)
    sys.exit(run_plan(half_time, photos, assumed, PROGRAM, as_json=as_json))


@main.command(epilog="Example: glowkin check evening.dng")
@PHOTOS
@partial(shared_options, left_out=("references", "white_point", "observer", "out"))
def check(photos: tuple[Path, ...], **options: Any) -> None:
    """Say whether each PHOTO can be measured, and what to change at the next shot."""
    from glowkin.session import check as run_check

    sys.exit(run_check(photos, PROGRAM, **options))


@main.command(epilog="Example: glowkin spectrum green.csv --photon --form green --forms forms.json")
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("--photon", is_flag=True, help="The file counts photons; it is turned into power per nm.")
@click.option("--white-point", default="E", show_default=True, metavar="E|D65|D50|A|x,y",
              help="White for dominant wavelength and purity.")  # fmt: skip
@click.option("--observer", type=click.Choice(["2", "10"]), default="2", show_default=True,
              help="CIE standard observer, degrees.")  # fmt: skip
@click.option("--form", metavar="NAME", help="Keep the colour as a form of this name, in --forms.")
@click.option("--forms", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
              help="The file of forms to add to; made where there is none.")  # fmt: skip
@click.option("--replace", is_flag=True, help="Put the form in the place of one of the same name.")
@click.option(
    "--published", metavar="X,Y", help="Keep this published chromaticity as the form; no FILE then."
)
@click.option("--uv", is_flag=True, help="--published gives u',v', not x,y.")
@click.option("--error", type=click.FloatRange(0, min_open=True), metavar="SD",
              help="Standard deviation of these figures, instead of rounding and 0.003 in x, y.")  # fmt: skip
@click.option("--source", metavar="TEXT", help="Where it is from: a DOI, or words.")
@click.option("--excitation", metavar="TEXT", help="What made it glow, as 365 nm.")
@click.option("--notes", metavar="TEXT", help="Words to keep with the form.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder for the record and a figure.")
@JSON
def spectrum(file: Path | None, **options: Any) -> None:
    """Tell colour, peak and width of the measured spectrum in FILE; it can be kept as a form."""
    from glowkin.spectra import run as read

    sys.exit(read(file, PROGRAM, options))


main.add_command(match)
main.add_command(prep)


@main.group(cls=Commands)
def camera() -> None:
    """Make a camera file: the sensitivities by which colours of glow are told."""


@camera.command(epilog="Example: glowkin camera fit chart.dng -o camera.json")
@click.argument("chart_photo", type=click.Path(path_type=Path))
@click.option("--corners", nargs=4, metavar="X,Y X,Y X,Y X,Y", is_eager=True, callback=four_corners,
              help="Outer corners of the 6 x 4 cells in pixels: the first patch's first, then along its row, "
              "clockwise; found if left out.")  # fmt: skip
@click.option("--chart", type=click.Path(path_type=Path), metavar="FILE",
              help="Reflectances, CSV or CGATS.17; else the ISO 17321-1 set.")  # fmt: skip
@click.option("--chart-light", default="daylight", show_default=True, metavar="LIGHT",
              help="daylight, sun, overcast, shade, tungsten, D65, 5500K or a file of "
              "wavelength_nm,power.")  # fmt: skip
@click.option(
    "--known-lights", type=click.Path(path_type=Path), metavar="PHOTO", help="Lights of known spectrum."
)
@click.option("--known", type=click.Path(path_type=Path), metavar="FILE", help="What they are, TOML.")
@click.option("--filter", "behind", type=click.Path(path_type=Path), metavar="FILE|NAME",
              help="The filter before the lens in both photographs: wavelength_nm,transmittance, or its "
              "name.")  # fmt: skip
@click.option("-o", "--output", required=True, type=click.Path(path_type=Path), help="The camera file.")
@JSON
def fit(output: Path, *, as_json: bool, **options: Any) -> None:
    """Fit a camera to CHART_PHOTO, a raw photograph of a 24-patch chart in daylight."""
    from glowkin.calibrating import fit_camera

    sys.exit(fit_camera(output, PROGRAM, as_json=as_json, **options))


@camera.command("import", epilog="Example: glowkin camera import sensitivities.csv -o camera.json")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--filter", "behind", type=click.Path(path_type=Path), metavar="FILE|NAME",
              help="The filter that the sensitivities were measured with and hold: "
              "wavelength_nm,transmittance, or its name.")  # fmt: skip
@click.option("-o", "--output", required=True, type=click.Path(path_type=Path), help="The camera file.")
@JSON
def import_(file: Path, output: Path, *, behind: Path | None, as_json: bool) -> None:
    """Make a camera file from sensitivities: CSV wavelength_nm,r,g,b, or the Academy's JSON layout."""
    from glowkin.calibrating import import_camera

    sys.exit(import_camera(file, output, PROGRAM, behind=behind, as_json=as_json))


@main.command(epilog="Example: glowkin report drying")
@click.argument("study_or_out_dir", type=click.Path(path_type=Path, file_okay=False))
def report(study_or_out_dir: Path) -> None:
    """Make the report of a STUDY, or that of an OUT_DIR anew from its records."""
    from glowkin.showing import report as write_report

    click.echo(write_report(study_or_out_dir, PROGRAM))


@main.command(epilog="Example: glowkin demo --out demo-report")
@click.option("--out", type=click.Path(path_type=Path), default=Path("demo-report"), show_default=True,
              help="Folder for the study and its report.")  # fmt: skip
@JSON
def demo(out: Path, as_json: bool) -> None:
    """Do the whole job on the sample photographs, and set what is found beside the known answers."""
    from glowkin.demo import run_demo

    run_demo(out, PROGRAM, as_json=as_json)


main.add_command(study_commands)


def run(arguments: Sequence[str] | None = None) -> None:
    """Entry point; what Pillow finds odd in a photograph's metadata is no business of the user's.

    Threads of the linear algebra cost more than they give for small matrices, and photographs are measured
    at once; whoever sets their number is followed.
    """
    import os
    import warnings

    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    warnings.filterwarnings("ignore", module=r"PIL\.")
    main.main(args=arguments, prog_name="glowkin", standalone_mode=True)


if __name__ == "__main__":
    run()
