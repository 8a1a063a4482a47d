"""Places where nothing can be written: a path below a file, a folder that is read-only, a disk that is full.

A full ledger is SQLite's own (``max_page_count``); other disks that are full are errors of the system
(ENOSPC) put in where files are written, since no test can fill a disk.
"""

from __future__ import annotations

import errno
import json
import os
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner

from glowkin.base import files
from glowkin.base.errors import CannotReadError
from glowkin.cli import main
from glowkin.study import ledger
from glowkin.study.reading import open_study

FULL = OSError(errno.ENOSPC, "No space left on device")


def did(*arguments):
    return CliRunner().invoke(main, [*map(str, arguments)])


def told(done):
    """The last line of standard error of a command that ended with 1 and without a traceback."""
    assert done.exit_code == 1, done.output
    assert isinstance(done.exception, SystemExit)
    return done.stderr.strip().splitlines()[-1]


@pytest.fixture
def begun(study, photos, run):
    assert run("add", study, photos / "09.jpg").exit_code == 0
    return study


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "book.txt"
    path.write_text("mine")
    return path


def test_below_a_file_nothing_is_written(begun, photos, file, root):
    prep = root / "sample_images" / "preparation.toml"
    for arguments in (
        ("measure", photos, "--out", file / "out"),
        ("track", photos, "--out", file / "out"),
        ("study", "export", begun, "--out", file / "out"),
        ("study", "export", begun, "--zip", file / "a.zip"),
        ("study", "new", file / "new"),
        ("prep", prep, "--out", file / "out"),
        ("demo", "--out", file / "out"),
    ):
        said = told(did(*arguments))
        assert "book.txt" in said, arguments
        assert "no folder" in said or "Not a directory" in said, arguments
        assert said.endswith("place"), arguments
    assert file.read_text() == "mine"


def test_a_place_for_results_is_looked_at_before_photographs_are(photos, file):
    done = did("measure", photos, "--out", file, "--json")
    assert told(done) == f"Error: {file}: is no folder; name another place"
    document = json.loads(done.stdout)
    assert [e["path"] for e in document["errors"]] == [str(file)]
    assert document["photos"] == []


def test_a_folder_of_results_is_not_made_before_there_are_any(tmp_path):
    assert "no such file" in told(did("measure", tmp_path / "none.jpg", "--out", tmp_path / "a" / "out"))
    assert not (tmp_path / "a").exists()


@pytest.mark.parametrize("place", ["samples.csv", "report.html", "previews"])
def test_what_was_measured_is_printed_where_the_disk_is_full(photos, tmp_path, monkeypatch, place):
    from glowkin.telling import out_dir

    plainly = out_dir.write_whole if place != "samples.csv" else out_dir.write_parts

    def full(path, content):
        if path.name == place or (place == "previews" and path.suffix == ".jpg"):
            with files.told_of(path):
                raise FULL
        return plainly(path, content)

    monkeypatch.setattr(out_dir, plainly.__name__, full)
    done = did("measure", photos / "09.jpg", "--names", "a,b,c", "--out", tmp_path / "out")
    assert "could not be written, the disk is full; make room, then do this again" in told(done)
    for name in "abc":
        assert f" {name} " in done.stdout
    assert "Report:" not in done.stdout


def test_what_stood_there_stands_where_a_file_cannot_be_written(tmp_path, monkeypatch):
    file = files.write_whole(tmp_path / "a.csv", b"before")

    def parts():
        yield b"half"
        raise FULL

    with pytest.raises(CannotReadError, match=r"a\.csv: could not be written, the disk is full; make room"):
        files.write_parts(file, parts())
    monkeypatch.setattr(Path, "replace", lambda *_: (_ for _ in ()).throw(PermissionError(13, "not yours")))
    with pytest.raises(CannotReadError, match=r"could not be written \(not yours\); see that you may write"):
        files.write_whole(file, b"after")
    assert [p.name for p in tmp_path.iterdir()] == ["a.csv"]
    assert file.read_bytes() == b"before"


def test_a_read_only_folder_is_told(begun, tmp_path, monkeypatch):
    """Whoever may do anything, as in a container, is not hindered by modes: here the system's answer is."""
    monkeypatch.setattr(os, "access", lambda _, mode, **__: not mode & os.W_OK)
    assert told(did("report", begun)).endswith("copy it to where you may, and report on the copy")
    for arguments in (("export", begun, "--out", tmp_path / "o"), ("export", begun, "--zip", tmp_path / "z")):
        assert "nothing may be written into" in told(did("study", *arguments))
    assert not (begun / "report.html").exists()


@pytest.fixture
def small(monkeypatch):
    """A function that leaves a ledger so many pages of 4096 bytes to grow by."""
    plainly = ledger._checked

    def leave(pages):
        def checked(folder, mode):
            connection = plainly(folder, mode)
            if mode == "rw" and pages is not None:
                now = connection.execute("PRAGMA page_count").fetchone()[0]
                connection.execute(f"PRAGMA max_page_count = {now + pages}")
            return connection

        monkeypatch.setattr(ledger, "_checked", checked)

    return leave


def rows(study):
    with sqlite3.connect(study / "ledger.sqlite") as connection:
        return [connection.execute(f"SELECT * FROM {t}").fetchall() for t in ("measurements", "records")]  # noqa: S608


@pytest.mark.parametrize("pages", [0, 3, 12])
def test_a_full_disk_loses_nothing_of_a_study_and_the_next_run_completes(begun, photos, run, small, pages):
    before = rows(begun)
    small(pages)
    done = run("add", begun, photos)
    assert "ledger.sqlite: the disk is full; make room and do this again, what was kept is safe" in told(done)
    assert all(row in now for was, now in zip(before, rows(begun), strict=True) for row in was)
    with open_study(begun) as reading:
        assert reading.overview().measured == len(rows(begun)[0])
    small(None)
    assert run("add", begun, photos).exit_code == 0
    with open_study(begun) as reading:
        assert (reading.overview().measured, reading.overview().awaited) == (3, 0)


def test_a_ledger_that_may_not_be_written_is_told_and_still_read(begun, photos, run, monkeypatch):
    plainly = ledger._checked

    def read_only(folder, mode):
        connection = plainly(folder, mode)
        connection.execute("PRAGMA query_only = ON")
        return connection

    before = rows(begun)
    monkeypatch.setattr(ledger, "_checked", read_only)
    for arguments in (("add", begun, photos), ("edit", begun, "09.jpg", "--note", "x"), ("remeasure", begun)):
        assert "see that you may write it, and into its folder" in told(run(*arguments))
    assert rows(begun) == before
    assert run("show", begun).exit_code == 0


def test_a_zip_that_the_disk_has_no_room_for_is_not_there(begun, tmp_path, monkeypatch):
    import zipfile

    def full(*_, **__):
        raise FULL

    (tmp_path / "drying.zip").write_bytes(b"PK\x05\x06" + bytes(18))
    for where in ("open", "writestr"):
        with monkeypatch.context() as patch:
            patch.setattr(zipfile.ZipFile, where, full)
            said = told(did("study", "export", begun, "--zip", tmp_path / "drying.zip"))
        assert said.endswith(
            "drying.zip: could not be written, the disk is full; make room, then do this again"
        )
        assert (tmp_path / "drying.zip").stat().st_size == 22
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".glowkin")]


@pytest.mark.parametrize("step", ["_handed", "_write"])
def test_a_photograph_that_goes_while_it_is_packed_is_told_and_not_the_zip(
    begun, photos, tmp_path, monkeypatch, step
):
    from glowkin.study import packing

    plainly = getattr(packing, step)

    def late(*arguments):
        (photos / "09.jpg").unlink(missing_ok=True)
        return plainly(*arguments)

    monkeypatch.setattr(packing, step, late)
    said = told(did("study", "export", begun, "--zip", tmp_path / "drying.zip", "--with-metadata"))
    assert "09.jpg: cannot be read any more (No such file or directory); see that it is there" in said
    assert "drying.zip" not in said
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".glowkin") or p.suffix == ".zip"]
