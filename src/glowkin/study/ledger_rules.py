"""What a ledger that came from somebody else must be before it counts as one: ours in every table, sound, and
pointing to nothing outside its folder.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import re
import sqlite3
from pathlib import Path, PureWindowsPath
from typing import TYPE_CHECKING, Any

from glowkin.base.errors import CannotReadError, GlowkinError
from glowkin.base.matches import matches_from_json
from glowkin.base.records import course_from_json, pairs_from_json, photos_from_json
from glowkin.base.spectra import forms_in
from glowkin.study.discreet import walked
from glowkin.study.ledger import LEDGER, PHOTOS
from glowkin.study.schema import APPLICATION_ID, STEPS
from glowkin.study.tables import outlines_of
from glowkin.study.ways import LIKELY, settings_of
from glowkin.study.zip_rules import is_plain, refused

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from glowkin.study.zip_rules import Listed

_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\x80-\x9f]")
_LARGEST_PREVIEW = 5_000_000, 5000
"""Bytes, and pixels along a side."""
_BROKEN = (KeyError, TypeError, ValueError, AttributeError, RecursionError)


@contextlib.contextmanager
def checked_ledger(path: Path, folder: Path, listed: Sequence[Listed]) -> Iterator[sqlite3.Connection]:
    """The ledger that was unpacked from a zip into a folder; ``CannotReadError`` where it is refused."""
    where = f"{(folder / LEDGER).as_uri()}?mode=rw"
    try:
        with contextlib.closing(sqlite3.connect(where, uri=True)) as connection:
            connection.execute("PRAGMA cell_size_check = ON")
            _check_tables(path, connection)
            if connection.execute("PRAGMA integrity_check").fetchall() != [("ok",)]:
                raise refused(path, "holds a damaged ledger")
            if connection.execute("PRAGMA foreign_key_check").fetchone():
                raise refused(path, "holds a ledger that refers to what it does not hold")
            _check_photographs(path, connection, listed)
            _check_files(path, connection)
            _check_texts(path, connection)
            _check_documents(path, connection)
            _check_forms(path, connection)
            yield connection
    except sqlite3.DatabaseError as error:
        raise refused(path, f"holds a damaged ledger ({error})") from error


def _check_tables(path: Path, connection: sqlite3.Connection) -> None:
    """The tables, indices and triggers of our steps, to the letter: nothing of others runs."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (kind,) = connection.execute("PRAGMA application_id").fetchone()
    if kind != APPLICATION_ID or version < 1:
        raise refused(path, "holds no ledger of glowkin")
    if version > len(STEPS):
        raise CannotReadError(f"{path}: was written by a newer glowkin; install that version")
    with contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as ours:
        for step in STEPS[:version]:
            ours.executescript(step)
        if _tables(ours) != _tables(connection):
            raise refused(path, "holds a ledger with other tables than a study has")


def _tables(connection: sqlite3.Connection) -> set[tuple[str, str, str | None]]:
    return set(connection.execute("SELECT type, name, sql FROM sqlite_master").fetchall())


def _check_photographs(path: Path, connection: sqlite3.Connection, listed: Sequence[Listed]) -> None:
    """Photographs lie in the study, as the manifest has them."""
    files = {f.path: f for f in listed}
    for name, sha256, size in connection.execute("SELECT path, sha256, size_bytes FROM pictures"):
        if not is_plain(name) or not name.startswith(f"{PHOTOS}/"):
            raise refused(path, f"has a photograph outside the study ({name[:80]!r})")
        if name in files and (files[name].sha256, files[name].size_bytes) != (sha256, size):
            raise refused(path, f"has another {name!r} in its ledger than in its manifest")


def _check_files(path: Path, connection: sqlite3.Connection) -> None:
    """Files written out to measure with have plain names and their own hash; previews are small."""
    for sha256, name, held in connection.execute("SELECT sha256, name, content FROM files"):
        if "/" in name or not is_plain(name) or hashlib.sha256(held).hexdigest() != sha256:
            raise refused(path, f"holds {name[:80]!r}, which is not what its ledger says")
    for (jpeg,) in connection.execute("SELECT jpeg FROM previews"):
        if not _is_small(jpeg):
            raise refused(path, "holds a small picture that is none")


def _is_small(jpeg: bytes) -> bool:
    from PIL import Image

    most_bytes, most_px = _LARGEST_PREVIEW
    try:
        with Image.open(io.BytesIO(jpeg[: most_bytes + 1]), formats=("JPEG",)) as picture:
            return len(jpeg) <= most_bytes and max(picture.size) <= most_px
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return False


def _check_texts(path: Path, connection: sqlite3.Connection) -> None:
    """Words that are printed hold nothing that a terminal would obey."""
    texts = (
        "SELECT t.name, c.name FROM sqlite_master t JOIN pragma_table_info(t.name) c "
        "WHERE t.type = 'table' AND c.type = 'TEXT'"
    )
    for table, column in connection.execute(texts).fetchall():
        for (text,) in connection.execute(f"SELECT {column} FROM {table}"):  # noqa: S608 - names of ours
            if text and _CONTROL.search(text):
                raise refused(path, "holds words with signs that steer a terminal")


def _check_documents(path: Path, connection: sqlite3.Connection) -> None:
    """What is kept as JSON is of its kind, and settings name no files outside."""
    tried: list[tuple[str, str, Callable[[Any], Any]]] = [
        (
            "SELECT told FROM settings",
            "has settings that cannot be read or name files outside the study",
            _settings,
        ),
        ("SELECT record FROM records", "holds a measurement that cannot be read", _record),
        ("SELECT names FROM photographs", "holds names that cannot be read", _names),
        ("SELECT names FROM measurements", "holds names that cannot be read", _names),
        ("SELECT outlines FROM photographs", "holds outlines that cannot be read", _outlines),
        ("SELECT outlines FROM measurements", "holds outlines that cannot be read", _outlines),
        ("SELECT versions FROM programs", "holds versions that cannot be read", _plain_table),
    ]
    if connection.execute("PRAGMA user_version").fetchone()[0] >= _WITH_CONCLUSIONS:
        tried += [
            ("SELECT record FROM conclusions WHERE kind = 'track'", _CONCLUSION, _course),
            ("SELECT record FROM conclusions WHERE kind = 'compare'", _CONCLUSION, _pairs),
            ("SELECT record FROM conclusions WHERE kind = 'match'", _CONCLUSION, _matches),
            ("SELECT told FROM conclusions", _CONCLUSION, _object),
        ]
    for query, why, read in tried:
        for (text,) in connection.execute(query):
            try:
                read(text)
            except _BROKEN as error:
                raise refused(path, why) from error


def _check_forms(path: Path, connection: sqlite3.Connection) -> None:
    """Matches rest on forms files that are in the ledger and hold nothing that a terminal would obey."""
    if connection.execute("PRAGMA user_version").fetchone()[0] < _WITH_CONCLUSIONS:
        return
    for (told,) in connection.execute("SELECT told FROM conclusions WHERE kind = 'match'").fetchall():
        try:
            sha256 = json.loads(told)["forms"]["sha256"]
            (content,) = connection.execute(
                "SELECT content FROM files WHERE sha256 = ?", (sha256,)
            ).fetchone()
            _loaded(content.decode("utf-8-sig"))
            forms_in(content, "")
        except (*_BROKEN, GlowkinError) as error:
            raise refused(path, "holds matches without the forms that they were made by") from error


_WITH_CONCLUSIONS = 2
_CONCLUSION = "holds a conclusion that cannot be read"


def _loaded(text: str) -> Any:
    """A document; none whose words, written as JSON, would steer a terminal."""
    return walked(json.loads(text), _plain)


def _plain(text: str) -> str:
    if _CONTROL.search(text):
        raise ValueError(text)
    return text


def _record(text: str) -> None:
    photos_from_json({"photos": [_loaded(text)]})


def _course(text: str) -> None:
    course_from_json(_loaded(text))


def _pairs(text: str) -> None:
    pairs_from_json(_loaded(text))


def _matches(text: str) -> None:
    matches_from_json(_loaded(text))


def _names(text: str) -> None:
    if not all(isinstance(name, str) for name in _list(text)):
        raise TypeError(text)


def _outlines(text: str | None) -> None:
    for ring in outlines_of(text) or ():
        if not all(isinstance(v, int | float) for point in ring for v in point):
            raise TypeError(text)


def _plain_table(text: str) -> None:
    if not all(isinstance(value, str) for value in _object(text).values()):
        raise TypeError(text)


def _object(text: str) -> dict[str, Any]:
    value = _loaded(text)
    if not isinstance(value, dict):
        raise TypeError(text)
    return value


def _list(text: str) -> list[Any]:
    value = _loaded(text)
    if not isinstance(value, list):
        raise TypeError(text)
    return value


def _settings(text: str) -> None:
    """Filters and known glows are kept by hash, or are names below the place where the command is given."""
    told = _object(text)
    settings_of(told, Path, Path)
    glows = [glow for _, glow in (*told["references"], *told.get(LIKELY, ()))]
    for given in (told["camera"], told["filter"], *glows):
        name = PureWindowsPath("" if given is None or "sha256" in given else given["name"])
        if name.anchor or ".." in name.parts:
            raise ValueError(text)
