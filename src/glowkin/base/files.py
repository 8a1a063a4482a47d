"""Files that are complete or not there."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotReadError

if TYPE_CHECKING:
    from collections.abc import Iterable


def check_place(path: Path) -> None:
    """Raise ``CannotReadError`` where no file can be put: before long work rather than after it."""
    if not path.parent.is_dir():
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

    Raises ``CannotReadError`` where there is no such folder.
    """
    return write_parts(path, (content,))


def write_parts(path: Path, parts: Iterable[bytes]) -> Path:
    """The same for a content that comes in parts, and need not be held whole."""
    check_place(path)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as out:
            out.writelines(parts)
        Path(temporary).chmod(0o644)
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return path
