"""The tables of a ledger as its writer fills them: small steps of the deeds of a workbook."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from functools import cached_property
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from glowkin.base.versions import versions
from glowkin.study.ledger import transaction
from glowkin.study.reading import Reading
from glowkin.study.ways import canonical

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence
    from contextlib import AbstractContextManager
    from pathlib import Path

    from glowkin.study.pictures import Picture

Outlines = tuple[tuple[tuple[float, float], ...], ...]


def now() -> str:
    """The time of day and the date, UTC, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")


class Tables:
    """A ledger that may be written; ``reading`` answers what it holds."""

    def __init__(self, connection: sqlite3.Connection, folder: Path, program: str) -> None:
        self.folder = folder
        self.reading = Reading(connection, folder)
        self._connection, self._program = connection, program

    @cached_property
    def _versions(self) -> str:
        """What the program computes by, as JSON."""
        return canonical(versions())

    def one_commit(self) -> AbstractContextManager[None]:
        """Several deeds as one: all of them or none."""
        return transaction(self._connection)

    def names_of(self, photograph: int) -> list[str]:
        """What the samples of a photograph are called now; empty where it is not measured."""
        query = (
            "SELECT s.name FROM measurements m JOIN samples s ON s.measurement_id = m.id "
            "WHERE m.photograph_id = ? AND m.current = 1 ORDER BY s.place"
        )
        return [name for (name,) in self._connection.execute(query, (photograph,))]

    def _none_current(self, photograph: int) -> None:
        """The current measurement becomes an earlier one."""
        row = self._one("SELECT id FROM measurements WHERE photograph_id = ? AND current = 1", photograph)
        if row is not None:
            self._shown(row[0], shown=False)
            self._do("UPDATE measurements SET current = 0 WHERE id = ?", row[0])

    def _shown(self, measurement: int, *, shown: bool) -> None:
        for table, key in (
            ("measurements", "id"),
            ("samples", "measurement_id"),
            ("flags", "measurement_id"),
        ):
            query = f"UPDATE {table} SET shown = ? WHERE {key} = ?"  # noqa: S608 - names of ours
            self._do(query, int(shown), measurement)

    def _ask(self, photograph: int) -> None:
        self._do("INSERT OR REPLACE INTO awaited VALUES (?, ?, NULL)", photograph, now())

    def _picture(self, seen: Picture) -> int:
        """The number of a file's content; one that is new is taken up."""
        row = self._one("SELECT id FROM pictures WHERE sha256 = ?", seen.sha256)
        if row is not None:
            return int(row[0])
        return self._do(
            "INSERT INTO pictures (sha256, path, name, size_bytes, modified_ns) VALUES (?, ?, ?, ?, ?)",
            seen.sha256, seen.path, PurePath(seen.path).name, seen.size_bytes, seen.modified_ns,
        )  # fmt: skip

    def _move(self, seen: Picture) -> None:
        self._do(
            "UPDATE pictures SET path = ?, name = ?, size_bytes = ?, modified_ns = ? WHERE sha256 = ?",
            seen.path, PurePath(seen.path).name, seen.size_bytes, seen.modified_ns, seen.sha256,
        )  # fmt: skip

    def _settings(self, told: str) -> int:
        return self._numbered("settings", ("told",), (told,))

    def _numbered(self, table: str, columns: Sequence[str], values: Sequence[str]) -> int:
        """The number of a row, which is added where it is not there."""
        same = " AND ".join(f"{c} = ?" for c in columns)
        row = self._one(f"SELECT id FROM {table} WHERE {same}", *values)  # noqa: S608 - names of ours
        if row is not None:
            return int(row[0])
        places = ", ".join("?" for _ in columns)
        query = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({places})"  # noqa: S608 - names of ours
        return self._do(query, *values)

    def _one(self, query: str, *values: Any) -> Any:
        return self._connection.execute(query, values).fetchone()

    def _do(self, query: str, *values: Any) -> int:
        return int(self._connection.execute(query, values).lastrowid or 0)


def outlines_json(outlines: Outlines | None) -> str | None:
    """Outlines as the ledger has them."""
    return None if outlines is None else json.dumps(outlines)


def outlines_of(text: str | None) -> Outlines | None:
    """Outlines from the ledger."""
    return None if text is None else tuple(tuple((x, y) for x, y in ring) for ring in json.loads(text))
