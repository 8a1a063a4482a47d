"""Results as tables on the terminal: the same words as the report's."""

from __future__ import annotations

import json
import shutil
import sys
from typing import TYPE_CHECKING, Any

from glowkin.base.flags import FLAGS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from rich.console import Console
    from rich.table import Table as Grid

    from glowkin.base.checks import ShotCheck
    from glowkin.base.matches import Matches
    from glowkin.base.records import Comparison, MeasuredPhoto, TimeCourse
    from glowkin.camera.camera_file import CameraFile
    from glowkin.telling.tables import Table

_NARROW = 90
_FEW = 3


def print_json(document: dict[str, Any], default: Callable[[Any], Any] | None = None) -> None:
    """Print a document of ``--json``; ``default`` as in ``json.dump``."""
    json.dump(document, sys.stdout, indent=1, ensure_ascii=False, allow_nan=False, default=default)
    sys.stdout.write("\n")


def show_camera(file: CameraFile, output: Path) -> None:
    """Print what a camera file holds and how well the chart fits."""
    from glowkin.camera.chart_faults import stops_words

    console, told = plain_console(), file.obtained
    by = {
        "sensitivities": "measured sensitivities",
        "chart": "a chart",
        "chart-and-lights": "a chart and lights",
    }
    console.print(
        f"{file.name}: camera from {by[file.basis]}, written to {output}",
        highlight=False,
        markup=False,
        soft_wrap=True,
    )
    if "residual_rms" in told:
        light = f"light of {told['light_kelvin']} K" if told["light_kelvin"] else "light as given"
        console.print(
            f"{light}, flare {100 * told['flare']:.1f} % of white; patches fit to "
            f"{100 * told['residual_rms']:.1f} % (root mean square).",
            highlight=False,
        )
        if told["patches_left_out"]:
            left = ", ".join(map(str, told["patches_left_out"]))
            less = stops_words(told["stops_over"], False)
            console.print(f"Clipped patches left out: {left}. {less} would use them.", highlight=False)
    to_check = told.get("to_check", "")
    if file.unlike:
        flag = FLAGS["camera-unlike-prior"]
        console.print(
            f"[bold]{flag.name}[/]: {flag.sentence} {to_check or flag.mend}", highlight=False, soft_wrap=True
        )
    elif to_check:
        console.print(to_check, highlight=False, markup=False, soft_wrap=True)


def show(
    photos: Sequence[MeasuredPhoto],
    pairs: Sequence[Comparison] | None = None,
    course: TimeCourse | None = None,
    report: Path | None = None,
    matches: Matches | None = None,
) -> None:
    """Print what a command found, what to mind, and where the report is."""
    from glowkin.telling import tables
    from glowkin.telling.provenance import flag_rows
    from glowkin.telling.wording import (
        bleaching_words,
        clock_words,
        left_out,
        references_words,
        support_words,
    )

    console = plain_console()
    if matches is not None:
        from glowkin.telling.match_table import matches_table

        print_table(console, matches_table(matches))
    elif course is not None:
        for table in _course_tables(course):
            print_table(console, table)
    elif pairs is not None:
        print_table(console, tables.pairs_table(pairs))
    else:
        if any(p.samples for p in photos):
            print_table(console, tables.samples_table(photos))
        empty = [p.path for p in photos if not p.samples]
        for path in empty:
            console.print(f"{path}: no sample found. Darken the room, expose longer, or give --outlines.")
        for photo in photos if len(photos) <= _FEW else ():
            if photo.rejected:
                console.print(
                    f"{photo.path}: bright places left out: {left_out(photo)}.", highlight=False, markup=False
                )
    told = [*clock_words(course), *bleaching_words(course)] if course is not None else []
    for words in (*support_words(photos), *references_words(photos), *told):
        console.print(words, highlight=False, markup=False)
    for row in flag_rows(photos, course, pairs or ()):
        console.print(f"[bold]{row.flag.name}[/]: {row.flag.sentence} {row.flag.mend}", highlight=False)
    if report:
        console.print(f"Report: {report}", highlight=False, markup=False, soft_wrap=True)


def _course_tables(course: TimeCourse) -> list[Table]:
    """Samples, all rate models if they were asked for, and storages if there are any."""
    from glowkin.telling.models_table import models_table
    from glowkin.telling.storage_table import storages_table
    from glowkin.telling.tables import courses_table

    asked = course.models_shown > 3 and any(s.models for s in course.samples)
    models = [models_table(course)] if asked else []
    return [courses_table(course), *models, *([storages_table(course)] if course.storages else [])]


def show_checks(checks: Sequence[ShotCheck]) -> None:
    """Print for each photograph its verdict and what to change, most important first."""
    from rich.padding import Padding
    from rich.text import Text

    from glowkin.telling.checks import figures_words

    console = plain_console()
    style = {"good": "bold green", "usable with care": "bold yellow", "cannot be measured": "bold red"}
    for check in checks:
        console.print(Text.assemble((check.path, "bold"), ": ", (check.verdict, style[check.verdict])))
        for number, advice in enumerate(check.advice, 1):
            line = Text(f"{number}. {advice.sentence}")
            console.print(Padding(line, (0, 0, 0, 2)))
        if check.also:
            console.print(Padding(Text(f"Also: {', '.join(check.also)}."), (0, 0, 0, 2)))
        console.print(Padding(Text(figures_words(check)), (0, 0, 0, 2)))


def plain_console() -> Console:
    """Standard output, as wide as the terminal; wide enough for a table when piped."""
    from rich.console import Console

    width = shutil.get_terminal_size((120, 24)).columns
    return Console(width=max(width, 60), soft_wrap=False)


def print_table(console: Console, table: Table) -> None:
    """One of the report's tables; as a list on a narrow terminal."""
    from rich.text import Text

    heads, rows = table.heads, table.rows
    console.print(Text(table.caption, style="bold"))
    if console.width < _NARROW:
        for row in rows:
            console.print(Text(f"\n{row[0]}", style="bold"))
            for head, cell in zip(heads[1:], row[1:], strict=True):
                console.print(Text(f"  {head}: {cell}"))
        console.print()
    else:
        console.print(_grid(heads, rows))
    if table.note:
        console.print(Text(table.note))


def _grid(heads: tuple[str, ...], rows: tuple[tuple[str, ...], ...]) -> Grid:
    from rich import box
    from rich.table import Table as Grid
    from rich.text import Text

    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    for head in heads:
        grid.add_column(Text(head), overflow="fold")
    for row in rows:
        grid.add_row(*(Text(cell) for cell in row))
    return grid


class WatchScreen:
    """What a watched folder shows on standard error: lines that stay, and on a terminal a table below them
    that always is the present one.
    """

    def __init__(self) -> None:
        from rich.console import Console
        from rich.live import Live

        self._console = Console(stderr=True, soft_wrap=False, highlight=False)
        self._live = Live(console=self._console, auto_refresh=False, transient=True)
        self._said = ""
        if self._console.is_terminal:
            self._live.start()

    def line(self, text: str) -> None:
        """A line, cut to the terminal's width where it is longer."""
        from rich.text import Text

        if self._console.is_terminal:
            self._console.print(Text(text, overflow="ellipsis", no_wrap=True))
        else:
            sys.stderr.write(f"{text}\n")

    def sentence(self, text: str) -> None:
        """A sentence, in full; the same one twice in a row is said once."""
        from rich.text import Text

        if text == self._said:
            return
        self._said = text
        if self._console.is_terminal:
            self._console.print(Text(text))
        else:
            sys.stderr.write(f"{text}\n")

    def state(self, course: TimeCourse) -> None:
        """How the samples stand now."""
        from glowkin.telling.tables import state_table

        table = state_table(course)
        self._live.update(_grid(table.heads, table.rows), refresh=self._console.is_terminal)

    def close(self) -> None:
        """The table goes; the lines stay."""
        if self._console.is_terminal:
            self._live.stop()
