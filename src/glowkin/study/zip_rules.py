"""What a zip of a study holds, and what is refused in one before anything of it is written to the disk."""

from __future__ import annotations

import json
import re
import stat
import unicodedata
import zipfile
from dataclasses import dataclass
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotReadError
from glowkin.study.ledger import LEDGER, PHOTOS
from glowkin.study.study_file import STUDY_FILE

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

MANIFEST, FILES, TABLES = "manifest.json", "files", "tables"
_FOLDERS = (f"{PHOTOS}/", f"{FILES}/", f"{TABLES}/")
SCHEMA = "glowkin.study-zip.v1"
MOST_FILES = 200_000
MOST_BYTES = 200_000_000_000
MOST_RATIO = 200.0
"""A file that is packed smaller than this is made to attack; photographs are not packed at all, ledgers to a
tenth."""
_FREE_OF_RATIO = 1_000_000
_MOST_MANIFEST = 100_000_000
_HASH = re.compile(r"[0-9a-f]{64}")
_ODD = re.compile(r'[<>:"|?*\\\x00-\x1f\x7f]')
_DEVICES = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)
_LONGEST = 200


@dataclass(frozen=True)
class Listed:
    """A file as the manifest has it; ``original_sha256``: before anything was taken out."""

    path: str
    sha256: str
    size_bytes: int
    original_sha256: str | None = None


def check_archive(path: Path, archive: zipfile.ZipFile) -> list[Listed]:
    """The files of a zip by its manifest; ``CannotReadError`` for anything that no export writes."""
    infos = archive.infolist()
    if len(infos) > MOST_FILES:
        raise refused(path, f"holds {len(infos)} files")
    if sum(i.file_size for i in infos) > MOST_BYTES:
        raise refused(path, f"would take {sum(i.file_size for i in infos) / 1e9:.0f} GB unpacked")
    _check_names(path, [i.filename for i in infos])
    for info in infos:
        _check_entry(path, info)
    listed = _manifest(path, archive)
    names = {i.filename: i.file_size for i in infos if i.filename != MANIFEST}
    if names != {f.path: f.size_bytes for f in listed}:
        raise refused(path, "holds other files than its manifest lists")
    if LEDGER not in names:
        raise refused(path, "holds no ledger")
    return listed


def refused(path: Path, why: str) -> CannotReadError:
    """The error for a zip that is not opened."""
    return CannotReadError(
        f"{path}: {why}; nothing of it was unpacked. Open only what glowkin study export wrote, "
        "or have it sent again"
    )


def _check_names(path: Path, names: Iterable[str]) -> None:
    """Plain names within the study, no two of which any system takes for one."""
    seen: set[str] = set()
    for name in names:
        if not is_plain(name):
            raise refused(path, f"holds a file of the name {name[:80]!r}, which could lie outside the study")
        if not (name in (MANIFEST, LEDGER, STUDY_FILE) or name.startswith(_FOLDERS)):
            raise refused(path, f"holds {name[:80]!r}, which no study has")
        same = same_name(name)
        if same in seen:
            raise refused(path, f"holds two files of the name {name[:80]!r}")
        seen.add(same)
    folders = {"/".join(s.split("/")[:i]) for s in seen for i in range(1, s.count("/") + 1)}
    if folders & seen:
        raise refused(path, "holds a file where a folder is")


def same_name(name: str) -> str:
    """Equal of two names that some system takes for one."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def is_plain(name: str) -> bool:
    """Whether a path is relative, stays below where it is put, and is one on every system.

    >>> is_plain("photos/1.dng"), is_plain("../1.dng"), is_plain("/1.dng"), is_plain("photos/aux.jpg")
    (True, False, False, False)
    """
    return all(_is_plain_part(part) for part in name.split("/"))


def _is_plain_part(part: str) -> bool:
    if not part or len(part.encode()) > _LONGEST or part[0] == "." or part[-1] in ". ":
        return False
    return not _ODD.search(part) and not _DEVICES.fullmatch(part)


def plain_part(name: str) -> str:
    """A file's name made fit for every system, its time and its ending left readable.

    >>> plain_part("2026-05-04 13:30:00.jpg"), plain_part("aux.jpg")
    ('2026-05-04 13-30-00.jpg', 'photo-aux.jpg')
    """
    name = _ODD.sub("-", name).strip(". ") or "photo"
    while len(name.encode()) > _LONGEST:
        name = name[1:]
    return f"photo-{name}" if _DEVICES.fullmatch(name) else name


def _check_entry(path: Path, info: zipfile.ZipInfo) -> None:
    mode = info.external_attr >> 16
    if info.is_dir() or (stat.S_IFMT(mode) and not stat.S_ISREG(mode)):
        raise refused(path, f"holds {info.filename!r}, which is no plain file")
    if info.flag_bits & 1:
        raise refused(path, f"holds {info.filename!r} encrypted")
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise refused(path, f"holds {info.filename!r} packed in an unusual way")
    if info.file_size > _FREE_OF_RATIO and info.file_size > MOST_RATIO * max(info.compress_size, 1):
        raise refused(
            path, f"holds {info.filename!r}, packed {info.file_size / max(info.compress_size, 1):.0f}-fold"
        )


def _manifest(path: Path, archive: zipfile.ZipFile) -> list[Listed]:
    try:
        if archive.getinfo(MANIFEST).file_size > _MOST_MANIFEST:
            raise refused(path, "has too large a manifest")
        document = json.loads(archive.read(MANIFEST))
        if document["schema"] != SCHEMA:
            raise refused(path, f"is of another kind ({document['schema']!r}, not {SCHEMA})")
        listed = [_listed(row) for row in document["files"]]
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
        raise refused(path, "has no manifest of a study") from error
    if len({f.path for f in listed}) < len(listed):
        raise refused(path, "lists a file twice in its manifest")
    return listed


def _listed(row: dict[str, object]) -> Listed:
    path, sha256, size, original = (row.get(k) for k in ("path", "sha256", "size_bytes", "original_sha256"))
    if not isinstance(path, str) or not isinstance(size, int) or isinstance(size, bool):
        raise TypeError(path)
    for value in (sha256, original or sha256):
        if not isinstance(value, str) or not _HASH.fullmatch(value):
            raise ValueError(value)
    return Listed(path, str(sha256), size, None if original is None else str(original))
