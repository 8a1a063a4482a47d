"""The files that a study file names, as they go into a zip with it, and where they may lie in one."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from pathlib import Path, PureWindowsPath
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotReadError
from glowkin.base.files import read_of
from glowkin.base.places import base_name, without_folders
from glowkin.light.stripping import stripped_into
from glowkin.run.many import map_photos
from glowkin.study.pictures import digest
from glowkin.study.study_file import STUDY_FILE, read_study_file
from glowkin.study.zip_rules import FILES, plain_part

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from glowkin.base.study import StudyFile

Entry = tuple[str, Path, str | None]
"""A place in the zip, the file that goes there, and the hash before anything was taken out of it."""


@dataclass(frozen=True)
class Named:
    """Files that a study file names, as it names them: photographs in room light, preparations, others."""

    rooms: tuple[str, ...] = ()
    preparations: tuple[str, ...] = ()
    others: tuple[str, ...] = ()

    @property
    def all(self) -> list[str]:
        """Each once."""
        return list(dict.fromkeys((*self.others, *self.preparations, *self.rooms)))


def named_by(told: StudyFile) -> Named:
    """Camera file, filters, known glows, preparations and photographs in room light."""
    glows = [glow.rpartition(":")[0] if ".json:" in glow.lower() else glow for _, glow in told.references]
    others = (told.camera.file, told.shot.filter, *(p.filter for p in told.photograph), *glows)
    rooms = (told.shot.room_light, *(p.room_light for p in told.photograph))
    given = rooms, tuple(b.preparation for b in told.batch), others
    return Named(*(tuple(dict.fromkeys(name for name in names if name)) for names in given))


def outside(told: StudyFile) -> list[str]:
    """Files that it names beyond its own folder."""
    return [name for name in named_by(told).all if _leads_out(name)]


def _leads_out(name: str) -> bool:
    path = PureWindowsPath(name)
    return bool(path.anchor) or ".." in path.parts


def packed_study_file(folder: Path, drawer: Path, jobs: int, *, folders: bool) -> Iterator[Entry]:
    """The study file, where there is one, and what it names; the file names them in the zip's own folder.

    Of photographs position and serial numbers are taken out and of preparations folders, unless ``folders``.
    ``CannotReadError`` where that cannot be done.
    """
    file = folder / STUDY_FILE
    if not file.is_file():
        return
    with read_of(file):
        text = file.read_text(encoding="utf-8-sig", errors="replace")
    try:
        named = named_by(read_study_file(file))
    except CannotReadError:
        named = Named()
    there = [name for name in named.all if (folder / name).is_file()]
    places = {name: f"{FILES}/{i}/{plain_part(base_name(name))}" for i, name in enumerate(there, 1)}
    gone = {name: plain_part(base_name(name)) for name in named.all if name not in there and _leads_out(name)}
    (drawer / FILES).mkdir()
    sources = {name: folder / name for name in there}
    if not folders:
        rooms = [name for name in named.rooms if name in places]
        sources |= _without_place(folder, rooms, drawer / FILES, jobs)
        for i, name in enumerate(name for name in named.preparations if name in places):
            sources[name] = _without_folders(folder / name, drawer / FILES / f"{i}.toml")
    for name, place in places.items():
        with read_of(folder / name):
            before, now = digest(folder / name), digest(sources[name])
        yield place, sources[name], before if name in named.rooms and before != now else None
    text = _renamed(text, {**places, **gone})
    written = drawer / STUDY_FILE
    written.write_text(text if folders else without_folders(text), encoding="utf-8")
    if named.all and (left := outside(read_study_file(written))):
        raise CannotReadError(
            f"no zip was written: {STUDY_FILE}: {left[0]!r} is written in a way that cannot be changed; put "
            "it in plain quotes"
        )
    yield STUDY_FILE, written, None


def _without_place(folder: Path, rooms: Sequence[str], drawer: Path, jobs: int) -> dict[str, Path]:
    """Photographs in room light without what tells who and where."""
    out = {}
    paths = [folder / name for name in rooms]
    for name, outcome in zip(
        rooms, map_photos(partial(stripped_into, drawer=drawer), paths, jobs), strict=True
    ):
        if outcome.result is None:
            told = (outcome.message or "").replace(str(folder / name), name)
            raise CannotReadError(f"no zip was written: {told}")
        out[name] = outcome.result
    return out


def _without_folders(path: Path, target: Path) -> Path:
    """A preparation file whose texts tell no folders: itself, or a new one."""
    with read_of(path):
        text = path.read_bytes().decode("utf-8", errors="surrogateescape")
    if (new := without_folders(text)) == text:
        return path
    target.write_bytes(new.encode("utf-8", errors="surrogateescape"))
    return target


def _renamed(text: str, places: dict[str, str]) -> str:
    """The study file with other names for files, as they stand in either kind of quotes."""
    for name, place in places.items():
        for quote, written in (('"', name.replace("\\", "\\\\")), ("'", name)):
            for end in (quote, ":"):
                text = text.replace(f"{quote}{written}{end}", f"{quote}{place}{end}")
    return text
