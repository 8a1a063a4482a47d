"""One run of a command: which photographs, what came of them, where it goes. No science here."""

from __future__ import annotations

import contextlib
import sys
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from glowkin import recipes
from glowkin.base.checks import check_document
from glowkin.base.errors import CannotReadError, GlowkinError, WrongUseError
from glowkin.base.files import check_folder
from glowkin.base.matches import match_document
from glowkin.base.names import listed
from glowkin.base.records import TimeCourse, compare_document, measure_document, track_document
from glowkin.base.settings import FRAME_KINDS, Settings
from glowkin.base.shelf import Shelf, shallow
from glowkin.base.versions import versions
from glowkin.camera.glows import known_glow
from glowkin.colour.observer import white_point_xy
from glowkin.light.photo import RAW_SUFFIXES, SUFFIXES
from glowkin.options import INTERRUPTED
from glowkin.run.gather import one_a_shot, photographs
from glowkin.run.many import map_photos
from glowkin.run.pool import close_all
from glowkin.samples.outlines import read_outlines
from glowkin.terminal import print_json, show, show_checks

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from glowkin.base.maps import FractionMap
    from glowkin.base.matches import Matches
    from glowkin.base.records import Comparison, MeasuredPhoto
    from glowkin.findings.frames import Photos
    from glowkin.run.outcome import Outcome


Error: TypeAlias = dict[str, str]
"""Its ``path`` and ``message``."""

_UNTOLD = ("out", "jobs", "as_json", "unread")


@dataclass(frozen=True)
class Outlet:
    """Where results go: a folder, standard output as JSON, or as tables."""

    out: Path | None = None
    as_json: bool = False


@dataclass
class Session:
    """Photographs measured for one command, and what was made of them."""

    program: str
    settings: Settings
    outlet: Outlet
    told: dict[str, Any]
    photos: Photos = field(default_factory=list)
    errors: list[Error] = field(default_factory=list)
    pairs: list[Comparison] | None = None
    course: TimeCourse | None = None
    matches: Matches | None = None
    matching: bool = False
    interrupted: bool = False
    series: bool = False
    maps: dict[str, tuple[FractionMap, ...]] = field(default_factory=dict)

    def measure_bracket(self, paths: Sequence[Path]) -> None:
        """Measure the photographs as exposures of one scene."""
        work = partial(_measure_together, paths=tuple(paths), settings=self.settings)
        for outcome in map_photos(work, paths[:1]):
            said = outcome.message or ""
            meant = next((p for p in paths if said.startswith(f"{p}:")), outcome.path)
            self._keep(replace(outcome, path=meant))

    def measure(self, paths: Sequence[Path], jobs: int) -> None:
        """Measure every photograph; a bad one becomes a row of errors."""
        work = self.measuring()
        try:
            for outcome in progress(map_photos(work, paths, jobs), len(paths)):
                self._keep(outcome)
        except KeyboardInterrupt:
            self.interrupted = True
            if not self.photos:
                raise

    def measuring(self) -> partial[Any]:
        """What to do with each photograph; of a series without --out only what its course needs is kept."""
        lean = self.series and self.outlet.out is None
        return partial(recipes.measure_lean if lean else recipes.measure_and_show, settings=self.settings)

    def kept(self, result: MeasuredPhoto | tuple[MeasuredPhoto, Any]) -> MeasuredPhoto:
        """The photograph that was measured; its small picture is put where it belongs."""
        if not isinstance(result, tuple):
            return result
        photo, picture = result
        if self.outlet.out is None:
            return photo
        from glowkin.telling.out_dir import keep_preview

        with self._written():
            keep_preview(self.outlet.out, photo, picture)
        return photo

    @contextlib.contextmanager
    def _written(self) -> Iterator[None]:
        """Once something cannot be written no more is, and that is said beside what was measured."""
        try:
            yield
        except CannotReadError as error:
            self.errors.append({"path": str(self.outlet.out), "message": str(error)})
            self.outlet = replace(self.outlet, out=None)

    def _keep(self, outcome: Outcome[Any]) -> None:
        if outcome.result is None:
            self.errors.append({"path": str(outcome.path), "message": outcome.message or ""})
        else:
            self.photos.append(self.kept(outcome.result))

    def map_course(self, jobs: int) -> None:
        """Look into a few photographs of the series again, for where each sample changes; with --out only."""
        if self.outlet.out is None or self.course is None:
            return
        plots = recipes.to_map(self.photos, self.course)
        work = partial(recipes.cut_out, settings=self.settings, outlines=plots.wanted)
        try:
            outcomes = list(map_photos(work, [Path(path) for path in plots.wanted], jobs))
        except KeyboardInterrupt:
            self.interrupted = True
            return
        crops = {(str(o.path), name): crop for o in outcomes for name, crop in (o.result or {}).items()}
        self.course, self.maps = recipes.mapped(self.photos, self.course, plots, crops)

    def fail(self, error: GlowkinError) -> None:
        """What was asked of the photographs together cannot be answered, and this is why."""
        paths = [photo.path for photo in self.photos]
        self.errors.append({"path": ", ".join(paths), "message": str(error)})
        self.photos = []

    def finish(self) -> int:
        """Write and print; the exit status."""
        report = None
        if self.outlet.out and self.photos:
            with self._written():
                report = self.write()
        if self.outlet.as_json:
            print_json(self.document(), default=shallow)
        elif self.photos:
            show(self.photos, self.pairs, self.course, report, self.matches)
        return _ended(self.errors, interrupted=self.interrupted)

    def document(self) -> dict[str, Any]:
        """The document of the command that was run."""
        if self.matching:
            return match_document(self.matches, self.errors, self.program)
        if self.course is not None:
            head = track_document(TimeCourse((), ()), self.errors, self.program)
            return {**head, **shallow(self.course)}  # its points become plain as they are written
        if self.pairs is not None:
            return compare_document(self.pairs, self.errors, self.program)
        return measure_document(self.photos, self.errors, self.program)

    def keep_records(self, photos: Sequence[MeasuredPhoto], course: TimeCourse) -> None:
        """Write the records of a series that goes on, so that they outlive whatever may happen."""
        from glowkin.telling.out_dir import write_records

        if self.outlet.out is not None:
            with self._written():
                write_records(self.outlet.out, photos, course, self.told, self.program, versions())

    def write(self) -> Path:
        """Records, figures and report into the folder asked for."""
        from glowkin.telling.out_dir import write_out

        assert self.outlet.out is not None  # noqa: S101 - asked for by finish only with a folder
        return write_out(
            self.outlet.out,
            self.photos,
            self.pairs or (),
            self.course,
            settings=self.told,
            program=self.program,
            versions=versions(),
            errors=self.errors,
            maps=self.maps,
            matches=self.matches,
        )


def _measure_together(_: Path, paths: tuple[Path, ...], settings: Settings) -> Any:
    """The exposures of a bracket are one photograph to the map."""
    return recipes.measure_and_show(paths, settings)


def start(
    photos: Sequence[Path], program: str, *, series: bool = False, bracket: bool = False, **options: Any
) -> Session:
    """Measure the photographs that a command names, with its options.

    Those of a ``series`` are named later, from the first of them on, and of each shot one file is enough,
    as of the exposures of a ``bracket``.
    """
    session = begun(program, **options)
    session.told |= {"bracket": True} if bracket else {}
    if session.errors:
        return session
    settings = session.settings
    if series:
        session.series, session.settings = True, of_a_series(settings)
        session.photos = Shelf()
    paths, session.errors = meant(photos, settings)
    if series or bracket:
        paths = one_a_shot(paths, RAW_SUFFIXES)
    if bracket and not session.errors:
        if len(paths) < 2:
            raise WrongUseError("--bracket: only one exposure is left of these PHOTOs; name two or more")
        session.measure_bracket(paths)
    elif not bracket:
        session.measure(paths, options["jobs"])
    if series and session.outlet.out is None:
        close_all()  # nothing is decoded any more, and a long course needs the memory
    session.settings = settings
    return session


def begun(program: str, **options: Any) -> Session:
    """A session by a command's options, nothing measured yet; with an error where outlines cannot be read."""
    settings, errors = _settings(options)
    check_white(settings)
    told = {k: v for k, v in options.items() if v not in (None, (), False, "") and k not in _UNTOLD}
    session = Session(program, settings, Outlet(options["out"], options["as_json"]), told, errors=errors)
    if options["out"] is not None:
        with session._written():
            check_folder(options["out"])
    return session


def of_a_series(settings: Settings) -> Settings:
    """How each photograph of a series is measured: its samples are named, and checked, in the series."""
    return replace(settings, names=(), references=(), series=True)


def check(photos: Sequence[Path], program: str, *, jobs: int, as_json: bool, **options: Any) -> int:
    """Check the photographs that a command names, print what comes of it; the exit status."""
    settings, errors = _settings(options)
    paths: list[Path] = []
    if not errors:
        paths, errors = meant(photos, settings)
    work = partial(recipes.check, settings=settings)
    outcomes: list[Outcome[Any]] = []
    interrupted = False
    try:
        for outcome in progress(map_photos(work, paths, jobs), len(paths)):
            outcomes.append(outcome)  # noqa: PERF402 - what came before an interrupt is kept
    except KeyboardInterrupt:
        interrupted = True
        if not outcomes:
            raise
    checks = recipes.check_series([o.result for o in outcomes if o.result is not None])
    errors += [{"path": str(o.path), "message": o.message or ""} for o in outcomes if o.result is None]
    if as_json:
        print_json(check_document(checks, errors, program))
    elif checks:
        show_checks(checks)
    return _ended(errors, interrupted=interrupted)


def _ended(errors: Sequence[Error], *, interrupted: bool) -> int:
    """Say what went wrong; the exit status."""
    for error in errors:
        sys.stderr.write(f"Error: {error['message']}\n")
    if interrupted:
        sys.stderr.write("Interrupted: what was measured until then was kept.\n")
        return INTERRUPTED
    return 1 if errors else 0


def _settings(options: dict[str, Any]) -> tuple[Settings, list[Error]]:
    """How to measure, from a command's options; and an error where outlines could not be read."""
    outlines, errors = None, [*options.get("unread", ())]
    names: tuple[str, ...] = ()
    if options["outlines"] is not None:
        try:
            outlines, names = read_outlines(options["outlines"])
        except CannotReadError as error:
            errors.append({"path": str(options["outlines"]), "message": str(error)})
    names = listed(options["names"]) or names
    off, dark, even, nothing = (tuple(options.get(kind) or ()) for kind in FRAME_KINDS)
    described = options.get("camera"), options.get("filter")
    references = tuple(_reference(text) for text in options.get("references") or ())
    white, observer = options.get("white_point", "E"), int(options.get("observer", 2))
    settings = Settings(
        white, observer, names, outlines, off, dark, even, nothing, *described, references=references
    )
    return settings, errors


def _reference(text: str) -> tuple[str, str]:
    """NAME=KIND; what is no known glow is told before any photograph is decoded."""
    name, _, kind = (part.strip() for part in text.partition("="))
    if not name or not kind:
        raise WrongUseError(f"--reference {text}: write it as NAME=KIND, such as vial=fluorescein")
    known_glow(kind)
    return name, kind


def meant(photos: Sequence[Path], settings: Settings) -> tuple[list[Path], list[Error]]:
    """The photographs meant, without the frames taken beside them; and the folders that hold none."""
    found: dict[Path, None] = {}
    errors = []
    for given in photos:
        try:
            found |= dict.fromkeys(photographs([given], SUFFIXES))
        except CannotReadError as error:
            errors.append({"path": str(given), "message": str(error)})
    beside = frames_beside(settings)
    paths = [p for p in found if p.resolve() not in beside]
    if found and not paths:
        option = beside[next(iter(found)).resolve()].replace("_", "-")
        raise WrongUseError(f"no PHOTO is left to measure: each is given as a frame beside it, as --{option}")
    return paths, errors


def frames_beside(settings: Settings) -> dict[Path, str]:
    """The frames taken beside the photographs, each with its kind."""
    return {Path(p).resolve(): kind for kind in FRAME_KINDS for p in getattr(settings, kind)}


def check_white(settings: Settings) -> None:
    """Say no to a nonsense white point before any photograph is decoded."""
    try:
        white_point_xy(settings.white_point, settings.observer)
    except WrongUseError as error:
        raise WrongUseError(f"--white-point: {error}") from error


def progress(outcomes: Any, total: int) -> Any:
    """A progress bar on a terminal, nothing when piped."""
    if not sys.stderr.isatty() or total < 3:
        return outcomes
    from rich.console import Console
    from rich.progress import track

    console = Console(stderr=True)
    return track(outcomes, total=total, description="measuring", console=console, transient=True)
