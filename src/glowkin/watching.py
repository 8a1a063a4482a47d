"""A folder watched while a series is photographed: what comes is measured, and the course kept up to date."""

from __future__ import annotations

import hashlib
import threading
import time
from functools import partial
from typing import TYPE_CHECKING, Any

from glowkin import giving, recipes
from glowkin.base.errors import GlowkinError, WrongUseError
from glowkin.base.records import TimeCourse
from glowkin.base.shelf import Shelf
from glowkin.light.photo import RAW_SUFFIXES, SUFFIXES
from glowkin.run.arrivals import arrivals
from glowkin.run.gather import is_photograph, one_a_shot
from glowkin.run.many import map_photos
from glowkin.run.stopping import Stop, stoppable
from glowkin.session import begun, frames_beside, of_a_series
from glowkin.terminal import WatchScreen

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from glowkin.base.records import MeasuredPhoto
    from glowkin.findings.frames import Photos
    from glowkin.findings.track import Plan
    from glowkin.run.outcome import Outcome
    from glowkin.session import Session


def watch_folder(photos: Sequence[Path], program: str, plan: Plan, *, jobs: int, **options: Any) -> int:
    """Follow the samples of the photographs that are in a folder and come into it, until told to stop.

    Prints and writes what ``track`` would of them all; the exit status is 0 where any was measured.
    """
    folder = _one_folder(photos)
    session = begun(program, jobs=jobs, **options)
    session.course = TimeCourse((), ())
    if session.errors:
        return session.finish()
    with stoppable() as stop:
        watch = Watch(session, folder, plan, jobs, stop)
        try:
            watch.run()
        finally:
            watch.screen.close()
        return watch.finish()


def _one_folder(photos: Sequence[Path]) -> Path:
    if len(photos) != 1:
        raise WrongUseError(f"--watch takes one folder, not {len(photos)} paths; name the folder they are in")
    if not photos[0].is_dir():
        there = "is a file" if photos[0].exists() else "is not there"
        raise WrongUseError(f"--watch takes a folder, and {photos[0]} {there}; name the folder it comes into")
    return photos[0]


class Watch:
    """The photographs of a folder so far, each measured once by its content, and the course they make."""

    def __init__(self, session: Session, folder: Path, plan: Plan, jobs: int, stop: Stop) -> None:
        self.screen = WatchScreen()
        self._session, self._folder, self._plan, self._jobs, self._stop = session, folder, plan, jobs, stop
        session.series, self._settings = True, of_a_series(session.settings)
        self._beside = frames_beside(session.settings)
        self._shelf: Shelf[MeasuredPhoto] = Shelf()
        self._photos: dict[Path, int] = {}
        self._refused: dict[Path, str] = {}
        self._digest: dict[Path, bytes] = {}
        self._path: dict[bytes, Path] = {}
        self._course: Course | None = None

    def run(self) -> None:
        """Take up what comes until told to stop."""
        self.screen.line(f"Watching {self._folder}; ctrl-C ends it and gives the result.")
        for ready in arrivals(self._folder, SUFFIXES, self._stop.told):
            paths = list(self._unmeasured(ready))
            if paths:
                self._stop.broken_off(partial(self._measure, paths))
            self._keep_up()

    def finish(self) -> int:
        """Write and print the result; the exit status."""
        session = self._session
        self._refused = {path: why for path, why in self._refused.items() if path.exists()}
        session.errors += [{"path": str(path), "message": why} for path, why in self._refused.items()]
        session.photos = self._series()
        if not session.photos:
            why = f"{self._folder}: no photograph came while it was watched; check that they are saved there"
            session.errors += [] if session.errors else [{"path": str(self._folder), "message": why}]
            return session.finish()
        error = self._conclude()
        status = session.finish()
        return status if isinstance(error, WrongUseError) else 0

    def _conclude(self) -> GlowkinError | None:
        """The course of all photographs into the session, or why there is none."""
        session, course = self._session, self._course
        if course is not None:
            course.join()
        photos = self._series()
        if course is None or not course.photos.holds_what(photos):
            course = self._course_of(photos)
            course.run()
        session.photos = course.series
        if course.error is None:
            session.course = course.course
            session.map_course(self._jobs)
            return None
        if not isinstance(course.error, GlowkinError):
            raise course.error
        session.errors.append({"path": str(self._folder), "message": str(course.error)})
        return course.error

    def _unmeasured(self, ready: Sequence[Path]) -> Iterator[Path]:
        """Those whose content was not met yet; of a shot saved both ways the raw file only."""
        if not ready:
            return
        inside = [p for p in self._folder.iterdir() if is_photograph(p, SUFFIXES)]
        wanted = set(one_a_shot(inside, RAW_SUFFIXES))
        for path in ready:
            if path in wanted and path.resolve() not in self._beside and self._is_new(path):
                yield path

    def _is_new(self, path: Path) -> bool:
        """Whether its content is; if so, it takes the place of what stood there before."""
        try:
            with path.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").digest()
        except OSError:
            return path.exists()
        first = self._path.get(digest)
        if first is not None:
            if first not in (path,) and first.exists():
                self.screen.line(f"{path.name}: the same as {first.name}, not measured again")
            return False
        self._path.pop(self._digest.get(path, b""), None)
        self._path[digest], self._digest[path] = path, digest
        return True

    def _measure(self, paths: Sequence[Path]) -> None:
        work = self._session.measuring()
        for outcome in map_photos(partial(work, settings=self._settings), paths, self._jobs):
            self._keep(outcome)
            self._keep_up()

    def _keep(self, outcome: Outcome[Any]) -> None:
        path = outcome.path
        if outcome.result is None:
            self._photos.pop(path, None)
            self._refused[path] = outcome.message or ""
            self.screen.sentence(f"{outcome.message}. It is tried again when it changes.")
            return
        self._refused.pop(path, None)
        photo = self._session.kept(outcome.result)
        self._photos[path] = len(self._shelf)
        self._shelf.append(photo)
        self.screen.line(f"{len(self._photos)} {path.name}: {_words(photo)}")

    def _series(self) -> Shelf[MeasuredPhoto]:
        return self._shelf.of(self._photos[path] for path in one_a_shot(sorted(self._photos), RAW_SUFFIXES))

    def _keep_up(self) -> None:
        """Show the course that was worked out, and begin with the next where there are more photographs."""
        course = self._course
        if course is not None and (course.is_alive() or time.monotonic() < course.rested):
            return
        if course is not None and not course.shown:
            course.shown = True
            if course.error is None:
                self.screen.state(course.course)
            elif len(course.photos) > 1:
                self.screen.sentence(f"No course yet: {course.error}")
        photos = self._series()
        more = course is None or not course.photos.holds_what(photos)
        if photos and more and not self._stop.told():
            self._course = self._course_of(photos)
            self._course.start()

    def _course_of(self, photos: Shelf[MeasuredPhoto]) -> Course:
        return Course(photos, self._plan, self._session)


class Course(threading.Thread):
    """The course of the photographs so far, worked out beside the watching, so that nothing waits for it."""

    def __init__(self, photos: Shelf[MeasuredPhoto], plan: Plan, session: Session) -> None:
        super().__init__(daemon=True)
        self.photos = photos
        self.series: Photos = photos
        self.course = TimeCourse((), ())
        self.error: Exception | None = None
        self.shown = False
        self.rested = 0.0
        self._plan, self._session = plan, session

    def run(self) -> None:
        """Work it out, and write its records; why that cannot be is kept."""
        began = time.monotonic()
        settings = self._session.settings
        try:
            plan = giving.with_forms(self._plan, self.photos, settings)
            self.series, self.course = recipes.track(self.photos, plan, settings.names, settings.references)
            self._session.keep_records(self.series, self.course)
        except Exception as error:  # noqa: BLE001 - told by the thread that watches
            self.error = error
        now = time.monotonic()
        self.rested = now + (now - began)  # half of the time is for measuring


def _words(photo: MeasuredPhoto) -> str:
    """What a photograph gave, in a few words."""
    count = len(photo.samples)
    found = "no sample found" if not count else f"{count} sample{'s' if count > 1 else ''}"
    taken = (photo.taken_at or "").replace("T", " ")[:16]
    return f"{found}, taken {taken}" if taken else f"{found}, no capture time, so not in the course"
