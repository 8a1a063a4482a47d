"""The ledger: the SQLite file of a study, opened by any number of readers and one writer.

Write-ahead logging lets readers go on while one writes; every commit reaches the disk before it counts
(``synchronous = FULL``), so that neither a killed program nor a cut cable loses what was committed.
"""

from __future__ import annotations

import contextlib
import sqlite3
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotReadError, GlowkinError, WrongUseError
from glowkin.base.places import typed
from glowkin.study.schema import APPLICATION_ID, STEPS

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

LEDGER = "ledger.sqlite"
PHOTOS = "photos"
_LOCK = ".writing"
_NEEDED = (3, 37, 0)
"""STRICT tables came with this version of SQLite."""
_PATIENCE_S = 10.0


class BusyError(GlowkinError):
    """Another program is writing into the study."""


def study_folder(given: Path) -> Path:
    """The folder of a study, as given, named by itself or by its ledger; ``CannotReadError`` where there is
    none.
    """
    folder = given.parent if given.name == LEDGER else given
    if not folder.exists():
        raise CannotReadError(
            f"{given}: there is no such folder; begin a study with: glowkin study new {typed(given)}"
        )
    if not (folder / LEDGER).is_file():
        raise CannotReadError(
            f"{given}: holds no study (no {LEDGER}); name a study's folder, or begin one with: "
            f"glowkin study new {typed(given)}"
        )
    return folder


def new_ledger(folder: Path, title: str, made_at: str, program: str) -> Path:
    """An empty ledger in a folder, which is made; whole or not there. Answers the folder."""
    if (folder / LEDGER).exists():
        raise WrongUseError(
            f"{folder}: is a study already; add photographs with: glowkin study add {typed(folder)}"
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        begun = folder / f".{LEDGER}.new"
        for end in ("", "-wal", "-shm", "-journal"):
            begun.with_name(begun.name + end).unlink(missing_ok=True)
    except OSError as error:
        raise CannotReadError(
            f"{folder}: no study can be made there ({error.strerror}); choose another place"
        ) from error
    with told(folder):
        connection = _connected(begun, "rwc")
        try:
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            bring_up_to_date(connection)
            connection.execute("INSERT INTO study VALUES (1, ?, ?, ?)", (title, made_at, program))
        finally:
            connection.close()
        begun.replace(folder / LEDGER)
    return folder


@contextlib.contextmanager
def writing(folder: Path) -> Iterator[sqlite3.Connection]:
    """The one connection that writes, brought up to date; ``BusyError`` while another program has it."""
    with _alone(folder), told(folder):
        connection = _checked(folder, "rw")
        try:
            connection.execute("PRAGMA synchronous = FULL")
            if bring_up_to_date(connection) and connection.execute("PRAGMA foreign_key_check").fetchone():
                raise CannotReadError(
                    f"{folder / LEDGER}: refers to what it does not hold; put back a copy of it"
                )
            yield connection
        finally:
            connection.close()


@contextlib.contextmanager
def reading(folder: Path) -> Iterator[sqlite3.Connection]:
    """A connection that only reads, and sees the ledger as it is now until the end of this.

    A ledger of an older version is brought up to date first, which needs its writer's place.
    """
    with told(folder):
        connection = _checked(folder, "ro")
        if _version(connection) < len(STEPS):
            connection.close()
            with writing(folder):
                pass
            connection = _checked(folder, "ro")
        try:
            connection.execute("BEGIN")
            connection.execute("SELECT title FROM study").fetchone()
            yield connection
        finally:
            connection.close()


@contextlib.contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """All of it or nothing; within another one, part of that."""
    within = connection.in_transaction
    if within:
        yield
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:  # of a full disk SQLite has taken it back already
            connection.execute("ROLLBACK")
        raise


def bring_up_to_date(connection: sqlite3.Connection) -> int:
    """Take the steps that a ledger has not taken, each whole or not at all; answers how many."""
    before = _version(connection)
    for number, step in enumerate(STEPS[before:], before + 1):
        try:
            connection.executescript(f"BEGIN IMMEDIATE;{step};PRAGMA user_version = {number};COMMIT;")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
    return len(STEPS) - before


@contextlib.contextmanager
def told(folder: Path) -> Iterator[None]:
    """Errors of SQLite as sentences with the mend."""
    ledger = folder / LEDGER
    try:
        yield
    except UnicodeEncodeError as error:
        raise WrongUseError(
            f"{ledger}: cannot keep what is no text ({error.reason}); write it anew"
        ) from error
    except (sqlite3.IntegrityError, sqlite3.ProgrammingError, sqlite3.DataError):
        raise  # a mistake of ours, not of the file
    except sqlite3.DatabaseError as error:
        said = str(error)
        if "locked" in said or "busy" in said:
            raise BusyError(f"{ledger}: another program holds it; close that, then do this again") from error
        if "full" in said:
            raise CannotReadError(
                f"{ledger}: the disk is full; make room and do this again, what was kept is safe"
            ) from error
        if "I/O" in said:
            raise CannotReadError(
                f"{ledger}: the disk cannot be read or written ({said}); make room or check it, then do this "
                "again, what was kept is safe"
            ) from error
        if "unable to open" in said or "readonly" in said:
            raise CannotReadError(
                f"{ledger}: cannot be opened ({said}); see that you may write it, and into its folder"
            ) from error
        raise CannotReadError(
            f"{ledger}: is damaged ({said}); put back a copy of it, or begin a study anew: photographs are "
            "unharmed"
        ) from error


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """The writer's place, by a lock that the system takes back from a program that ended in any way."""
    try:
        lock = sqlite3.connect(folder / _LOCK, timeout=0.0, isolation_level=None)
    except sqlite3.OperationalError as error:
        raise CannotReadError(
            f"{folder}: nothing may be written there; see that you may write into it"
        ) from error
    try:
        try:
            lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            if "locked" not in str(error):
                raise CannotReadError(
                    f"{folder}: nothing may be written there ({error}); see that you may write into it"
                ) from error
            raise BusyError(
                f"{folder}: another glowkin is writing into this study; let it finish, then do this again"
            ) from error
        yield
    finally:
        lock.close()


def _checked(folder: Path, mode: str) -> sqlite3.Connection:
    """A connection to a ledger that this program understands."""
    connection = _connected(folder / LEDGER, mode)
    try:
        _check(connection, folder / LEDGER)
    except BaseException:
        connection.close()
        raise
    return connection


def _check(connection: sqlite3.Connection, file: Path) -> None:
    if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise CannotReadError(f"{file}: is no ledger of glowkin; name another folder")
    version = _version(connection)
    if version > len(STEPS):
        raise CannotReadError(
            f"{file}: was written by a newer glowkin (ledger {version}, this one knows {len(STEPS)}); "
            "install that version"
        )


def _connected(file: Path, mode: str) -> sqlite3.Connection:
    if sqlite3.sqlite_version_info < _NEEDED:
        raise CannotReadError(
            f"{file}: needs SQLite {'.'.join(map(str, _NEEDED))}, this Python has {sqlite3.sqlite_version}; "
            "install a newer Python"
        )
    where = file.resolve().as_uri()
    connection = sqlite3.connect(f"{where}?mode={mode}", uri=True, timeout=_PATIENCE_S, isolation_level=None)
    try:
        connection = _readable(connection, file, where) if mode == "ro" else _logged(connection, file)
        connection.execute("PRAGMA foreign_keys = ON")
    except BaseException:
        connection.close()
        raise
    return connection


def _logged(connection: sqlite3.Connection, file: Path) -> sqlite3.Connection:
    """The connection, with a log that lets others read while it writes."""
    if connection.execute("PRAGMA journal_mode = WAL").fetchone()[0] != "wal":
        raise CannotReadError(
            f"{file}: lies where a ledger cannot be written safely; keep the study on a disk of this computer"
        )
    return connection


def _readable(connection: sqlite3.Connection, file: Path, where: str) -> sqlite3.Connection:
    """The connection, or, in a folder where nothing may be written, one to a file that nobody changes."""
    try:
        connection.execute("PRAGMA schema_version").fetchone()
    except sqlite3.OperationalError as error:
        log = file.with_name(f"{file.name}-wal")
        if "unable to open" not in str(error) or (log.exists() and log.stat().st_size):
            raise
        connection.close()
        return sqlite3.connect(f"{where}?immutable=1", uri=True, isolation_level=None)
    return connection


def _version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])
