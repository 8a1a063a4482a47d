"""Opening a study's zip: checked as a whole before it becomes a study, for it may come from anybody."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
import zipfile
import zlib
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotReadError
from glowkin.base.records import photos_from_json
from glowkin.study import ledger
from glowkin.study.ledger import LEDGER
from glowkin.study.schema import APPLICATION_ID, STEPS
from glowkin.study.zip_rules import TABLES, Listed, check_archive, is_plain, refused

if TYPE_CHECKING:
    from collections.abc import Sequence

_PART = 1 << 20


def unpack(path: Path, folder: Path) -> Path:
    """Open a zip as a study in a folder that is new or empty; answers the folder.

    ``CannotReadError`` where the zip is none, is damaged, or holds what no export writes; nothing is left
    then.
    """
    _check_target(folder)
    with tempfile.TemporaryDirectory(prefix=f".{folder.name}.", dir=folder.resolve().parent) as given:
        begun = Path(given) / "study"
        begun.mkdir()
        try:
            with zipfile.ZipFile(path) as archive:
                listed = check_archive(path, archive)
                _check_room(path, begun, listed)
                for file in listed:
                    _unpack_one(path, archive, file, begun)
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
            raise refused(path, f"is no zip that can be read ({error})") from error
        except FileNotFoundError:
            raise CannotReadError(f"{path}: there is no such file; check the name") from None
        except OSError as error:
            raise CannotReadError(
                f"{path}: could not be unpacked ({error.strerror}); make room, then do it again"
            ) from error
        _check_ledger(path, begun, listed)
        with contextlib.suppress(FileNotFoundError):
            folder.rmdir()
        begun.replace(folder)
    return folder.resolve()


def _check_target(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise CannotReadError(f"{folder}: is there already; name a new folder for the study")
    if not folder.resolve().parent.is_dir():
        raise CannotReadError(f"{folder}: there is no folder {folder.resolve().parent}; make it first")


def _check_room(path: Path, begun: Path, listed: Sequence[Listed]) -> None:
    needed, free = sum(f.size_bytes for f in listed), shutil.disk_usage(begun).free
    if needed > free:
        raise CannotReadError(
            f"{path}: takes {needed / 1e9:.1f} GB unpacked, {free / 1e9:.1f} GB are free; make room, "
            "then do it again"
        )


def _unpack_one(path: Path, archive: zipfile.ZipFile, file: Listed, begun: Path) -> None:
    """Write one file, no more than it is said to be, and check it; tables are checked only."""
    target = begun.joinpath(*PurePosixPath(file.path).parts)
    keep = not file.path.startswith(f"{TABLES}/")
    if keep:
        target.parent.mkdir(parents=True, exist_ok=True)
    seen, left = hashlib.sha256(), file.size_bytes
    with archive.open(file.path) as packed, target.open("xb") if keep else open(os.devnull, "wb") as out:  # noqa: PTH123
        while part := packed.read(min(_PART, left + 1)):
            left -= len(part)
            if left < 0:
                raise refused(path, f"holds more in {file.path!r} than it says")
            seen.update(part)
            out.write(part)
    if left or seen.hexdigest() != file.sha256:
        raise refused(path, f"holds {file.path!r} damaged")


def _check_ledger(path: Path, begun: Path, listed: Sequence[Listed]) -> None:
    """The ledger has our tables and nothing else, is sound, and points to nothing outside its folder."""
    try:
        with contextlib.closing(
            sqlite3.connect(f"{(begun / LEDGER).as_uri()}?mode=rw", uri=True)
        ) as connection:
            connection.execute("PRAGMA cell_size_check = ON")
            _check_schema(path, connection)
            if connection.execute("PRAGMA integrity_check").fetchall() != [("ok",)]:
                raise refused(path, "holds a damaged ledger")
            if connection.execute("PRAGMA foreign_key_check").fetchone():
                raise refused(path, "holds a ledger that refers to what it does not hold")
            _check_content(path, connection, listed)
            _date_files(begun, connection)
    except sqlite3.DatabaseError as error:
        raise refused(path, f"holds a damaged ledger ({error})") from error


def _check_schema(path: Path, connection: sqlite3.Connection) -> None:
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (kind,) = connection.execute("PRAGMA application_id").fetchone()
    if kind != APPLICATION_ID or version < 1:
        raise refused(path, "holds no ledger of glowkin")
    if version > len(STEPS):
        raise CannotReadError(f"{path}: was written by a newer glowkin; install that version")
    with contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as ours:
        for step in STEPS[:version]:
            ours.executescript(step)
        if _schema(ours) != _schema(connection):
            raise refused(path, "holds a ledger with other tables than a study has")


def _schema(connection: sqlite3.Connection) -> set[tuple[str, str, str | None]]:
    rows = connection.execute("SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_stat%'")
    return set(rows.fetchall())


def _check_content(path: Path, connection: sqlite3.Connection, listed: Sequence[Listed]) -> None:
    """Photographs as the manifest has them, files by their hash and of plain names, records to be read."""
    files = {f.path: f for f in listed}
    for name, sha256, size in connection.execute("SELECT path, sha256, size_bytes FROM pictures"):
        if not is_plain(name) or not name.startswith(f"{ledger.PHOTOS}/"):
            raise refused(path, f"has a photograph outside the study ({name[:80]!r})")
        if name in files and (files[name].sha256, files[name].size_bytes) != (sha256, size):
            raise refused(path, f"has another {name!r} in its ledger than in its manifest")
    for sha256, name, content in connection.execute("SELECT sha256, name, content FROM files"):
        if "/" in name or not is_plain(name) or hashlib.sha256(content).hexdigest() != sha256:
            raise refused(path, f"holds {name[:80]!r}, which is not what its ledger says")
    for (told,) in connection.execute("SELECT told FROM settings"):
        if not _names_only(told):
            raise refused(path, "has settings that name files outside the study")
    for (record,) in connection.execute("SELECT record FROM records"):
        try:
            photos_from_json({"photos": [json.loads(record)]})
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise refused(path, "holds a measurement that cannot be read") from error


def _names_only(told: str) -> bool:
    """Whether filters and known glows of settings are kept by hash, or are bare names."""
    try:
        settings = json.loads(told)
        given = [settings["camera"], settings["filter"], *(glow for _, glow in settings["references"])]
        return all(g is None or "sha256" in g or _is_below(g["name"]) for g in given)
    except (KeyError, TypeError, ValueError, AttributeError):
        return False


def _is_below(name: str) -> bool:
    place = PureWindowsPath(name)
    return not place.anchor and ".." not in place.parts


def _date_files(begun: Path, connection: sqlite3.Connection) -> None:
    """Give photographs the dates that the ledger knows, so that they need not be read to be known again."""
    for name, modified_ns in connection.execute("SELECT path, modified_ns FROM pictures"):
        file = begun.joinpath(*PurePosixPath(name).parts)
        if file.is_file():
            with contextlib.suppress(OSError, OverflowError):
                os.utime(file, ns=(modified_ns, modified_ns))
