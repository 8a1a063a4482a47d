"""What commands have in common: how they end, the photographs they take, the options of measuring."""

from __future__ import annotations

import os
import sys
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from glowkin import __version__
from glowkin.base.errors import GlowkinError, WrongUseError
from glowkin.base.given import LuminanceRatio

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

PROGRAM = f"glowkin {__version__}"
INTERRUPTED = 130
"""128 + the signal's number, as shells have it."""


class Commands(click.Group):
    """A group whose commands end with one sentence, not a traceback, and with the documented status."""

    def invoke(self, ctx: click.Context) -> Any:
        """Turn errors into exit status 1 (not read, measured or written) or 2 (wrong usage), 130 interrupted.

        Here, since click would end an interrupted command with 1.
        """
        try:
            return super().invoke(ctx)
        except WrongUseError as error:
            raise click.UsageError(str(error)) from error
        except GlowkinError as error:
            click.echo(f"Error: {error}", err=True)
            ctx.exit(1)
        except BrokenPipeError:  # who reads has had enough, as head does; nothing is left to be said
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(1)
        except OSError as error:
            from glowkin.base.files import is_full, not_written

            place, why = str(error.filename or "a file of ours"), error.strerror or error
            words = f"{place}: cannot be used ({why}); see that it is there, and that you may use it"
            click.echo(f"Error: {not_written(error, place) if is_full(error) else words}", err=True)
            ctx.exit(1)
        except KeyboardInterrupt:
            click.echo("Interrupted.", err=True)
            ctx.exit(INTERRUPTED)


def four_corners(_context: click.Context, _option: click.Parameter, texts: Sequence[str] | None) -> Any:
    """Four X,Y as numbers; what is none is told before what it has swallowed is missed."""
    try:
        return [_place(text) for text in texts or ()] or None
    except ValueError as wrong:
        raise click.UsageError(
            f"--corners: {wrong} is no X,Y; give four in pixels, such as 100,80 900,80 900,600 100,600"
        ) from None


def _place(text: str) -> tuple[float, float]:
    try:
        x, y = map(float, text.split(","))
    except ValueError:
        raise ValueError(repr(text)) from None
    if not (isfinite(x) and isfinite(y)):
        raise ValueError(repr(text))
    return x, y


FRAMES = (
    ("--lamp-off", "The scene with the lamp off: its room light is taken off. Repeatable: averaged."),
    ("--lens-capped", "A frame in full darkness, taken off all others. Repeatable."),
    ("--flat", "An evenly lit sheet: the fall-off of lens and lamp is divided out. Repeatable."),
    ("--blank", "The arrangement under the lamp with nothing in it that glows. Repeatable."),
)


def shared_options(command: Callable[..., Any], left_out: tuple[str, ...] = ()) -> Callable[..., Any]:
    """The options every measuring command has, but for those that it has no use for."""
    options = [
        click.option("--names", metavar="A,B,..", help="Names, left to right, then top to bottom."),
        click.option("--outlines", type=click.Path(path_type=Path), help="GeoJSON polygons in pixels."),
        *(
            click.option(option, type=click.Path(path_type=Path), metavar="PHOTO", multiple=True, help=text)
            for option, text in FRAMES
        ),
        click.option("--camera", type=click.Path(path_type=Path), metavar="FILE", help="Camera file."),
        click.option(
            "--filter", type=click.Path(path_type=Path), metavar="FILE|NAME",
            help="The filter before the lens: wavelength_nm,transmittance, or the name that a camera file "
            "made behind it has.",
        ),
        click.option(
            "--reference", "references", multiple=True, metavar="NAME=KIND",
            help="A sample of known glow: quinine-sulfate, fluorescein, a spectrum file, or FORMS.json:FORM.",
        ),
        click.option(
            "--white-point", default="E", show_default=True, metavar="E|D65|D50|A|x,y",
            help="White for dominant wavelength and purity.",
        ),
        click.option(
            "--observer", type=click.Choice(["2", "10"]), default="2", show_default=True,
            help="CIE standard observer, degrees.",
        ),
        click.option("--out", type=click.Path(path_type=Path), help="Folder for records and report."),
        JOBS,
        JSON,
    ]  # fmt: skip
    for option in reversed(options):
        command = option(command)
        if command.__click_params__[-1].name in left_out:  # type: ignore[attr-defined]
            command.__click_params__.pop()  # type: ignore[attr-defined]
    return command


def _ahead(_context: click.Context, _parameter: click.Parameter, photos: tuple[Path, ...]) -> Any:
    """Start the processes that will read the photographs, so that they get ready while this one does."""
    if any(path.exists() for path in photos):
        from glowkin.run.pool import warm

        warm(1 if len(photos) == 1 and photos[0].is_file() else 2, ["glowkin.recipes"])
    return photos


PHOTOS = click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path), callback=_ahead)

JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
JOBS = click.option("--jobs", type=click.IntRange(1), default=2, show_default=True, help="At once.")

BRACKET = click.option("--bracket", is_flag=True, help="The PHOTOs are one scene, exposed differently.")

STUDY_FILE = click.option(
    "--study-file", type=click.Path(path_type=Path), metavar="FILE",
    help="Samples, lamps, conditions and events, written down in TOML; options given beside it come first.",
)  # fmt: skip

PAIRS = click.option(
    "--pair", "pairs", nargs=2, multiple=True, metavar="A B", help="NAME or FILE:NAME; repeatable."
)
TOLERANCE = click.option(
    "--tolerance", type=click.FloatRange(0, min_open=True), default=0.0033, show_default=True,
    help="Difference in u'v' that does not matter.",
)  # fmt: skip
LAB_WHITE = click.option(
    "--lab-white", metavar="WHITE", help="Also CIEDE2000 against this white (a surface formula)."
)

CONTROLS = click.option(
    "--control", "controls", multiple=True, metavar="NAME", help="A sample that does not change."
)
CONVERTED = click.option(
    "--converted", multiple=True, metavar="NAME",
    help="A sample that turns fully into the new form, as the others would.",
)  # fmt: skip
OLD_FORM, NEW_FORM = (
    click.option(
        f"--{which}-form", default="", metavar="PHOTO:SAMPLE|FORMS.json:FORM",
        help=f"The {which} form from elsewhere: a sample photographed by the same camera, or a known colour.",
    )
    for which in ("old", "new")
)  # fmt: skip


def ratio(_ctx: click.Context, _option: click.Parameter, given: str | None) -> LuminanceRatio | None:
    """The luminance ratio given, read."""
    return None if given is None else LuminanceRatio.read(given)


RATIO = click.option(
    "--luminance-ratio", metavar="R|R±S", callback=ratio,
    help="Luminance of the new form over the old, per amount, with its standard deviation.",
)  # fmt: skip
START = click.option(
    "--start", metavar="TIME", help="Time zero, as 2026-05-04T13:30; else the first photograph."
)
ALL_MODELS = click.option("--all-models", is_flag=True, help="Show all rate models, not only the best three.")
AT = click.option(
    "--at", multiple=True, type=float, metavar="CELSIUS",
    help="Reckon half-times for this temperature, from storages named by theirs.",
)  # fmt: skip


def swaps(_ctx: click.Context, _option: click.Parameter, given: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """Each of FILE:A,B as (file, a, b)."""
    out = []
    for text in given:
        file, _, pair = text.rpartition(":")
        names = [name.strip() for name in pair.split(",")]
        if not file or len(names) != 2 or not all(names) or names[0] == names[1]:
            raise WrongUseError(
                f"--swapped {text}: write it as PHOTO:NAME,NAME, with two names of the series"
            )
        out.append((file, *names))
    return tuple(out)


SWAPPED = click.option(
    "--swapped", multiple=True, metavar="PHOTO:NAME,NAME", callback=swaps,
    help="From this photograph on, the two samples stand in each other's place.",
)  # fmt: skip


def course_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """What ``track`` can be told, with a study and without one."""
    for option in reversed((CONTROLS, CONVERTED, OLD_FORM, NEW_FORM, RATIO, SWAPPED, START, AT, ALL_MODELS)):
        command = option(command)
    return command
