"""Files of photographs: known by content, found by a path relative to the study's folder."""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from glowkin.base.errors import CannotReadError
from glowkin.base.places import typed
from glowkin.study.ledger import PHOTOS

_PART = ".part"

State = Literal["there", "missing", "changed"]


@dataclass(frozen=True, slots=True)
class Picture:
    """A file as the ledger knows it: ``path`` relative to the study, with slashes."""

    path: str
    sha256: str
    size_bytes: int
    modified_ns: int

    def file(self, folder: Path) -> Path:
        """Where it should be."""
        return (folder / self.path).resolve()

    def state(self, folder: Path) -> State:
        """Whether it is there as it was; read only where its size or date is another."""
        file = self.file(folder)
        try:
            now = file.stat()
            if (now.st_size, now.st_mtime_ns) == (self.size_bytes, self.modified_ns):
                return "there"
            return "there" if now.st_size == self.size_bytes and digest(file) == self.sha256 else "changed"
        except OSError:
            return "missing"


def seen(path: Path, folder: Path) -> Picture:
    """A file as it is now; ``CannotReadError`` where it cannot be read, or has a name that is no text."""
    try:
        str(path.resolve()).encode()
        before = path.stat()
        return Picture(relative(path, folder), digest(path), before.st_size, before.st_mtime_ns)
    except UnicodeEncodeError:
        shown = str(path).encode("utf-8", "replace").decode()
        raise CannotReadError(f"{shown}: its name, or that of its folder, is no text; rename it") from None
    except FileNotFoundError:
        raise CannotReadError(f"{path}: no such file; check the name and the folder") from None
    except OSError as error:
        raise CannotReadError(
            f"{path}: cannot be read ({error.strerror}); check that it is a file"
        ) from error


def digest(path: Path) -> str:
    """The SHA-256 of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def relative(path: Path, folder: Path) -> str:
    """The way from the study's folder to a file, with slashes; the whole path where there is none."""
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:  # on another drive
        return path.resolve().as_posix()


def copied(picture: Picture, folder: Path) -> Picture:
    """The file copied into the study's folder of photographs, whole or not at all."""
    source, photos = picture.file(folder), folder / PHOTOS
    if source.resolve().parent == photos.resolve():
        return picture
    try:
        photos.mkdir(exist_ok=True)
        target = _free(photos, source, picture.sha256)
        if not target.exists():
            part = photos / f".{picture.sha256}{_PART}"
            shutil.copy2(source, part)
            with part.open("rb+") as file:
                os.fsync(file.fileno())
            part.replace(target)
            _keep_name(photos)
    except OSError as error:
        raise CannotReadError(
            f"{source}: could not be copied into {photos} ({error.strerror}); make room there, or leave out "
            "--copy"
        ) from error
    copy = seen(target, folder)
    if copy.sha256 != picture.sha256:
        raise CannotReadError(f"{source}: changed while it was copied; add it when it is complete")
    return copy


def _keep_name(folder: Path) -> None:
    """See that a new name in a folder is on the disk; not every system can, or needs to."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _free(photos: Path, source: Path, sha256: str) -> Path:
    """A name that is free there, or is of this very content."""
    for name in (source.name, f"{source.stem}-{sha256[:8]}{source.suffix}"):
        target = photos / name
        if not target.exists() or digest(target) == sha256:
            return target
    return photos / f"{sha256}{source.suffix}"


def sweep(folder: Path) -> None:
    """Remove what a copy that was cut short left behind."""
    for part in (folder / PHOTOS).glob(f".*{_PART}"):
        part.unlink(missing_ok=True)


def mend(picture: Picture, state: State, study: str = "STUDY", file: str | None = None) -> str:
    """What is the matter with a photograph's file, and what to do."""
    if state == "missing":
        add = f"glowkin study add {typed(study)} NEW_PLACE"
        return f"{picture.path}: is no longer there; name its new place: {add}"
    return (
        f"{picture.path}: is no longer what was added; put the original back, or take the new content in its "
        f"place: glowkin study add {typed(study)} {typed(file or picture.path)} --replace"
    )
