"""Doing what a study waits for: photographs measured, each kept as soon as it is whole."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field
from functools import partial
from itertools import groupby
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from glowkin import recipes
from glowkin.base.errors import CannotReadError, GlowkinError
from glowkin.base.places import typed
from glowkin.run.many import map_photos
from glowkin.study.pictures import mend
from glowkin.study.ways import settings_of
from glowkin.telling.previews import jpeg

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from glowkin.base.checks import ShotCheck
    from glowkin.base.records import MeasuredPhoto
    from glowkin.base.settings import Settings
    from glowkin.run.outcome import Outcome
    from glowkin.study.reading import Reading
    from glowkin.study.tables import Outlines
    from glowkin.study.workbook import Task, Workbook


@dataclass
class Done:
    """What a run measured, by number of photograph, and what it could not, with the reason."""

    measured: list[int] = field(default_factory=list)
    errors: list[tuple[str, str]] = field(default_factory=list)
    interrupted: bool = False


def measured_and_shown(
    path: Path, settings: Settings, beside: Mapping[Path, Sequence[Path]]
) -> tuple[MeasuredPhoto, ShotCheck, bytes]:
    """The measured photograph, its check, and a small JPEG of it; ``beside``: other exposures of brackets."""
    photo, check, picture = recipes.measure_check_show([path, *beside.get(path, ())], settings)
    return photo, check, jpeg(picture)


def complete(
    workbook: Workbook,
    jobs: int,
    kept: Callable[[Path, int], None] = lambda _path, _left: None,
    names: Sequence[str] = (),
    *,
    again: bool = True,
) -> Done:
    """Measure all that is awaited, what failed before only ``again``; ``kept`` is told each photograph that
    is kept, and how many are left.

    ``names`` are given to samples that have none, where a photograph shows just as many. An interrupt ends it
    with what is done kept, the rest stays awaited.
    """
    done, tasks = Done(), workbook.tasks(again=again)
    left = len(tasks)
    try:
        with tempfile.TemporaryDirectory(prefix="glowkin-") as drawer:
            files = Files(workbook.reading, Path(drawer), tuple(names))
            for task, outcome, settings in _outcomes(workbook, files, tasks, jobs):
                left -= 1
                if _kept(workbook, task, outcome, files.camera_of(settings), done):
                    kept(task.picture.file(workbook.folder), left)
    except KeyboardInterrupt:
        done.interrupted = True
    return done


def _outcomes(
    workbook: Workbook, files: Files, tasks: Sequence[Task], jobs: int
) -> Iterator[tuple[Task, Outcome[Any] | str, Settings | None]]:
    """What comes of each task: an outcome, or why it was not begun."""
    for _, alike in groupby(tasks, key=lambda t: (t.settings_id, t.names, t.outlines)):
        ready = []
        for task in alike:
            files_of = (task.picture, *task.exposures)
            amiss = [(p, s) for p in files_of if (s := p.state(workbook.folder)) != "there"]
            if amiss:
                yield task, mend(*amiss[0]), None
            else:
                ready.append(task)
        if not ready:
            continue
        try:
            settings = files.settings(ready[0].settings_id, ready[0].names, ready[0].outlines)
        except GlowkinError as error:
            yield from ((task, str(error), None) for task in ready)
            continue
        yield from _measured(workbook, ready, settings, jobs)


def _measured(
    workbook: Workbook, ready: Sequence[Task], settings: Settings, jobs: int
) -> Iterator[tuple[Task, Outcome[Any] | str, Settings | None]]:
    """What comes of tasks that are alike; settings that make no sense are told of each that is left."""
    folder = workbook.folder
    paths = [task.picture.file(folder) for task in ready]
    beside = {
        path: tuple(p.file(folder) for p in task.exposures)
        for path, task in zip(paths, ready, strict=True)
        if task.exposures
    }
    outcomes = map_photos(partial(measured_and_shown, settings=settings, beside=beside), paths, jobs)
    done = 0
    try:
        for outcome in outcomes:
            yield ready[done], outcome, settings
            done += 1
    except GlowkinError as error:
        yield from ((task, str(error), None) for task in ready[done:])


def _kept(
    workbook: Workbook,
    task: Task,
    outcome: Outcome[Any] | str,
    camera: str | None,
    done: Done,
) -> bool:
    """Keep what came of a task; whether it is a measurement."""
    why = outcome if isinstance(outcome, str) else outcome.message
    if not isinstance(outcome, str) and outcome.result is not None:
        photo, check, picture = outcome.result
        seen = {m.sha256 for m in photo.merged_from} or {photo.sha256}
        if seen == {p.sha256 for p in (task.picture, *task.exposures)}:
            workbook.keep(task, photo, picture, camera, check)
            done.measured.append(task.photograph_id)
            return True
        why = f"{task.picture.path}: changed while it was measured; see that it is complete, and add it again"
    for picture in (task.picture, *task.exposures):
        why = (why or "").replace(str(picture.file(workbook.folder)), picture.path)
    why = why or ""
    workbook.refuse(task, why)
    done.errors.append((task.picture.path, why))
    return False


class Files:
    """Files of the ledger laid out for the measuring, and frames where they lie."""

    def __init__(self, reading: Reading, drawer: Path, likely: tuple[str, ...] = ()) -> None:
        self._reading, self._drawer, self._likely = reading, drawer, likely
        self._camera: dict[Settings, str | None] = {}

    def settings(
        self, settings_id: int, names: tuple[str, ...] = (), outlines: Outlines | None = None
    ) -> Settings:
        """How a photograph is to be measured; ``CannotReadError`` where a frame is not there."""
        told = self._reading.settings_told(settings_id)
        settings = settings_of(told, self._frame, self._file, names, outlines, self._likely)
        self._camera[settings] = (told["camera"] or {}).get("sha256")
        return settings

    def camera_of(self, settings: Settings | None) -> str | None:
        """The hash of the camera file that they name."""
        return None if settings is None else self._camera[settings]

    def _file(self, sha256: str) -> Path:
        name, content = self._reading.file(sha256)
        path = self._drawer / sha256[:16] / PurePath(name).name
        if not path.exists():
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(content)
        return path

    def _frame(self, sha256: str) -> Path:
        folder = self._reading.folder
        picture = self._reading.picture(sha256)
        assert picture is not None  # noqa: S101 - kept with the settings
        state = picture.state(folder)
        if state != "there":
            found = "is no longer there" if state == "missing" else "is no longer what it was"
            raise CannotReadError(
                f"{picture.path}: this frame beside the photographs {found}; put it back, or name another: "
                f"glowkin study remeasure {typed(folder)} with the option of its kind"
            )
        return picture.file(folder)
