"""Files that are complete or not there."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotReadError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

_FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))


def check_folder(folder: Path) -> None:
    """Raise ``CannotReadError`` where no folder can be made, or nothing written into the one that is there:
    before long work rather than after it.
    """
    there = next(place for place in (folder, *folder.parents, Path.cwd()) if os.path.lexists(place))
    if not there.is_dir():
        which = "" if there == folder else f"{there} "
        raise CannotReadError(f"{folder}: {which}is no folder; name another place")
    if not os.access(there, os.W_OK | os.X_OK):
        which = "it" if there == folder else str(there)
        raise CannotReadError(f"{folder}: nothing may be written into {which}; name another place")


def folder_made(folder: Path) -> Path:
    """A folder to write into, made where it is not there; ``CannotReadError`` where it cannot be."""
    check_folder(folder)
    with told_of(folder):
        folder.mkdir(parents=True, exist_ok=True)
    return folder


@contextlib.contextmanager
def told_of(path: Path) -> Iterator[None]:
    """Errors of the system, while something is written there, as a ``CannotReadError`` with the mend."""
    try:
        yield
    except OSError as error:
        raise CannotReadError(not_written(error, str(path))) from error


@contextlib.contextmanager
def read_of(path: Path) -> Iterator[None]:
    """Errors of the system, while a file that was there is read, as a ``CannotReadError`` with the mend."""
    try:
        yield
    except OSError as error:
        raise CannotReadError(
            f"{path}: cannot be read any more ({error.strerror or error}); see that it is there and that you "
            "may read it, then do this again"
        ) from error


def not_written(error: OSError, place: str) -> str:
    """Why something could not be written, in a sentence with the mend.

    >>> not_written(OSError(28, "No space left on device"), "out")
    'out: could not be written, the disk is full; make room, then do this again'
    """
    if is_full(error):
        return f"{place}: could not be written, the disk is full; make room, then do this again"
    why = error.strerror or error
    return f"{place}: could not be written ({why}); see that you may write there, or name another place"


def is_full(error: OSError) -> bool:
    """Whether the disk, or what one may have of it, is full."""
    return error.errno in _FULL


def check_place(path: Path) -> None:
    """Raise ``CannotReadError`` where no file can be put: before long work rather than after it."""
    if not path.parent.is_dir():
        if path.parent.exists():
            raise CannotReadError(f"{path}: {path.parent} is no folder; name another place")
        raise CannotReadError(f"{path}: there is no folder {path.parent}; make it first")
    if path.is_dir():
        raise CannotReadError(f"{path}: is a folder; name a file in it")
    if not os.access(path.parent, os.W_OK):
        raise CannotReadError(f"{path}: nothing may be written into {path.parent}; choose another folder")


def named(path: Path) -> dict[str, str]:
    """A file by its name and hash, as records tell which one it was without telling where it lay."""
    return {"file": path.name, "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}


def write_whole(path: Path, content: bytes) -> Path:
    """Write beside the place and rename, so that a reader never meets half a file.

    Raises ``CannotReadError`` where that cannot be; what stood there before stands.
    """
    return write_parts(path, (content,))


def write_parts(path: Path, parts: Iterable[bytes]) -> Path:
    """The same for a content that comes in parts, and need not be held whole."""
    check_place(path)
    with told_of(path):
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".glowkin.")
        try:
            with os.fdopen(handle, "wb") as out:
                out.writelines(parts)
            Path(temporary).chmod(0o644)
            Path(temporary).replace(path)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise
    return path
