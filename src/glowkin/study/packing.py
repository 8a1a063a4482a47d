"""A study as one zip that another computer opens and measures again to the same figures."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
import zipfile
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotReadError, WrongUseError
from glowkin.base.files import check_place, read_of, told_of
from glowkin.light.stripping import stripped_into
from glowkin.run.many import map_photos
from glowkin.study.companions import packed_study_file
from glowkin.study.export import write_tables
from glowkin.study.handed_on import Handed, hand_on
from glowkin.study.ledger import LEDGER, PHOTOS
from glowkin.study.pictures import digest, mend
from glowkin.study.study_file import STUDY_FILE
from glowkin.study.zip_rules import MANIFEST, SCHEMA, TABLES, Listed, plain_part, same_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from glowkin.study.pictures import Picture
    from glowkin.study.reading import Reading

_OLDEST = (1980, 1, 1, 0, 0, 0)
"""The date of every file in a zip, so that the same study gives the same bytes."""
_SHOWN = 5


@dataclass(frozen=True)
class Packed:
    """What was packed: photographs' files, how many of them lost something, those that are not there."""

    photographs: int
    stripped: int
    missing: tuple[str, ...]


def check_replaceable(reading: Reading, target: Path) -> None:
    """Raise ``WrongUseError`` where a zip would take the place of the study's own file, or of no zip."""
    folder, place = reading.folder.resolve(), target.resolve()
    own = {*(folder / name for name in (LEDGER, f"{LEDGER}-wal", f"{LEDGER}-shm", STUDY_FILE))}
    if place in own or (folder / PHOTOS) in place.parents:
        raise WrongUseError(f"{target}: is a place of the study's own files; name the zip elsewhere")
    if target.is_file() and not zipfile.is_zipfile(target):
        raise WrongUseError(f"{target}: is there already and is no zip; name a new file")


def pack(
    reading: Reading, target: Path, program: str, jobs: int = 2, *, with_metadata: bool = False
) -> Packed:
    """Write the zip, whole or not at all.

    Every file that a photograph to be measured needs must be there, as it was added, and be fit to have
    position and serial numbers taken out (or ``with_metadata``); ``CannotReadError`` names others.
    """
    check_place(target)
    with _drawer(target) as drawer:
        needed = reading.needed()
        there, missing = _there(reading, needed)
        sources, unfit = _sources(reading, there, drawer, jobs, with_metadata=with_metadata)
        _refuse([words for sha256, words in unfit.items() if sha256 in needed])
        places = dict(zip((p.sha256 for p in (*there, *missing)), _places((*there, *missing)), strict=True))
        files = [_handed(reading, p, places[p.sha256], sources) for p in (*there, *missing)]
        missing += [p for p in there if p.sha256 in unfit]
        _check_distinct(files, there)
        reading.copy_to(drawer / LEDGER)
        hand_on(drawer / LEDGER, files, folders=with_metadata)
        (drawer / TABLES).mkdir()
        _tables(drawer, program)
        entries: list[tuple[str, Path, str | None]] = [(LEDGER, drawer / LEDGER, None)]
        entries += [(f"{TABLES}/{f.name}", f, None) for f in sorted((drawer / TABLES).iterdir())]
        entries += packed_study_file(reading.folder, drawer, jobs, folders=with_metadata)
        entries += [(f.path, sources[f.before], _original(f)) for f in files if f.before in sources]
        _write(drawer, target, program, entries)
    changed = sum(_original(f) is not None for f in files)
    return Packed(len(sources), changed, tuple(p.path for p in missing))


@contextlib.contextmanager
def _drawer(target: Path) -> Iterator[Path]:
    """A folder beside the zip for what goes into it, gone afterwards; what cannot be written is told of the
    zip.
    """
    beside = target.parent.resolve()
    with told_of(target), tempfile.TemporaryDirectory(prefix=".glowkin.", dir=beside) as given:
        try:
            yield Path(given)
        except sqlite3.OperationalError as error:
            raise CannotReadError(
                f"{target}: could not be written ({error}); make room, then do this again"
            ) from error
        except CannotReadError as error:
            raise CannotReadError(str(error).replace(f"{given}{os.sep}", f"{target}: ")) from error


def _original(file: Handed) -> str | None:
    return None if file.sha256 in (None, file.before) else file.before


def _there(reading: Reading, needed: set[str]) -> tuple[list[Picture], list[Picture]]:
    """Files that are as they were added, and others that nothing waits for; those needed must be there."""
    there: list[Picture] = []
    gone: list[Picture] = []
    wrong = []
    for picture in reading.pictures():
        state = picture.state(reading.folder)
        if state == "there":
            there.append(picture)
        elif picture.sha256 in needed:
            wrong.append(mend(picture, state, str(reading.folder)))
        else:
            gone.append(picture)
    _refuse(wrong)
    return there, gone


def _refuse(wrong: Sequence[str]) -> None:
    if wrong:
        more = f"\n  and {len(wrong) - _SHOWN} more" if len(wrong) > _SHOWN else ""
        raise CannotReadError("\n  ".join(["no zip was written:", *wrong[:_SHOWN]]) + more)


def _sources(
    reading: Reading, there: Sequence[Picture], drawer: Path, jobs: int, *, with_metadata: bool
) -> tuple[dict[str, Path], dict[str, str]]:
    """Where the content of each file to be packed lies, by the hash in the ledger; why others have none."""
    paths = [p.file(reading.folder) for p in there]
    if with_metadata:
        return dict(zip((p.sha256 for p in there), paths, strict=True)), {}
    out, unfit = {}, {}
    (drawer / PHOTOS).mkdir()
    outcomes = map_photos(partial(stripped_into, drawer=drawer / PHOTOS), paths, jobs)
    for picture, outcome in zip(there, outcomes, strict=True):
        if outcome.result is None:
            told = outcome.message or ""
            unfit[picture.sha256] = told.replace(str(picture.file(reading.folder)), picture.path)
        else:
            out[picture.sha256] = outcome.result
    return out, unfit


def _places(pictures: Iterable[Picture]) -> Iterator[str]:
    """A path in the zip for each: its own name, those of one folder together, as a shot saved both ways."""
    taken: set[str] = set()
    folders: dict[str, int] = {}
    for picture in pictures:
        before, _, name = picture.path.rpartition("/")
        number = folders.setdefault(before, len(folders) + 1)
        folder, name = PHOTOS if number == 1 else f"{PHOTOS}/{number}", plain_part(name)
        place = f"{folder}/{name}"
        if same_name(place) in taken:
            place = f"{folder}/{picture.sha256[:16]}/{name}"
        taken.add(same_name(place))
        yield place


def _handed(reading: Reading, picture: Picture, place: str, sources: Mapping[str, Path]) -> Handed:
    source = sources.get(picture.sha256)
    if source is None:
        return Handed(picture.sha256, place)
    with read_of(source):
        sha256, size = digest(source), source.stat().st_size
    before = sha256 if source == picture.file(reading.folder) else source.name
    if before != picture.sha256:
        raise CannotReadError(
            f"{picture.path}: was changed while it was packed; export again when it is done"
        )
    return Handed(picture.sha256, place, sha256, size)


def _check_distinct(files: Sequence[Handed], there: Sequence[Picture]) -> None:
    """Two photographs that differ in nothing but what is taken out cannot both be known by content."""
    seen: dict[str | None, str] = {}
    paths = {p.sha256: p.path for p in there}
    for file in files:
        other = seen.setdefault(file.sha256, file.before)
        if file.sha256 is not None and other != file.before:
            raise CannotReadError(
                f"{paths[file.before]}: is the same photograph as {paths[other]} but for its metadata; "
                "export it as it is with --with-metadata"
            )


def _tables(drawer: Path, program: str) -> None:
    """The tables of the ledger as it is in the zip, so that hashes and names agree."""
    from glowkin.study.reading import open_study

    with open_study(drawer) as reading:
        write_tables(reading, drawer / TABLES, program, folders=True)
    for end in ("-wal", "-shm"):
        (drawer / f"{LEDGER}{end}").unlink(missing_ok=True)


def _write(drawer: Path, target: Path, program: str, entries: Sequence[tuple[str, Path, str | None]]) -> None:
    """The zip in the drawer, then moved to its place."""
    begun = drawer / "zip"
    with zipfile.ZipFile(begun, "w", allowZip64=True) as archive:
        listed = [_add(archive, *entry) for entry in entries]
        rows = [{k: v for k, v in asdict(f).items() if v is not None} for f in listed]
        document = {"schema": SCHEMA, "program": program, "files": rows}
        text = f"{json.dumps(document, indent=1, ensure_ascii=False)}\n"
        archive.writestr(_info(MANIFEST, zipfile.ZIP_DEFLATED), text.encode())
    begun.chmod(0o644)
    begun.replace(target)


def _add(archive: zipfile.ZipFile, name: str, source: Path, original: str | None) -> Listed:
    packed = zipfile.ZIP_STORED if name.startswith(f"{PHOTOS}/") else zipfile.ZIP_DEFLATED
    info = _info(name, packed)
    with read_of(source):
        content = source.open("rb")
    with content:
        info.file_size = os.fstat(content.fileno()).st_size
        with archive.open(info, "w") as out:
            shutil.copyfileobj(content, out, 1 << 20)
        content.seek(0)
        sha256 = hashlib.file_digest(content, "sha256").hexdigest()
    return Listed(name, sha256, info.file_size, original)


def _info(name: str, packed: int) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _OLDEST)
    info.compress_type, info.create_system, info.external_attr = packed, 3, 0o100644 << 16
    return info
