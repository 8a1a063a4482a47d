"""The only writer of a study: takes photographs up, asks for measurements, keeps them, undoes edits.

Every deed is one transaction. A measurement is asked for (``awaited``) before it is made, and counts only
when it is whole: whatever ends the program in between, the next run finds what is still to do.
"""

from __future__ import annotations

import contextlib
import dataclasses
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from glowkin.base.errors import CannotReadError
from glowkin.base.places import typed
from glowkin.base.records import to_json
from glowkin.light.decode import check_kind
from glowkin.study import ledger, pictures
from glowkin.study.brackets import Brackets, another_shot, check_scene
from glowkin.study.discreet import walked
from glowkin.study.edits import Change
from glowkin.study.ledger import transaction
from glowkin.study.sample_rows import SAMPLE_COLUMNS, sample_values
from glowkin.study.tables import now, outlines_json, outlines_of
from glowkin.study.ways import LIKELY, canonical

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from glowkin.base.checks import ShotCheck
    from glowkin.base.maps import FractionMap
    from glowkin.base.records import MeasuredPhoto
    from glowkin.study.pictures import Picture
    from glowkin.study.tables import Outlines
    from glowkin.study.ways import File, Way


@dataclass(frozen=True)
class Taken:
    """What became of a photograph that was to be added; ``words`` say it where it was not plainly added,
    ``otherwise`` is one that is in the study with other settings.
    """

    photograph_id: int
    words: str = ""
    added: bool = False
    otherwise: bool = False


@dataclass(frozen=True)
class Task:
    """A measurement that is asked for; of a bracket with the ``exposures`` beside the picture."""

    photograph_id: int
    picture: Picture
    settings_id: int
    names: tuple[str, ...]
    outlines: Outlines | None
    exposures: tuple[Picture, ...] = ()


def new_study(folder: Path, title: str, program: str) -> Path:
    """Begin a study in a folder, which is made; answers the folder."""
    return ledger.new_ledger(folder, " ".join(title.split()) or folder.resolve().name, now(), program)


@contextlib.contextmanager
def open_workbook(given: Path, program: str) -> Iterator[Workbook]:
    """A study to be written into; ``BusyError`` while another program does."""
    folder = ledger.study_folder(given)
    with ledger.writing(folder) as connection:
        pictures.sweep(folder)
        yield Workbook(connection, folder, program)


class Workbook(Brackets):
    """A study that may be changed; ``reading`` answers what it holds."""

    def keep_way(self, way: Way) -> int:
        """Keep settings with the files they name; answers their number."""
        with transaction(self._connection):
            self._keep_files(way.files)
            for frame in way.frames:
                self._picture(frame)
                before = self.reading.picture(frame.sha256)
                if before is not None and before.state(self.folder) != "there":
                    self._move(frame)
            return self._settings(way.text)

    def add(
        self, path: Path, settings_id: int, names: Sequence[str] = (), outlines: Outlines | None = None, *,
        copy: bool = False, replace: bool = False,
    ) -> Taken:  # fmt: skip
        """Take a photograph up, and ask for its measurement; harmless where it is in the study already.

        ``CannotReadError`` where it cannot be read or is no picture, or where the content of one in the study
        is another now and ``replace`` does not say that it takes its place.
        """
        seen = pictures.seen(path, self.folder)
        known = self._known(seen)
        if known is not None:
            again = self._added_again(known, seen, copy=copy)
            return dataclasses.replace(again, otherwise=self.settings_id(known) != settings_id)
        check_kind(path)
        before = self._in_place_of(seen, path, replace=replace)
        source, seen = seen, pictures.copied(seen, self.folder) if copy else seen
        with transaction(self._connection):
            if before is not None:
                words = f"{source.path}: new content in its place"
                self._edit(words, [Change(before, "left_out", "replaced")])
            number = self.take(seen, settings_id, names, outlines)
            self._came_from(seen, source)
        return Taken(number, added=True)

    def add_bracket(
        self, paths: Sequence[Path], settings_id: int, names: Sequence[str] = (),
        outlines: Outlines | None = None, *, copy: bool = False, replace: bool = False,
    ) -> Taken:  # fmt: skip
        """Take photographs of one scene up as one measurement; harmless where it is in the study already.

        ``CannotReadError`` where one cannot be read or is in the study otherwise, and ``replace`` does not
        say that these take the place of a bracket's exposures; ``CannotMeasureError`` where they do not show
        one scene. Nothing is taken up then.
        """
        seen = [pictures.seen(path, self.folder) for path in paths]
        known = self._known_bracket(seen, replace=replace)
        if known is not None and all(self._known(one) == known for one in seen):
            again = [self._added_again(known, one, copy=copy) for one in seen]
            words = ".\n".join(dict.fromkeys(one.words for one in again if one.words))
            return Taken(known, words, otherwise=self.settings_id(known) != settings_id)
        if known is None:
            for one, path in zip(seen, paths, strict=True):
                self._in_place_of(one, path, replace=False)
        check_scene(paths)
        sources, seen = seen, [pictures.copied(one, self.folder) for one in seen] if copy else seen
        with transaction(self._connection):
            if known is None:
                number = self.take(seen[0], settings_id, names, outlines)
                self._add_exposures(number, seen[1:])
            else:
                self._exchange(known, seen)
            for one, source in zip(seen, sources, strict=True):
                self._came_from(one, source)
        if known is None:
            return Taken(number, added=True)
        words = f"{seen[0].path}: taken in the place of other exposures of its bracket"
        return Taken(known, words, otherwise=self.settings_id(known) != settings_id)

    def take(
        self, seen: Picture, settings_id: int, names: Sequence[str] = (), outlines: Outlines | None = None
    ) -> int:
        """Take up a file that is not in the study, and ask for its measurement; answers its number."""
        with transaction(self._connection):
            photograph = self._do(
                "INSERT INTO photographs (picture_id, settings_id, names, outlines, added_at) "
                "VALUES (?, ?, ?, ?, ?)",
                self._picture(seen), settings_id, json.dumps(list(names), ensure_ascii=False),
                outlines_json(outlines), now(),
            )  # fmt: skip
            self._ask(photograph)
        return photograph

    def _added_again(self, photograph: int, seen: Picture, *, copy: bool) -> Taken:
        """One that is in the study: its place is put right where it was moved."""
        row = self.reading.photograph(photograph)
        before = self.reading.picture(seen.sha256)
        if before is None:
            words = (
                f"{seen.path}: is in the study already, as {row.path}, without position and serial numbers"
            )
            return Taken(photograph, words)
        words, source = "", seen
        if copy and not before.path.startswith(f"{ledger.PHOTOS}/"):
            seen = pictures.copied(seen, self.folder)
            words = f"{before.path}: copied to {seen.path}"
        elif seen.path != before.path:
            if before.state(self.folder) == "there":
                return Taken(photograph, f"{seen.path}: is in the study already, as {before.path}")
            words = f"{before.path}: found again as {seen.path}"
        if row.left_out:
            words = (
                f"{row.path}: was left out of the study ({row.left_out}); take it in again with: "
                f"glowkin study edit {typed(self.folder)} {typed(row.path)} --take-in"
            )
        if seen != before:
            with transaction(self._connection):
                self._move(seen)
                self._came_from(seen, source)
        return Taken(photograph, words)

    def _in_place_of(self, seen: Picture, path: Path, *, replace: bool) -> int | None:
        """The photograph that lay there, or was copied from there, with another content."""
        number = self._there(seen)
        if number is None:
            return None
        before = self.reading.photograph(number)
        places = {before.path, *(p.path for p in self.reading.exposures(number))}
        if seen.path not in places and another_shot(path, before.taken_at):
            return None
        if replace and self.reading.exposures(before.id):
            raise CannotReadError(
                f"{path}: is an exposure of a bracket; add all its exposures again with --bracket --replace"
            )
        if replace:
            return before.id
        raise CannotReadError(
            f"{path}: is no longer what was added on {before.added_at[:10]}; put the original back under "
            "this name and the new one under another, or take it in its place with --replace"
        )

    def ask_again(self, photographs: Iterable[int], settings: Mapping[int, int] | None = None) -> None:
        """Ask for new measurements, by other settings where told (old number to new).

        The current measurements stand until the new ones are whole.
        """
        with transaction(self._connection):
            for photograph in photographs:
                for old, new in (settings or {}).items():
                    self._do(
                        "UPDATE photographs SET settings_id = ? WHERE id = ? AND settings_id = ?",
                        new, photograph, old,
                    )  # fmt: skip
                self._ask(photograph)

    def other_settings(self, settings_id: int, changed: Mapping[str, Any]) -> int:
        """The number of settings that differ from others in what is told."""
        told = {**self.reading.settings_told(settings_id), **changed}
        with transaction(self._connection):
            return self._settings(canonical({k: v for k, v in told.items() if v or k != LIKELY}))

    def standing(self) -> list[tuple[int, int]]:
        """Every photograph that is not left out, with the number of its settings."""
        query = "SELECT id, settings_id FROM photographs WHERE left_out = '' ORDER BY taken_at, id"
        return [(int(a), int(b)) for a, b in self._connection.execute(query)]

    def settings_id(self, photograph: int) -> int:
        """The number of a photograph's settings."""
        return int(self._one("SELECT settings_id FROM photographs WHERE id = ?", photograph)[0])

    def tasks(self, *, again: bool = True) -> list[Task]:
        """What is still to be measured, those alike one after another; what failed before only ``again``."""
        rows = self._connection.execute(
            "SELECT p.id, f.path, f.sha256, f.size_bytes, f.modified_ns, p.settings_id, p.names, p.outlines "
            "FROM awaited a JOIN photographs p ON p.id = a.photograph_id "
            "JOIN pictures f ON f.id = p.picture_id WHERE p.left_out = '' "
            "AND (? OR a.message IS NULL) ORDER BY p.settings_id, p.names, p.outlines, p.id",
            (again,),
        )
        return [
            Task(
                row[0],
                pictures.Picture(*row[1:5]),
                row[5],
                tuple(json.loads(row[6])),
                outlines_of(row[7]),
                tuple(self.reading.exposures(row[0])),
            )
            for row in rows.fetchall()
        ]

    def keep(
        self, task: Task, photo: MeasuredPhoto, jpeg: bytes, camera_sha256: str | None,
        check: ShotCheck | None = None,
    ) -> None:  # fmt: skip
        """Keep a whole measurement, which counts from now on; the one before is kept as well."""
        frames = tuple(
            dataclasses.replace(f, path=pictures.relative(Path(f.path), self.folder)) for f in photo.frames
        )
        merged = tuple(
            dataclasses.replace(m, path=pictures.relative(Path(m.path), self.folder))
            for m in photo.merged_from
        )
        photo = dataclasses.replace(photo, path="", frames=frames, merged_from=merged)
        with transaction(self._connection):
            if task.exposures:
                self._set_reference(task.photograph_id, photo.sha256)
            program = self._numbered("programs", ("program", "versions"), (self._program, self._versions))
            self._none_current(task.photograph_id)
            camera = self._numbered(
                "cameras", ("name", "basis", "sha256"),
                (photo.camera.name, photo.camera.basis, camera_sha256 or ""),
            )  # fmt: skip
            measurement = self._do(
                "INSERT INTO measurements (photograph_id, settings_id, names, outlines, program_id, "
                "measured_at, camera_id, kind, exposure_s, iso, f_number, "
                "sample_count, flags, current, shown) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 1, 1)",
                task.photograph_id, task.settings_id, json.dumps(task.names, ensure_ascii=False),
                outlines_json(task.outlines), program, now(), camera, photo.kind, photo.exposure_s,
                photo.iso, photo.f_number, len(photo.samples), " ".join(photo.flags),
            )  # fmt: skip
            checked = {"check": to_json(dataclasses.replace(check, path=""))} if check else {}
            record = json.dumps({**to_json(photo), **checked}, ensure_ascii=False, allow_nan=False)
            self._do("INSERT INTO records VALUES (?, ?)", measurement, record)
            self._keep_samples(measurement, photo)
            self._do("UPDATE photographs SET taken_at = ? WHERE id = ?", photo.taken_at, task.photograph_id)
            self._do(
                "INSERT OR REPLACE INTO previews SELECT picture_id, ? FROM photographs WHERE id = ?",
                jpeg, task.photograph_id,
            )  # fmt: skip
            self._do("DELETE FROM awaited WHERE photograph_id = ?", task.photograph_id)

    def refuse(self, task: Task, message: str) -> None:
        """Keep why a measurement could not be made; it is tried again at the next run."""
        with transaction(self._connection):
            self._do("UPDATE awaited SET message = ? WHERE photograph_id = ?", message, task.photograph_id)

    def conclude(
        self,
        kind: str,
        record: Mapping[str, Any],
        told: Mapping[str, Any],
        words: str,
        grounds: Sequence[int],
        *,
        files: Sequence[File] = (),
        maps: Sequence[tuple[int, str, FractionMap]] = (),
    ) -> int:
        """Keep a course, comparisons or matches (a document of their records), with the options and files it
        was made by and the numbers of the measurements it was made of; answers its number. ``maps`` have each
        the number of the measurement and the sample's name.

        It names photographs by their hash, so that it finds them also when they were moved.
        """
        with transaction(self._connection):
            self._keep_files(files)
            program = self._numbered("programs", ("program", "versions"), (self._program, self._versions))
            number = self._do(
                "INSERT INTO conclusions (kind, made_at, program_id, told, words, photographs, record) "
                "VALUES (?, ?, ?, ?, ?, ?, ?)",
                kind, now(), program, canonical(told), words, len(grounds), "{}",
            )  # fmt: skip
            self._connection.executemany(
                "INSERT INTO grounds VALUES (?, ?)", [(number, measurement) for measurement in grounds]
            )
            hashes = self.reading.hashes_of(number)
            by_hash = walked(record, lambda text: hashes.get(text, text))
            kept = json.dumps(by_hash, ensure_ascii=False, allow_nan=False)
            self._do("UPDATE conclusions SET record = ? WHERE id = ?", kept, number)
            self._connection.executemany(
                "INSERT INTO maps VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [
                    (number, place, measurement, name, m.time_s, m.fraction, int(m.by_light), m.pixel_px,
                     *m.values.shape, m.packed())
                    for place, (measurement, name, m) in enumerate(maps)
                ],
            )  # fmt: skip
        return number

    def _keep_files(self, files: Iterable[File]) -> None:
        for file in files:
            self._do("INSERT OR IGNORE INTO files VALUES (?, ?, ?)", file.sha256, file.name, file.content)

    def _keep_samples(self, measurement: int, photo: MeasuredPhoto) -> None:
        places = ", ".join("?" * (len(SAMPLE_COLUMNS) + 4))
        query = (
            f"INSERT INTO samples (measurement_id, place, taken_at, shown, {', '.join(SAMPLE_COLUMNS)}) "  # noqa: S608 - names of ours
            f"VALUES ({places})"
        )
        rows = [(measurement, i, photo.taken_at, 1, *sample_values(s)) for i, s in enumerate(photo.samples)]
        self._connection.executemany(query, rows)
        flags = dict.fromkeys(photo.flags, 0)
        for flag in (flag for s in photo.samples for flag in s.flags):
            flags[flag] = flags.get(flag, 0) + 1
        self._connection.executemany(
            "INSERT INTO flags VALUES (?, ?, ?, 1)", [(measurement, *raised) for raised in flags.items()]
        )
