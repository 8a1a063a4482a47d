"""A study on another computer: what goes into its zip, and that it measures to the same figures there.

zipfile, sqlite3, Pillow and tifffile read the zip independently of glowkin.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import shutil
import sqlite3
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from PIL import Image

from glowkin.cli import main
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.stage import two_reds_and_green
from glowkin.study.reading import open_study
from glowkin.study.study_file import read_study_file

SERIAL, PLACE = "SN-4471-0815", (59.91, 10.75)
GPS = 0x8825


def run(*arguments):
    done = CliRunner().invoke(main, ["study", *map(str, arguments)])
    assert done.exit_code == 0, done.output
    return done


def records(study, current=None):
    """Every record as its text in the ledger, by photograph and time."""
    query = (
        "SELECT f.name, r.record FROM records r JOIN measurements m ON m.id = r.measurement_id "
        "JOIN photographs p ON p.id = m.photograph_id JOIN pictures f ON f.id = p.picture_id "
        "WHERE ?1 IS NULL OR m.current = ?1 ORDER BY f.name, m.id"
    )
    with contextlib.closing(sqlite3.connect(study / "ledger.sqlite")) as connection:
        return connection.execute(query, (current,)).fetchall()


def report(study) -> str:
    done = CliRunner().invoke(main, ["report", str(study)])
    assert done.exit_code == 0, done.output
    return (study / "report.html").read_text("utf-8")


@pytest.fixture(scope="module")
def kept(tmp_path_factory) -> Path:
    """A folder with a study of two JPEG (one balanced by the camera, so that its hash is in the names of its
    errors) and of a raw photograph with lamp-off frame, camera file and known glow; all with position and
    serial number; with a note, and one photograph left out. And its zip.
    """
    folder = tmp_path_factory.mktemp("kept")
    shots, study = folder / "of Olga", folder / "study"
    shots.mkdir()
    scene, rng = replace(two_reds_and_green((450, 300)), room=0.05), np.random.default_rng(1)
    for hour, name in ((9, "9.jpg"), (10, "10.jpg"), (11, "11.dng"), (12, "off.dng"), (13, "13.jpg")):
        seen = scene.lamp_off() if name == "off.dng" else scene
        shot = photograph(seen, default_camera(), rng, Exposure(0.2))
        told = replace(
            shot.exposure, taken_at=Exposure().taken_at.replace(hour=hour), serial_number=SERIAL,
            position=PLACE, automatic_white_balance=hour == 9,
        )  # fmt: skip
        (write_jpeg if name.endswith("jpg") else write_dng)(replace(shot, exposure=told), shots / name)
    nm = np.arange(400, 701, 5)
    bands = [np.exp(-0.5 * ((nm - c) / 38.0) ** 2) for c in (600.0, 535.0, 465.0)]
    rows = zip(nm, *bands, strict=True)
    table = "".join(f"{int(n)},{r:.6f},{g:.6f},{b:.6f}\n" for n, r, g, b in rows)
    (folder / "own.csv").write_text(f"wavelength_nm,r,g,b\n{table}")
    (folder / "green.csv").write_text(
        "wavelength_nm,intensity\n" + "".join(f"{n},{np.exp(-0.5 * ((n - 520) / 22) ** 2):.6f}\n" for n in nm)
    )
    camera = folder / "camera.json"
    done = CliRunner().invoke(main, ["camera", "import", str(folder / "own.csv"), "-o", str(camera)])
    assert done.exit_code == 0, done.output
    run("new", study, "--title", f"Drying, see {shots}/book.txt")
    run("add", study, *(shots / f"{n}.jpg" for n in (9, 10, 13)))
    run("add", study, shots / "11.dng", "--camera", camera, "--lamp-off", shots / "off.dng",
        "--reference", f"S3={folder / 'green.csv'}")  # fmt: skip
    run("edit", study, "10.jpg", "--rename", "S1=red-1", "--note", f"as in {shots}/10.txt")
    run("edit", study, "13.jpg", "--leave-out", "lamp was warming up")
    run("compare", study)
    lit = photograph(replace(scene, room=1.0), default_camera(), rng, Exposure(0.02))
    where = replace(lit.exposure, serial_number=SERIAL, position=PLACE)
    write_jpeg(replace(lit, exposure=where), shots / "room.jpg")
    (folder / "batch.toml").write_text(
        f'notes = "weighed as in {folder}/book"\n[product]\nname = "dry"\nformula = "BaCl2"\nmass_g = 2.1\n'
        '[[reagent]]\nname = "salt"\nformula = "BaCl2.2H2O"\nmass_g = 2.5\n'
    )
    (study / "study.toml").write_text(
        '[camera]\nfile = "../camera.json"\n[shot]\nroom_light = "../of Olga/room.jpg"\n'
        '[[photograph]]\nfile = "10.jpg"\nroom_light = "../gone.jpg"\n'
        '[[batch]]\nname = "A"\npreparation = "../batch.toml"\n'
        '[[sample]]\nname = "S3"\nreference = "../green.csv"\n'
        f'notes = "kept in {folder}/book"\n'
    )
    run("export", study, "--zip", folder / "study.zip")
    return folder


@pytest.fixture
def opened(kept, tmp_path) -> Path:
    run("open", kept / "study.zip", tmp_path / "there")
    return tmp_path / "there"


def test_measured_again_elsewhere_every_digit_is_the_same(kept, opened):
    """Also the parts of errors that are shared, whose names tell the photograph by its hash."""
    brought = records(opened)
    run("remeasure", opened)
    assert [name for name, _ in brought] == ["10.jpg", "11.dng", "13.jpg", "9.jpg"]
    now = dict(records(opened, current=1))
    for name, record in brought:
        if name != "13.jpg":  # left out: not measured again
            renamed = now[name].replace("red-1", "S1")  # also in the words of what limits it
            assert renamed == record
    assert "balanced in" in now["9.jpg"]
    assert json.loads(now["11.dng"])["frames"][0]["path"] == "photos/off.dng"
    assert json.loads(now["11.dng"])["references"]


def test_figures_are_those_of_the_study_it_came_from(kept, opened):
    here, there = ([json.loads(r) for _, r in records(s)] for s in (kept / "study", opened))
    told = 0
    for a, b in zip(here, there, strict=True):
        assert a["sha256"] != b["sha256"]
        for x, y in zip(a["samples"], b["samples"], strict=True):
            errors = [list((s.pop("shared_errors") or {}).values()) for s in (x, y)]  # none without a colour
            assert errors[0] == errors[1]
            assert x == y
            told += bool(errors[0])
    assert told > 3
    shown = [json.loads(run("show", s, "10.jpg", "--json").stdout) for s in (kept / "study", opened)]
    assert [s["photos"][0]["samples"][0]["name"] for s in shown] == ["red-1", "red-1"]


def test_nothing_tells_where_and_by_whom(kept):
    """Nowhere in the zip, packed or unpacked; read by zipfile, Pillow and tifffile."""
    with zipfile.ZipFile(kept / "study.zip") as archive:
        assert archive.testzip() is None
        contents = {name: archive.read(name) for name in archive.namelist()}
    for name, content in contents.items():
        for word in (SERIAL, "of Olga", str(kept), "olga"):
            assert word.encode() not in content, (name, word)
    for name in ("photos/9.jpg", "photos/10.jpg", "photos/13.jpg"):
        exif = Image.open(io.BytesIO(contents[name])).getexif()
        assert GPS not in exif
        assert not exif.get_ifd(GPS)
        assert exif.get_ifd(0x8769)[0x829A] == pytest.approx(0.2, rel=0.01)
    for name in ("photos/11.dng", "photos/off.dng"):
        with tifffile.TiffFile(io.BytesIO(contents[name])) as file:
            tags = file.pages[0].tags
            assert "GPSTag" not in tags
            assert "BodySerialNumber" not in str(tags["ExifTag"].value)
            assert "ExposureTime" in tags["ExifTag"].value


def test_the_manifest_tells_both_hashes(kept):
    with zipfile.ZipFile(kept / "study.zip") as archive:
        listed = json.loads(archive.read("manifest.json"))["files"]
        for file in listed:
            assert hashlib.sha256(archive.read(file["path"])).hexdigest() == file["sha256"]
    before = {f["path"]: f["original_sha256"] for f in listed if "original_sha256" in f}
    assert set(before) == {
        "photos/9.jpg",
        "photos/10.jpg",
        "photos/13.jpg",
        "photos/11.dng",
        "photos/off.dng",
        "files/4/room.jpg",
    }
    for path, sha256 in before.items():
        assert hashlib.sha256((kept / "of Olga" / Path(path).name).read_bytes()).hexdigest() == sha256


def test_the_same_study_gives_the_same_bytes(kept, tmp_path):
    run("export", kept / "study", "--zip", tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == (kept / "study.zip").read_bytes()


def test_with_metadata_photographs_are_as_they_were(kept, tmp_path):
    run("export", kept / "study", "--zip", tmp_path / "all.zip", "--with-metadata")
    with zipfile.ZipFile(tmp_path / "all.zip") as archive:
        for name in ("9.jpg", "11.dng", "off.dng"):
            assert archive.read(f"photos/{name}") == (kept / "of Olga" / name).read_bytes()
    run("open", tmp_path / "all.zip", tmp_path / "all")
    assert f"as in {kept}/of Olga/10.txt" in run("show", tmp_path / "all", "10.jpg").stdout


def test_the_study_file_finds_what_it_names(kept, opened):
    told = read_study_file(opened / "study.toml")
    assert (opened / told.camera.file).read_bytes() == (kept / "camera.json").read_bytes()
    ((_, glow),) = told.references
    assert (opened / glow).read_bytes() == (kept / "green.csv").read_bytes()
    assert told.sample[0].notes == "kept in book"
    assert "weighed as in book" in (opened / told.batch[0].preparation).read_text()
    assert told.photograph[0].room_light == "gone.jpg"
    with (
        Image.open(kept / "of Olga" / "room.jpg") as here,
        Image.open(opened / told.shot.room_light) as there,
    ):
        assert np.array_equal(np.asarray(here), np.asarray(there))
        assert here.getexif().get_ifd(GPS)
        assert not there.getexif().get_ifd(GPS)


def test_the_report_of_the_opened_study_is_the_same_but_for_hashes(kept, tmp_path):
    """With the room-light photograph and the yield on it; handed on as it is, to the byte."""
    pages = {}
    for how in ((), ("--with-metadata",)):
        run("export", kept / "study", "--zip", tmp_path / "s.zip", *how)
        run("open", tmp_path / "s.zip", tmp_path / f"there{len(how)}")
        pages[how] = report(tmp_path / f"there{len(how)}")
    here = report(kept / "study")
    assert "BaCl2" in here
    assert "room.jpg" in here
    assert pages[("--with-metadata",)] == here
    with zipfile.ZipFile(tmp_path / "s.zip") as archive:
        listed = json.loads(archive.read("manifest.json"))["files"]
    assert not any("original_sha256" in file for file in listed)
    with zipfile.ZipFile(kept / "study.zip") as archive:
        listed = json.loads(archive.read("manifest.json"))["files"]
    tidy = here
    for file in listed:
        if "original_sha256" in file:
            for digits in (64, 12, 8):
                tidy = tidy.replace(file["original_sha256"][:digits], file["sha256"][:digits])
    assert pages[()] == tidy


def test_shots_of_two_folders_stay_apart(kept, tmp_path):
    """Of one shot saved both ways the raw file counts; shots of two evenings are not one by their names."""
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
    shutil.copy(kept / "of Olga" / "9.jpg", tmp_path / "a" / "1.jpg")
    shutil.copy(kept / "of Olga" / "11.dng", tmp_path / "b" / "1.dng")
    run("new", tmp_path / "study")
    run("add", tmp_path / "study", tmp_path / "a" / "1.jpg", tmp_path / "b" / "1.dng")
    run("export", tmp_path / "study", "--zip", tmp_path / "s.zip")
    run("open", tmp_path / "s.zip", tmp_path / "there")
    with open_study(tmp_path / "there") as reading:
        assert sorted(p.path for p in reading.pictures()) == ["photos/1.jpg", "photos/2/1.dng"]


def test_notes_edits_and_what_was_left_out_come_along(opened):
    shown = json.loads(run("show", opened, "--json").stdout)
    assert shown["study"]["title"] == "Drying, see book.txt"
    assert [(p["path"], p["left_out"]) for p in shown["left_out"]] == [
        ("photos/13.jpg", "lamp was warming up")
    ]
    assert any("photos/10.jpg: S1 renamed red-1" in e["words"] for e in shown["edits"])
    assert shown["errors"] == []
    with open_study(opened) as reading:
        (row,) = reading.conclusions()
        pairs = reading.conclusion(row.id).pairs
        assert {c.a.path for c in pairs} == {"photos/9.jpg", "photos/10.jpg", "photos/11.dng"}
    run("undo", opened)


def test_the_original_is_known_in_the_study_that_was_opened(kept, opened):
    again = run("add", opened, kept / "of Olga" / "9.jpg")
    assert "is in the study already, as photos/9.jpg, without position and serial numbers" in again.output
    assert len(json.loads(run("show", opened, "--json").stdout)["photographs"]) == 3


def test_opened_and_handed_on_again_it_is_the_same(kept, opened, tmp_path):
    run("export", opened, "--zip", tmp_path / "second.zip")
    with zipfile.ZipFile(kept / "study.zip") as first, zipfile.ZipFile(tmp_path / "second.zip") as second:
        names = [n for n in first.namelist() if n.startswith("photos/")]
        assert [first.read(n) for n in names] == [second.read(n) for n in names]


def test_a_photograph_that_is_not_there_is_named(kept, tmp_path):
    study = shutil.copytree(kept, tmp_path / "copy") / "study"
    (tmp_path / "copy/of Olga/off.dng").unlink()
    done = CliRunner().invoke(main, ["study", "export", str(study), "--zip", str(tmp_path / "a.zip")])
    assert done.exit_code == 1
    assert "no zip was written" in done.output
    assert "off.dng: is no longer there" in done.output
    assert not list(tmp_path.glob("*.zip"))


def test_one_left_out_that_cannot_be_read_stays_behind(kept, tmp_path):
    study = shutil.copytree(kept, tmp_path / "copy") / "study"
    (tmp_path / "copy/of Olga/13.jpg").unlink()
    done = run("export", study, "--zip", tmp_path / "a.zip")
    assert "13.jpg: is not in the zip" in done.output
    run("open", tmp_path / "a.zip", tmp_path / "there")


def test_an_export_to_nowhere_is_wrong_use(kept):
    done = CliRunner().invoke(main, ["study", "export", str(kept / "study")])
    assert done.exit_code == 2
    assert "nothing to write; say where: --out DIR" in done.output
