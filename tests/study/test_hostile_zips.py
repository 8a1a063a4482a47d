"""Zips that no export wrote: each is refused in a sentence, and nothing of it reaches the disk.

What is tried is what is known of hostile archives: names that climb out or are absolute, links, two names
that are one, bombs, entries that say less than they hold (CWE-22, CWE-59, CWE-409); and of SQLite files from
strangers: triggers and views ("Defense Against The Dark Arts", SQLite's documentation).
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import sqlite3
import stat
import struct
import zipfile

import pytest
from click.testing import CliRunner

from glowkin.cli import main
from glowkin.study import zip_rules


def run(*arguments):
    return CliRunner().invoke(main, ["study", *map(str, arguments)])


@pytest.fixture(scope="module")
def made(tmp_path_factory, rendered):
    """The files of an honest zip by name, but for its manifest."""
    folder = tmp_path_factory.mktemp("made")
    assert run("new", folder / "study").exit_code == 0
    done = run("add", folder / "study", rendered / "09.jpg")
    assert done.exit_code == 0, done.output
    done = run("export", folder / "study", "--zip", folder / "good.zip")
    assert done.exit_code == 0, done.output
    with zipfile.ZipFile(folder / "good.zip") as archive:
        return {name: archive.read(name) for name in archive.namelist() if name != "manifest.json"}


@pytest.fixture
def refused(tmp_path):
    """Write a zip and see that it is refused and nothing is left; answers what was said."""

    def tried(entries, listed=None, **how):
        zip_file, there = tmp_path / "bad.zip", tmp_path / "inner" / "there"
        there.parent.mkdir(exist_ok=True)
        write(zip_file, entries, listed, **how)
        before = sorted(p for p in tmp_path.rglob("*"))
        done = run("open", zip_file, there)
        assert done.exit_code == 1, done.output
        assert not isinstance(done.exception, Exception) or isinstance(done.exception, SystemExit)
        assert sorted(p for p in tmp_path.rglob("*")) == before
        return done.output

    return tried


def row(name, content):
    return {"path": name, "sha256": hashlib.sha256(content).hexdigest(), "size_bytes": len(content)}


def write(zip_file, entries, listed=None, schema="glowkin.study-zip.v1"):
    """A zip of names (or ZipInfo) and contents, and a manifest that agrees unless it is told otherwise."""
    names = [(getattr(name, "filename", name), content) for name, content in entries]
    rows = [row(name, content) for name, content in names] if listed is None else listed
    with zipfile.ZipFile(zip_file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in entries:
            archive.writestr(name, content)
        archive.writestr("manifest.json", json.dumps({"schema": schema, "program": "glowkin", "files": rows}))


def test_the_honest_one_is_opened(tmp_path, made):
    write(tmp_path / "good.zip", list(made.items()))
    assert run("open", tmp_path / "good.zip", tmp_path / "there").exit_code == 0
    assert (tmp_path / "there" / "photos" / "09.jpg").read_bytes() == made["photos/09.jpg"]
    assert not (tmp_path / "there" / "tables").exists()


@pytest.mark.parametrize(
    "name",
    [
        "../evil.txt", "photos/../../evil.txt", "/etc/evil", "photos//evil", "C:/evil", "C:evil",
        "\\\\host\\evil", "photos/..", "photos/a\\..\\..\\evil", "photos/.hidden", "photos/aux.jpg",
        "photos/a:stream", "photos/end. ", "photos/new\nline", "photos/" + "a" * 300, "~/evil", "./evil",
    ],
)  # fmt: skip
def test_names_that_climb_out_or_are_no_names_everywhere(refused, made, name):
    said = refused([*made.items(), (name, b"x")])
    assert "which could lie outside the study" in said or "which no study has" in said
    assert "nothing of it was unpacked" in said


@pytest.mark.parametrize("name", ["ledger.sqlite-wal", "ledger.sqlite-journal", "evil.py", "src/evil.py"])
def test_files_that_no_study_has(refused, made, name):
    """A journal beside the ledger would be played into it by SQLite."""
    assert "which no study has" in refused([*made.items(), (name, b"x")])


@pytest.mark.parametrize("name", ["../private.jpg", "/home/somebody/private.jpg", "C:/private.jpg"])
@pytest.mark.parametrize(
    "line",
    ["[shot]\nroom_light = '{}'", "[[batch]]\nname = 'A'\npreparation = '{}'", "[camera]\nfile = '{}'"],
)
def test_a_study_file_that_would_have_other_files_read_and_shown(refused, made, name, line):
    assert "lies outside the study" in refused([*made.items(), ("study.toml", line.format(name).encode())])


@pytest.mark.parametrize("other", ["photos/09.JPG", "PHOTOS/09.jpg", "photos/09.jpg"])
@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_two_names_that_are_one(refused, made, other):
    said = refused([*made.items(), (other, b"x")])
    assert "holds two files of the name" in said or "which no study has" in said


def test_two_names_that_are_one_in_unicode(refused, made):
    extra = [("photos/Proben-Ü.jpg", b"x"), ("photos/Proben-U\u0308.jpg", b"y")]
    assert "holds two files of the name" in refused([*made.items(), *extra])


def test_a_file_where_a_folder_is(refused, made):
    assert "a file where a folder is" in refused([*made.items(), ("photos/09.jpg/x.jpg", b"x")])


@pytest.mark.parametrize(
    "mode", [stat.S_IFLNK | 0o777, stat.S_IFIFO | 0o644, stat.S_IFDIR | 0o755, stat.S_IFCHR]
)
def test_links_pipes_and_devices(refused, made, mode):
    info = zipfile.ZipInfo("photos/link.jpg")
    info.create_system, info.external_attr = 3, mode << 16
    assert "which is no plain file" in refused([*made.items(), (info, b"/etc/passwd")])


def test_a_bomb_by_its_ratio(refused, made):
    assert "packed 1028-fold" in refused([*made.items(), ("photos/zeros.png", bytes(30_000_000))])


def test_a_bomb_by_its_size_or_number(refused, made, monkeypatch):
    monkeypatch.setattr(zip_rules, "MOST_BYTES", 10_000)
    assert "GB unpacked" in refused(made.items())
    monkeypatch.setattr(zip_rules, "MOST_FILES", 3)
    assert "files" in refused(made.items())


def test_more_than_it_says(refused, made, tmp_path):
    """The directory at the end says 10 bytes, the manifest too; what is packed is a thousand times that."""
    content = bytes(range(256)) * 40
    entries = [*made.items(), ("photos/more.jpg", content)]
    rows = [row(n, c) for n, c in made.items()]
    rows.append({**row("photos/more.jpg", content[:10]), "size_bytes": 10})
    write(tmp_path / "bad.zip", entries, rows)
    data = bytearray((tmp_path / "bad.zip").read_bytes())
    at = data.rindex(b"photos/more.jpg") - 46
    assert data[at : at + 4] == b"PK\x01\x02"
    struct.pack_into("<I", data, at + 24, 10)
    (tmp_path / "bad.zip").write_bytes(data)
    done = run("open", tmp_path / "bad.zip", tmp_path / "there")
    assert done.exit_code == 1
    assert "nothing of it was unpacked" in done.output
    assert not (tmp_path / "there").exists()


def test_another_content_than_the_manifest_says(refused, made):
    rows = [row(n, c) for n, c in made.items()]
    spoiled = {**made, "photos/09.jpg": made["photos/09.jpg"][:-1] + b"\x00"}
    assert "'photos/09.jpg' damaged" in refused(spoiled.items(), rows)


def test_more_or_fewer_files_than_the_manifest_lists(refused, made):
    rows = [row(n, c) for n, c in made.items()]
    assert "other files than its manifest lists" in refused([*made.items(), ("photos/b.jpg", b"x")], rows)
    assert "other files than its manifest lists" in refused(list(made.items())[:-1], rows)
    assert "lists a file twice" in refused(made.items(), [*rows, rows[0]])


@pytest.mark.parametrize(
    "rows", [None, 3, [3], [{}], [{"path": 1}], [{"path": "a", "sha256": "z" * 64, "size_bytes": 1}], "x"]
)
def test_manifests_that_are_none(refused, made, rows):
    said = refused(made.items(), rows if rows is not None else {"a": 1})
    assert "no manifest of a study" in said or "other files than" in said


def test_another_kind_of_zip(refused, made):
    assert "is of another kind ('other.v9'" in refused(made.items(), schema="other.v9")


def test_no_zip_and_no_file(tmp_path):
    (tmp_path / "no.zip").write_bytes(b"PK\x03\x04 no")
    assert "is no zip that can be read" in run("open", tmp_path / "no.zip", tmp_path / "a").output
    assert "there is no such file" in run("open", tmp_path / "none.zip", tmp_path / "a").output
    cut = tmp_path / "cut.zip"
    write(cut, [("photos/a.jpg", b"x" * 1000)])
    cut.write_bytes(cut.read_bytes()[:-40])
    assert "is no zip that can be read" in run("open", cut, tmp_path / "a").output


def test_a_folder_that_is_there_is_not_written_into(tmp_path, made):
    write(tmp_path / "good.zip", list(made.items()))
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "mine.txt").write_text("mine")
    done = run("open", tmp_path / "good.zip", tmp_path / "there")
    assert (done.exit_code, "is there already; name a new folder" in done.output) == (1, True)
    assert [p.name for p in (tmp_path / "there").iterdir()] == ["mine.txt"]


def changed(made, tmp_path, *statements):
    """The files with a ledger into which somebody wrote."""
    file = tmp_path / "changed.sqlite"
    file.write_bytes(made["ledger.sqlite"])
    with contextlib.closing(sqlite3.connect(file)) as connection:
        for statement in statements:
            connection.execute(*statement) if isinstance(statement, tuple) else connection.execute(statement)
        connection.commit()
    content = file.read_bytes()
    file.unlink()
    return {**made, "ledger.sqlite": content}


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE pictures SET path = '../../../etc/passwd'", "a photograph outside the study"),
        ("UPDATE pictures SET path = '/etc/passwd'", "a photograph outside the study"),
        ("UPDATE pictures SET path = 'ledger.sqlite'", "a photograph outside the study"),
        ("UPDATE pictures SET sha256 = 'aa'", "another 'photos/09.jpg' in its ledger"),
        ("INSERT INTO files VALUES ('aa', 'cam.json', x'00')", "is not what its ledger says"),
        (
            (
                "INSERT INTO files VALUES (?, '../../.profile', ?)",
                (hashlib.sha256(b"evil").hexdigest(), b"evil"),
            ),
            "is not what its ledger says",
        ),
        (
            """UPDATE settings SET told = json_set(told, '$.filter', json('{"name": "/etc/passwd"}'))""",
            "files outside the study",
        ),
        ("UPDATE settings SET told = '[]'", "files outside the study"),
        ("UPDATE records SET record = '{}'", "a measurement that cannot be read"),
        (
            "CREATE TRIGGER t AFTER INSERT ON edits BEGIN DELETE FROM records; END",
            "other tables than a study",
        ),
        ("CREATE VIEW v AS SELECT 1", "other tables than a study"),
        ("UPDATE photographs SET names = '5'", "names that cannot be read"),
        ("UPDATE photographs SET names = '[\"a\\u001b[2J\"]'", "names that cannot be read"),
        ("UPDATE photographs SET outlines = '[[1]]'", "outlines that cannot be read"),
        ("UPDATE programs SET versions = '[[[]]]'", "versions that cannot be read"),
        ("UPDATE study SET title = 'a' || char(27) || '[2J'", "signs that steer a terminal"),
        ("UPDATE programs SET program = 'a' || char(27) || '[2J'", "signs that steer a terminal"),
        ("UPDATE measurements SET measured_at = char(155)", "signs that steer a terminal"),
        (
            "UPDATE records SET record = json_set(record, '$.camera.name', char(27))",
            "a measurement that cannot be read",
        ),
        ("UPDATE previews SET jpeg = x'00'", "a small picture that is none"),
        (
            (
                "INSERT INTO conclusions (kind, made_at, program_id, told, words, photographs, record) "
                "VALUES ('track', '', 1, '{}', '', 0, '{}')",
            ),
            "a conclusion that cannot be read",
        ),
        (("UPDATE records SET record = ?", ("[" * 900 + "]" * 900,)), "a measurement that cannot be read"),
        ("DROP TABLE previews", "other tables than a study"),
        ("PRAGMA user_version = 99", "was written by a newer glowkin"),
        ("PRAGMA application_id = 1", "no ledger of glowkin"),
        ("DELETE FROM pictures", "refers to what it does not hold"),
    ],
)
def test_ledgers_that_somebody_wrote_into(refused, made, tmp_path, statement, said):
    assert said in refused(changed(made, tmp_path, statement).items())


_CONCLUDED = (
    "INSERT INTO conclusions (id, kind, made_at, program_id, told, words, photographs, record) "
    "VALUES (1, ?, '', 1, ?, '', 0, ?)"
)
_MAP = "INSERT INTO maps VALUES (1, 0, 1, ?, ?, 0.5, 0, 2, ?, ?, ?)"
COURSE = ("track", "{}", '{"schema": "glowkin.track.v1", "samples": [], "comparisons": []}')
MATCHES = {
    "known": [], "samples": [], "forms_file": "f.json", "observer": 2,
    "assumed": {"prior_of_none": 0.5, "prior_of_mixtures": 0.25},
}  # fmt: skip


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("rim", 0.0, 2, 2, bytes(5)), "damaged ledger"),
        (("rim", 0.0, 2000, 2000, bytes(4_000_000)), "damaged ledger"),
        (("rim", float("inf"), 2, 2, bytes(4)), "damaged ledger"),
        (("a\x1b[2J", 0.0, 2, 2, bytes(4)), "signs that steer a terminal"),
    ],
)
def test_maps_that_are_none(refused, made, tmp_path, given, said):
    """Also where somebody told SQLite to pass over what a table allows."""
    lax = "PRAGMA ignore_check_constraints = ON"
    statements = (lax, (_CONCLUDED, COURSE), (_MAP, given))
    assert said in refused(changed(made, tmp_path, *statements).items())


def test_an_honest_map_is_opened(tmp_path, made):
    statements = ((_CONCLUDED, COURSE), (_MAP, ("rim", 0.0, 2, 2, bytes(4))))
    write(tmp_path / "good.zip", list(changed(made, tmp_path, *statements).items()))
    done = run("open", tmp_path / "good.zip", tmp_path / "there")
    assert done.exit_code == 0, done.output


FORMS = b'{"schema": "glowkin.forms.v1", "forms": []}'


@pytest.mark.parametrize(
    ("told", "forms", "record", "said"),
    [
        ({}, FORMS, MATCHES, "matches without the forms"),
        ({"forms": {"name": "f.json", "sha256": "0" * 64}}, FORMS, MATCHES, "matches without the forms"),
        (None, b"no forms", MATCHES, "matches without the forms"),
        (None, FORMS.replace(b"[]", b'[{"name": "a\\u001b[2J"}]'), MATCHES, "matches without the forms"),
        (None, FORMS, {**MATCHES, "samples": [{}]}, "a conclusion that cannot be read"),
        (None, FORMS, MATCHES, None),
    ],
)
def test_matches_come_with_forms_that_can_be_read(refused, made, tmp_path, told, forms, record, said):
    sha256 = hashlib.sha256(forms).hexdigest()
    told = {"forms": {"name": "f.json", "sha256": sha256}} if told is None else told
    record = {**record, "schema": "glowkin.match.v1", "forms_sha256": sha256}
    kept = ("INSERT INTO files VALUES (?, 'f.json', ?)", (sha256, forms))
    entries = changed(made, tmp_path, kept, (_CONCLUDED, ("match", json.dumps(told), json.dumps(record))))
    if said is not None:
        assert said in refused(entries.items())
        return
    write(tmp_path / "good.zip", list(entries.items()))
    done = run("open", tmp_path / "good.zip", tmp_path / "there")
    assert done.exit_code == 0, done.output


def test_ledgers_that_are_damaged(refused, made):
    content = bytearray(made["ledger.sqlite"])
    content[20_000:40_000] = bytes(20_000)
    assert "damaged ledger" in refused({**made, "ledger.sqlite": bytes(content)}.items())
    assert "damaged ledger" in refused({**made, "ledger.sqlite": b"no ledger"}.items())
    assert "holds no ledger" in refused([(n, c) for n, c in made.items() if n != "ledger.sqlite"])
