"""The file itself: made whole, opened by what it is, brought up to date, one writer and many readers."""

from __future__ import annotations

import os
import sqlite3
from hashlib import sha256

import pytest

from glowkin.base.errors import CannotReadError, WrongUseError
from glowkin.study import ledger
from glowkin.study.schema import APPLICATION_ID, STEPS
from glowkin.study.workbook import new_study, open_workbook

NOW = "2026-05-04T09:00:00+00:00"


@pytest.fixture
def folder(tmp_path):
    return new_study(tmp_path / "drying", "Drying", "glowkin test")


def plain(folder):
    return sqlite3.connect(folder / ledger.LEDGER, isolation_level=None)


def test_a_new_ledger_is_strict_logged_and_checked(folder):
    with ledger.writing(folder) as connection:
        tables = connection.execute("PRAGMA table_list").fetchall()
        ours = [t for t in tables if not t[1].startswith("sqlite_")]
        assert len(ours) > 10
        assert all(t[5] == 1 for t in ours), "STRICT"
        ask = {name: connection.execute(f"PRAGMA {name}").fetchone()[0] for name in (
            "journal_mode", "foreign_keys", "synchronous", "user_version", "application_id")}  # fmt: skip
    full = 2
    assert ask == {
        "journal_mode": "wal", "foreign_keys": 1, "synchronous": full, "user_version": len(STEPS),
        "application_id": APPLICATION_ID,
    }  # fmt: skip


def test_a_value_of_the_wrong_kind_and_a_row_without_its_owner_are_refused(folder):
    with ledger.writing(folder) as connection:
        with pytest.raises(sqlite3.IntegrityError, match="cannot store TEXT value in INTEGER"):
            connection.execute("INSERT INTO pictures VALUES (1, 'a', 'b', 'b', 'many', 0)")
        with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
            connection.execute("INSERT INTO awaited VALUES (7, '', NULL)")


def test_a_study_is_begun_once(folder):
    with pytest.raises(WrongUseError, match="is a study already; add photographs with: glowkin study add"):
        new_study(folder, "again", "glowkin test")


def test_a_study_that_was_begun_half_is_begun_anew(tmp_path):
    half = tmp_path / "drying"
    half.mkdir()
    (half / f".{ledger.LEDGER}.new").write_bytes(b"SQLite form")
    assert new_study(half, "Drying", "glowkin test") == half
    with ledger.reading(half) as connection:
        assert connection.execute("SELECT title FROM study").fetchone() == ("Drying",)


def test_steps_once_taken_stay_as_they_are():
    """A step changed afterwards would leave studies made before it without what it changed: add another."""
    taken = [sha256(step.encode()).hexdigest()[:16] for step in STEPS]
    assert taken[:7] == [
        "58319c0b663ae396",
        "1e70fb0abe79d5ec",
        "8e582ed9f313e371",
        "321714366eed6f0a",
        "91d79e25cafd35f8",
        "3705665be25b581e",
        "0c0053537e382025",
    ]


@pytest.mark.parametrize("version", range(len(STEPS)))
def test_a_ledger_of_an_older_version_is_brought_up_to_date(tmp_path, version):
    """Also by one who only reads; what it held is there after that."""
    folder = tmp_path / "old"
    folder.mkdir()
    with sqlite3.connect(folder / ledger.LEDGER, isolation_level=None) as old:
        old.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        for number, step in enumerate(STEPS[:version], 1):
            old.executescript(f"{step}; PRAGMA user_version = {number};")
        if version:
            old.execute("INSERT INTO study VALUES (1, 'Old', ?, 'glowkin 0')", (NOW,))
            old.execute("INSERT INTO pictures VALUES (1, 'ab', 'a.jpg', 'a.jpg', 1, 1)")
    old.close()
    with ledger.reading(folder) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (len(STEPS),)
        held = connection.execute("SELECT title FROM study").fetchall()
        assert held == ([("Old",)] if version else [])
        assert connection.execute("SELECT count(*) FROM pictures").fetchone() == (int(bool(version)),)


_ONE_CONCLUSION = """
INSERT INTO study VALUES (1, 'Old', 'NOW', 'glowkin 0');
INSERT INTO pictures VALUES (1, 'ab', 'a.jpg', 'a.jpg', 1, 1);
INSERT INTO settings VALUES (1, '{}', 0);
INSERT INTO programs VALUES (1, 'glowkin 0', '{}', 0);
INSERT INTO cameras VALUES (1, 'a', 'generic', '', 0);
INSERT INTO photographs VALUES (1, 1, 1, '[]', NULL, '', '', 'NOW', 'NOW');
INSERT INTO measurements VALUES (1, 1, 1, '[]', NULL, 1, 'NOW', 1, 'raw', NULL, NULL, NULL, 0, '', 1, 1);
INSERT INTO conclusions VALUES (4, 'compare', 'NOW', 1, '{}', 'said', 1, 0, '{"pairs": []}');
INSERT INTO grounds VALUES (4, 1);
"""


def test_conclusions_of_an_older_ledger_stand_and_still_see_when_their_grounds_go(tmp_path):
    """Version 3 knew no matches; its conclusions are taken over, and triggers count what is gone since."""
    folder = tmp_path / "old"
    folder.mkdir()
    with sqlite3.connect(folder / ledger.LEDGER, isolation_level=None) as old:
        old.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        for number, step in enumerate(STEPS[:3], 1):
            old.executescript(f"{step}; PRAGMA user_version = {number};")
        old.executescript(_ONE_CONCLUSION.replace("NOW", NOW))
    old.close()
    with ledger.writing(folder) as connection:
        held = "SELECT id, kind, words, gone FROM conclusions"
        assert connection.execute(held).fetchall() == [(4, "compare", "said", 0)]
        assert connection.execute("SELECT * FROM grounds").fetchall() == [(4, 1)]
        connection.execute("UPDATE measurements SET shown = 0 WHERE id = 1")
        assert connection.execute(held).fetchall() == [(4, "compare", "said", 1)]
        before = connection.execute("SELECT name FROM sqlite_schema WHERE name GLOB '*_before'").fetchall()
        assert before == []


def test_a_step_that_fails_leaves_the_ledger_as_it_was(folder, monkeypatch):
    bad = "CREATE TABLE more (a INTEGER) STRICT; CREATE TABLE study (a INTEGER) STRICT"
    monkeypatch.setattr(ledger, "STEPS", (*STEPS, bad))
    with pytest.raises(CannotReadError, match="table study already exists"), ledger.writing(folder):
        pass
    monkeypatch.undo()
    with ledger.reading(folder) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (len(STEPS),)
        assert connection.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'more'").fetchone() == (0,)


def test_a_newer_ledger_is_left_alone(folder):
    with plain(folder) as newer:
        newer.execute(f"PRAGMA user_version = {len(STEPS) + 3}")
    newer.close()
    before = (folder / ledger.LEDGER).read_bytes()
    for way in (ledger.reading, ledger.writing):
        with (
            pytest.raises(CannotReadError, match="was written by a newer glowkin"),
            way(folder),
        ):
            pass
    assert (folder / ledger.LEDGER).read_bytes() == before


def test_another_file_of_that_name_is_no_ledger(tmp_path):
    (tmp_path / "s").mkdir()
    with plain(tmp_path / "s") as other:
        other.execute("CREATE TABLE a (b)")
    other.close()
    with pytest.raises(CannotReadError, match="is no ledger of glowkin"), ledger.reading(tmp_path / "s"):
        pass


@pytest.mark.parametrize("spoil", ["text", "cut", "overwritten", "empty"])
def test_a_damaged_ledger_is_told_in_a_sentence(folder, spoil):
    file = folder / ledger.LEDGER
    whole = file.read_bytes()
    file.write_bytes({
        "text": b"this is no ledger " * 1000,
        "cut": whole[: len(whole) // 2],
        "overwritten": whole[:100] + b"\x55" * (len(whole) - 100),
        "empty": b"",
    }[spoil])  # fmt: skip
    with pytest.raises(CannotReadError, match=r"ledger.sqlite: is (damaged|no ledger)"):
        read_all(folder)


def read_all(folder):
    with ledger.reading(folder) as connection:
        for (table,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'").fetchall():
            connection.execute(f"SELECT * FROM {table}").fetchall()  # noqa: S608


@pytest.mark.parametrize(
    ("name", "match"),
    [("nowhere", "there is no such folder; begin a study"), (".", "holds no study .* name a study's folder")],
)
def test_where_there_is_no_study(tmp_path, name, match):
    with pytest.raises(CannotReadError, match=match):
        ledger.study_folder(tmp_path / name)


def test_the_ledger_names_its_study_as_well(folder):
    assert ledger.study_folder(folder / ledger.LEDGER) == folder


def test_one_writes_at_a_time_and_others_read(folder):
    with ledger.writing(folder) as writer:
        with (
            pytest.raises(ledger.BusyError, match="another glowkin is writing into this study"),
            ledger.writing(folder),
        ):
            pass
        with ledger.reading(folder) as one, ledger.reading(folder) as two:
            writer.execute("UPDATE study SET title = 'Changed'")
            titles = [c.execute("SELECT title FROM study").fetchone()[0] for c in (one, two)]
            assert titles == ["Drying", "Drying"], "each sees the study as it was when it opened it"
        with ledger.reading(folder) as later:
            assert later.execute("SELECT title FROM study").fetchone() == ("Changed",)
    with ledger.writing(folder):
        pass


def test_another_program_that_holds_the_file_is_told(folder, monkeypatch):
    monkeypatch.setattr(ledger, "_PATIENCE_S", 0.05)
    with plain(folder) as other:
        other.execute("BEGIN IMMEDIATE")
        busy = pytest.raises(ledger.BusyError, match="another program holds it; close that")
        with busy, ledger.writing(folder) as connection, ledger.transaction(connection):
            pass
        other.execute("ROLLBACK")
    other.close()


def test_readers_cannot_write(folder):
    with pytest.raises(CannotReadError, match="cannot be opened"), ledger.reading(folder) as connection:
        connection.execute("UPDATE study SET title = 'x'")


@pytest.mark.skipif(
    os.name == "nt" or not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write"
)
def test_a_study_on_a_disk_that_is_read_only(folder):
    folder.chmod(0o500)
    try:
        with ledger.reading(folder) as connection:
            assert connection.execute("SELECT title FROM study").fetchone() == ("Drying",)
        with pytest.raises(CannotReadError, match="nothing may be written there"), open_workbook(folder, "x"):
            pass
    finally:
        folder.chmod(0o700)
