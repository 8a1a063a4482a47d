"""Opening a study's zip: checked as a whole before it becomes a study, for it may come from anybody."""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import tempfile
import zipfile
import zlib
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotReadError
from glowkin.base.files import check_folder
from glowkin.study.companions import outside
from glowkin.study.ledger_rules import checked_ledger
from glowkin.study.study_file import study_file_in
from glowkin.study.zip_rules import TABLES, Listed, check_archive, refused

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence

_PART = 1 << 20


def unpack(path: Path, folder: Path) -> Path:
    """Open a zip as a study in a folder that is new or empty; answers the folder.

    ``CannotReadError`` where the zip is none, is damaged, or holds what no export writes; nothing is left
    then.
    """
    _check_target(folder)
    with tempfile.TemporaryDirectory(prefix=f".{folder.name}.", dir=folder.resolve().parent) as given:
        if path.is_dir():
            raise CannotReadError(f"{path}: is a folder; name the zip")
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
        _check_study_file(path, begun)
        with checked_ledger(path, begun, listed) as connection:
            _date_files(begun, connection)
        with contextlib.suppress(FileNotFoundError):
            folder.rmdir()
        begun.replace(folder)
    return folder


def _check_study_file(path: Path, begun: Path) -> None:
    """A study file that names files elsewhere would have them read, and shown in a report."""
    try:
        told = study_file_in(begun)
    except CannotReadError:
        return  # every command refuses it until it is corrected
    if told is not None and (names := outside(told)):
        raise refused(path, f"has a study file that names {names[0]!r}, which lies outside the study")


def _check_target(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise CannotReadError(f"{folder}: is there already; name a new folder for the study")
    if not folder.resolve().parent.is_dir():
        raise CannotReadError(f"{folder}: there is no folder {folder.resolve().parent}; make it first")
    check_folder(folder)


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


def _date_files(begun: Path, connection: sqlite3.Connection) -> None:
    """Give photographs the dates that the ledger knows, so that they need not be read to be known again."""
    for name, modified_ns in connection.execute("SELECT path, modified_ns FROM pictures"):
        file = begun.joinpath(*PurePosixPath(name).parts)
        if file.is_file():
            with contextlib.suppress(OSError, OverflowError):
                os.utime(file, ns=(modified_ns, modified_ns))
