"""The ledger as it goes into a zip: files by their new names and hashes, texts without folders."""

from __future__ import annotations

import contextlib
import json
import re
import sqlite3
from dataclasses import dataclass
from typing import TYPE_CHECKING

from glowkin.base.places import tidier
from glowkin.study.discreet import walked
from glowkin.study.ways import canonical
from glowkin.study.zip_rules import plain_part

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from pathlib import Path

_TEXTS = (
    ("study", "title"), ("awaited", "message"), ("photographs", "note"), ("photographs", "left_out"),
    ("edits", "words"), ("cameras", "name"), ("conclusions", "words"), ("conclusions", "withdrawn"),
)  # fmt: skip
"""Columns of plain words."""
_DOCUMENTS = (
    ("records", "measurement_id", "record"),
    ("conclusions", "id", "record"),
    ("conclusions", "id", "told"),
)


@dataclass(frozen=True)
class Handed:
    """A photograph's file as it goes into the zip; without ``sha256`` and ``size_bytes`` it is not there."""

    before: str
    path: str
    sha256: str | None = None
    size_bytes: int | None = None


def hand_on(ledger: Path, files: Iterable[Handed], *, folders: bool = False) -> None:
    """Change a copy of a ledger to go with these files, all that it has; ``folders``: leave paths in texts.

    Measurements keep every digit. Records name photographs by the hash of the file in the zip, so that
    both can be compared; ``originals`` tells the hash before. Nothing of what was is left in the file.
    """
    with contextlib.closing(sqlite3.connect(ledger, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA secure_delete = ON")
        connection.execute("BEGIN IMMEDIATE")
        hashes, names, by_hash = {}, {}, {f.before: f for f in files}
        for number, sha256, path in connection.execute("SELECT id, sha256, path FROM pictures").fetchall():
            one = by_hash[sha256]
            names[path] = one.path
            _set_picture(connection, number, one)
            if one.sha256 not in (None, sha256):
                hashes[sha256] = str(one.sha256)
        samples = frozenset(name for (name,) in connection.execute("SELECT name FROM names"))
        change = _changer(hashes, tidier(names, folders=folders, samples=samples), samples)
        connection.create_function("plain", 1, plain_part)
        connection.execute("UPDATE files SET name = plain(name)")
        connection.execute("DELETE FROM sources")
        _change_texts(connection, change)
        _change_json(connection, change)
        connection.execute("COMMIT")
        connection.execute("VACUUM")


def _set_picture(connection: sqlite3.Connection, number: int, one: Handed) -> None:
    connection.execute(
        "UPDATE pictures SET path = ?, name = ?, sha256 = coalesce(?, sha256), "
        "size_bytes = coalesce(?, size_bytes) WHERE id = ?",
        (one.path, one.path.rsplit("/", 1)[-1], one.sha256, one.size_bytes, number),
    )
    if one.sha256 not in (None, one.before):
        connection.execute("INSERT OR IGNORE INTO originals VALUES (?, ?)", (number, one.before))


def _changer(
    hashes: Mapping[str, str], tidy: Callable[[str], str], samples: frozenset[str]
) -> Callable[[str], str]:
    """What changes a text: paths, and hashes, also by the first eight digits as sources of errors have. Names
    of samples stay.
    """
    short = {old[:8]: new[:8] for old, new in hashes.items()}
    found = re.compile(
        r"(?<![0-9A-Za-z])[0-9a-f]{64}(?![0-9A-Za-z])|(?<![0-9A-Za-z])[0-9a-f]{8}(?![0-9A-Za-z])"
    )

    def change(text: str) -> str:
        if text in samples:
            return text
        text = found.sub(lambda m: hashes.get(m.group()) or short.get(m.group(), m.group()), text)
        return tidy(text)

    return change


def _change_texts(connection: sqlite3.Connection, change: Callable[[str], str]) -> None:
    connection.create_function("changed", 1, lambda text: None if text is None else change(text))
    for table, column in _TEXTS:
        connection.execute(f"UPDATE {table} SET {column} = changed({column})")  # noqa: S608 - names of ours
    connection.execute(
        "UPDATE changes SET before = changed(before), after = changed(after) "
        "WHERE field IN ('note', 'left_out')"
    )
    connection.execute("UPDATE withdrawals SET before = changed(before), after = changed(after)")


def _change_json(connection: sqlite3.Connection, change: Callable[[str], str]) -> None:
    for number, told in connection.execute("SELECT id, told FROM settings").fetchall():
        new = canonical(walked(json.loads(told), change))
        connection.execute("UPDATE settings SET told = ? WHERE id = ?", (new, number))
    for table, key, column in _DOCUMENTS:
        for (number,) in connection.execute(f"SELECT {key} FROM {table}").fetchall():  # noqa: S608 - ours
            query = f"SELECT {column} FROM {table} WHERE {key} = ?"  # noqa: S608 - names of ours
            (text,) = connection.execute(query, (number,)).fetchone()
            new = json.dumps(walked(json.loads(text), change), ensure_ascii=False, allow_nan=False)
            connection.execute(f"UPDATE {table} SET {column} = ? WHERE {key} = ?", (new, number))  # noqa: S608
