"""A study as a chemist uses it: from new to show, with what goes wrong on the way."""

from __future__ import annotations

import contextlib
import json
import math
import os
import shutil
import signal
import sqlite3

import pytest
from click.testing import CliRunner
from PIL import Image

from glowkin.cli import main
from glowkin.study.reading import open_study


def document(done):
    return json.loads(done.stdout)


def names(study, photo):
    with open_study(study) as reading:
        row = reading.find(photo)
        return [s.name for s in reading.record(row.measurement_id).samples]


@pytest.fixture
def added(run, study, photos):
    """A study with three photographs."""
    done = run("add", study, photos)
    assert done.exit_code == 0, done.output
    return study


def test_from_new_to_show(run, added, photos):
    shown = run("show", added)
    assert shown.exit_code == 0
    assert "Drying: 3 photographs, 3 measured; 9 samples. Taken from 2026-05-04 09:" in shown.stdout
    assert "../shots/09.jpg" in shown.stdout
    told = document(run("show", added, "--json"))
    assert told["schema"] == "glowkin.study.v1"
    assert told["errors"] == []
    assert [(s["name"], s["photographs"]) for s in told["samples"]] == [("S1", 3), ("S2", 3), ("S3", 3)]
    assert told["programs"][0]["photographs"] == 3
    assert told["programs"][0]["versions"]["numpy"]


def test_the_whole_record_is_kept(run, added, photos):
    """As ``measure`` tells it of the file itself, but for the path."""
    from click.testing import CliRunner

    from glowkin.cli import main

    kept = document(run("show", added, "10.jpg", "--json"))["photos"]
    told = document(CliRunner().invoke(main, ["measure", str(photos / "10.jpg"), "--json"]))["photos"]
    assert kept[0].pop("path") == "../shots/10.jpg"
    told[0].pop("path")
    assert kept == told
    assert len(kept[0]["samples"][0]["shared_errors"]) > 1


def test_columns_tell_what_the_record_tells(added):
    with open_study(added) as reading:
        for row in reading.photographs():
            record = reading.record(row.measurement_id)
            assert (row.exposure_s, row.iso, row.f_number) == (record.exposure_s, record.iso, record.f_number)
            assert (row.taken_at, row.flags, row.camera) == (
                record.taken_at,
                record.flags,
                record.camera.name,
            )
            for told, sample in zip(reading.samples_of(row.measurement_id), record.samples, strict=True):
                fields = [f for f in told.__slots__ if hasattr(sample, f)]
                assert len(fields) > 12
                assert {f: getattr(told, f) for f in fields} == {f: getattr(sample, f) for f in fields}


def test_adding_twice_is_harmless(run, added, photos):
    before = document(run("show", added, "--json"))
    again = run("add", added, photos)
    assert again.exit_code == 0
    assert "3 of 3 were in the study already" in again.stderr
    assert document(run("show", added, "--json")) == before


def test_copies_are_measured_where_they_lie(run, study, photos):
    assert run("add", study, photos / "09.jpg", "--copy").exit_code == 0
    shutil.rmtree(photos)
    assert run("remeasure", study).exit_code == 0
    assert [p.name for p in (study / "photos").iterdir()] == ["09.jpg"]
    with open_study(study) as reading:
        (row,) = reading.photographs()
        assert row.path == "photos/09.jpg"
        assert [m.current for m in reading.measurements_of(row.id)] == [False, True]


def test_two_photographs_of_one_name_are_both_copied(run, study, photos):
    (photos / "b").mkdir()
    shutil.copy(photos / "10.jpg", photos / "b" / "09.jpg")
    assert run("add", study, photos / "09.jpg", photos / "b" / "09.jpg", "--copy").exit_code == 0
    kept = sorted(p.name for p in (study / "photos").iterdir())
    assert kept[0] == "09-" + kept[0][3:11] + ".jpg"
    assert kept[1] == "09.jpg"
    ambiguous = run("show", study, "09.jpg")
    assert ambiguous.exit_code == 0, "one is called so by its whole name"


def test_a_moved_photograph_is_noticed_and_found_again(run, added, photos):
    (photos / "09.jpg").rename(photos / "first.jpg")
    shown = run("show", added)
    assert shown.exit_code == 1
    assert "../shots/09.jpg: is no longer there; name its new place: glowkin study add" in shown.stderr
    found = run("add", added, photos / "first.jpg")
    assert found.exit_code == 0
    assert "../shots/09.jpg: found again as ../shots/first.jpg" in found.stderr
    assert run("show", added).exit_code == 0
    assert document(run("show", added, "--json"))["study"]["photographs"] == 3


def test_an_edited_photograph_is_noticed_and_taken_in_its_place_when_told(run, added, photos):
    shutil.copy(photos / "10.jpg", photos / "spare.jpg")
    content = (photos / "09.jpg").read_bytes()
    (photos / "09.jpg").write_bytes(content + b"\0")
    assert "../shots/09.jpg: is no longer what was added" in run("show", added).stderr
    refused = run("add", added, photos / "09.jpg")
    assert refused.exit_code == 1
    assert "take it in its place with --replace" in refused.stderr
    assert "is no longer what was added" in run("remeasure", added, photos / "09.jpg").stderr
    with open_study(added) as reading:
        row = reading.find("09.jpg")
        assert reading.measurements_of(row.id)[0].current, "the old result stands"
    assert run("add", added, photos / "09.jpg", "--replace").exit_code == 0
    told = document(run("show", added, "--json"))
    assert told["study"]["photographs"] == 3
    assert [r["left_out"] for r in told["left_out"]] == ["replaced"]
    assert told["errors"] == [], "what lay there before counts no longer"


def test_what_to_type_is_told_from_where_one_is(run, added, photos, monkeypatch):
    (photos / "09.jpg").write_bytes(b"another")
    monkeypatch.chdir(photos)
    assert f"glowkin study add {added} 09.jpg --replace" in run("show", added).stderr


@pytest.mark.skipif(os.name == "nt", reason="names are text there")
def test_a_name_that_is_no_text_is_refused_in_a_sentence(run, study, photos):
    odd = os.fsdecode(os.fsencode(photos) + b"/\xff.jpg")
    shutil.copy(photos / "09.jpg", odd)
    done = run("add", study, photos)
    assert done.exit_code == 1
    assert "its name, or that of its folder, is no text; rename it" in done.stderr
    assert "3 photographs, 3 measured" in done.stdout
    note = run("edit", study, "09.jpg", "--note", os.fsdecode(b"\xff"))
    assert (note.exit_code, "cannot keep what is no text" in note.stderr) == (2, True)


@pytest.mark.skipif(os.name == "nt", reason="its signals are those of POSIX")
def test_an_interrupt_keeps_what_is_done_and_the_next_run_goes_on(run, start, study, photos):
    for i in range(12):
        (photos / f"more-{i}.jpg").write_bytes((photos / "10.jpg").read_bytes() + bytes([i]))
    process = start("add", study, photos, "--jobs", "1")
    first = process.stderr.readline()
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=60)
    assert "measured and kept" in first
    assert process.returncode == 130, said
    assert f"are still to be measured; go on with: glowkin study add {study}" in said
    with open_study(study) as reading:
        before = reading.overview()
        assert 1 <= before.measured < 15
        assert before.awaited == 15 - before.measured
    assert f"go on with: glowkin study add {study}" in run("show", study).stdout.replace("\n", "")
    assert run("add", study).exit_code == 0
    with open_study(study) as reading:
        assert reading.overview().measured == 15


def test_two_that_write_take_turns_and_others_read(run, added):
    from glowkin.study.workbook import open_workbook

    with open_workbook(added, "x") as workbook:
        workbook.ask_again([1, 2])
        second = run("add", added)
        assert second.exit_code == 1
        assert "another glowkin is writing into this study; let it finish" in second.stderr
        shown = run("show", added)
        assert shown.exit_code == 0
        assert (
            "3 photographs, 3 measured, 2 still to be measured, an older result of 2 of these stands"
            in " ".join(shown.stdout.split())
        )
    assert run("add", added).exit_code == 0


def test_what_is_no_picture_is_told_and_stands_in_no_way(run, study, photos):
    (photos / "notes.pdf").write_bytes(b"%PDF-1.7")
    (photos / "notes.jpg").write_text("weighed on Monday", "utf-8")
    (photos / "bad.jpg").write_bytes(b"\xff\xd8\xff\xe0nothing")
    done = run(
        "add", study, photos / "notes.pdf", photos / "notes.jpg", photos / "bad.jpg", photos / "09.jpg"
    )
    assert done.exit_code == 1
    assert "notes.pdf: a PDF document" in done.stderr
    assert "notes.jpg: holds text, no picture" in done.stderr
    with open_study(study) as reading:
        assert [r.path for r in reading.photographs()] == ["../shots/bad.jpg", "../shots/09.jpg"]
    for command in (
        ("edit", study, "09.jpg", "--note", "x"),
        ("undo", study),
        ("remeasure", study, "09.jpg"),
    ):
        other = run(*command)
        assert other.exit_code == 0, other.output
        assert "Error" not in other.stderr
    assert "bad.jpg: could not be measured" in " ".join(run("show", study).stdout.split())
    (photos / "bad.jpg").unlink()
    assert run("remeasure", study, "bad.jpg").exit_code == 1, "asked for by name"


def test_wrong_references_are_told_before_anything_is_kept(run, added):
    done = run("remeasure", added, "--reference", "green=quinin")
    assert done.exit_code == 2
    assert "--reference quinin: is not known" in " ".join(done.stderr.split())
    with open_study(added) as reading:
        assert all(not row.told["references"] for row in reading.settings())
        assert reading.overview().awaited == 0
    assert run("remeasure", added).exit_code == 0


def test_show_tells_a_study_file_that_is_wrong_and_what_is_not_there_yet(run, study):
    assert "No edits yet." in run("show", study, "--edits").stdout
    empty = run("show", study)
    assert empty.exit_code == 0
    assert "No photographs yet; add some with: glowkin study add" in empty.stdout
    (study / "study.toml").write_text("contrils = []\n[camera]\nfile = 'no.json'\n", "utf-8")
    wrong = run("show", study)
    assert wrong.exit_code == 1
    assert "contrils: there is no such key; nearest: controls" in wrong.stderr
    (study / "study.toml").write_text("[camera]\nfile = 'no.json'\n", "utf-8")
    (error,) = json.loads(run("show", study, "--json").stdout)["errors"]
    assert error["path"] == "study.toml"
    assert "camera.file: " in error["message"]


def test_a_touched_photograph_is_the_same(run, added, photos):
    (photos / "09.jpg").touch()
    assert run("show", added).exit_code == 0


def test_a_bad_photograph_costs_the_others_nothing(run, study, photos):
    (photos / "bad.jpg").write_bytes(b"\xff\xd8\xff\xe0nothing")
    done = run("add", study, photos, photos / "missing.jpg")
    assert done.exit_code == 1
    assert done.stderr.count("Error: ") == 2
    assert "missing.jpg: no such file" in done.stderr
    assert "3 measured, 1 that could not be" in done.stdout
    said = " ".join(run("show", study).stdout.split())
    assert "bad.jpg: could not be measured" in said
    told = said[said.index("bad.jpg: could not be measured") :]
    assert "measured: bad.jpg" not in told
    assert "bad.jpg --leave-out WHY" in told
    assert run("add", study).exit_code == 1, "it is tried again"
    assert run("edit", study, photos / "bad.jpg", "--leave-out", "no picture").exit_code == 0
    assert run("add", study).exit_code == 0


def test_names_are_given_edited_and_undone(run, study, photos):
    assert run("add", study, photos / "09.jpg", "--names", "a,b,c").exit_code == 0
    assert names(study, "09.jpg") == ["a", "b", "c"]
    assert run("edit", study, photos / "09.jpg", "--rename", "a=red", "--note", "first").exit_code == 0
    assert names(study, "09.jpg") == ["red", "b", "c"]
    assert run("remeasure", study).exit_code == 0
    assert names(study, "09.jpg") == ["red", "b", "c"], "an edit outlives a new measurement"
    undone = run("undo", study)
    assert "Undone: ../shots/09.jpg: a renamed red, note 'first'" in undone.stderr
    assert names(study, "09.jpg") == ["a", "b", "c"]
    with open_study(study) as reading:
        assert reading.find("09.jpg").note == ""
        assert [bool(e.undone_at) for e in reading.edits()] == [True]
    assert run("undo", study).exit_code == 2


def test_outlines_are_edited_measured_and_undone(run, added, tmp_path):
    written = tmp_path / "o.geojson"
    assert run("show", added, "09.jpg", "--outlines", written).exit_code == 0
    outlines = json.loads(written.read_text("utf-8"))
    samples = [f for f in outlines["features"] if "name" in f["properties"]]
    written.write_text(json.dumps({**outlines, "features": samples[:2]}), "utf-8")
    assert run("edit", added, "09.jpg", "--outlines", written).exit_code == 0
    assert names(added, "09.jpg") == ["S1", "S2"]
    with open_study(added) as reading:
        first = reading.find("09.jpg").measurement_id
    assert run("undo", added).exit_code == 0
    assert names(added, "09.jpg") == ["S1", "S2", "S3"]
    with open_study(added) as reading:
        row = reading.find("09.jpg")
        assert row.measurement_id != first
        assert len(reading.measurements_of(row.id)) == 2, (
            "the earlier result counts again, nothing is measured"
        )


def test_a_photograph_named_twice_counts_once(run, added, photos):
    twice = ("09.jpg", photos / "09.jpg")
    for command in (("edit", added, *twice, "--note", "x"), ("compare", added, *twice)):
        done = run(*command)
        assert done.exit_code == 0, done.output
    with open_study(added) as reading:
        assert [e.words for e in reading.edits()] == ["../shots/09.jpg: note 'x'"]
        assert [c.photographs for c in reading.conclusions()] == [1]


def test_left_out_photographs_count_nowhere(run, added):
    assert run("edit", added, "09.jpg", "--leave-out", "lamp was warming up").exit_code == 0
    told = document(run("show", added, "--json"))
    assert (told["study"]["photographs"], told["study"]["left_out"]) == (2, 1)
    assert {s["photographs"] for s in told["samples"]} == {2}
    assert "lamp was warming up" in run("show", added).stdout
    assert "take it in again with" in run("add", added, added.parent / "shots" / "09.jpg").stderr
    assert run("edit", added, "09.jpg", "--take-in").exit_code == 0
    assert document(run("show", added, "--json"))["study"]["samples"] == 9


def test_remeasure_changes_what_is_told_and_keeps_the_rest(run, study, photos, tmp_path):
    assert run("add", study, photos / "09.jpg", "--white-point", "D65").exit_code == 0
    assert run("remeasure", study, "--observer", "10").exit_code == 0
    photo = document(run("show", study, "09.jpg", "--json"))["photos"][0]
    assert (photo["white_point"], photo["observer"]) == ("D65", 10)
    with open_study(study) as reading:
        first, second = reading.measurements_of(reading.find("09.jpg").id)
        assert (first.current, second.current) == (False, True)
        assert reading.record(first.id).observer == 2, "the old result is kept"


def test_frames_and_files_are_kept_by_content(run, study, photos, tmp_path):
    green = tmp_path / "green.csv"
    rows = "".join(f"{nm},{math.exp(-0.5 * ((nm - 520) / 22) ** 2):.5f}\n" for nm in range(400, 701, 2))
    green.write_text("wavelength_nm,intensity\n" + rows, "utf-8")
    dark = photos / "dark.jpg"
    Image.new("RGB", (450, 300)).save(dark)
    options = ("--lamp-off", dark, "--reference", f"S3={green}")
    done = run("add", study, photos / "09.jpg", *options)
    assert done.exit_code == 0, done.output
    green.unlink()
    assert run("remeasure", study).exit_code == 0, "the ledger holds the spectrum"
    with open_study(study) as reading:
        told = reading.settings_told(reading.settings()[0].id)
        ((name, glow),) = told["references"]
        assert (name, glow["name"]) == ("S3", "green.csv")
        assert reading.file(glow["sha256"])[1].startswith(b"wavelength_nm")
        record = reading.record(reading.find("09.jpg").measurement_id)
        assert [(f.kind, f.path) for f in record.frames] == [("lamp-off", "../shots/dark.jpg")]
    dark.rename(photos / "moved.jpg")
    gone = run("remeasure", study)
    assert gone.exit_code == 1
    assert "../shots/dark.jpg: this frame beside the photographs is no longer there" in gone.stderr
    assert run("remeasure", study, "--lamp-off", photos / "moved.jpg").exit_code == 0, "found by content"
    (photos / "moved.jpg").unlink()
    assert run("remeasure", study).exit_code == 1
    assert run("remeasure", study, "--without", "lamp-off").exit_code == 0


def test_a_copied_photograph_that_was_edited_where_it_came_from_is_noticed(run, study, photos):
    shot, other = photos / "09.jpg", photos / "10.jpg"
    assert run("add", study, shot, "--copy").exit_code == 0
    with Image.open(shot) as picture:
        exif = picture.getexif()
        picture.crop((0, 0, 440, 300)).save(shot, exif=exif, quality=95)
    for how in ((), ("--copy",)):
        told = run("add", study, shot, *how)
        assert told.exit_code == 1
        assert "09.jpg: is no longer what was added on" in told.stderr
    assert run("show", study).exit_code == 0, "the copy is as it was"
    shutil.copy(other, shot)
    assert run("add", study, shot, "--copy").exit_code == 0, "taken at another time: a card that begins anew"
    assert sorted(p.suffix for p in (study / "photos").iterdir()) == [".jpg", ".jpg"]
    with open_study(study) as reading:
        assert len(reading.photographs()) == 2
    with Image.open(shot) as picture:
        exif = picture.getexif()
        picture.crop((0, 0, 430, 300)).save(shot, exif=exif, quality=95)
    assert run("add", study, shot, "--copy", "--replace").exit_code == 0
    with open_study(study) as reading:
        assert (len(reading.photographs()), len(reading.left_out())) == (2, 1)


def test_the_begin_of_a_hash_that_several_have_is_told_with_these(run, study, photos):
    assert run("add", study, photos / "09.jpg", photos / "10.jpg").exit_code == 0
    with contextlib.closing(sqlite3.connect(study / "ledger.sqlite")) as ledger, ledger:
        for number, last in ((1, "1"), (2, "2")):
            ledger.execute("UPDATE pictures SET sha256 = ? WHERE id = ?", (f"{'ab' * 31}a{last}", number))
    said = run("show", study, "ababab")
    assert said.exit_code == 2
    assert "ababab: the hashes of several photographs begin so: ../shots/09.jpg (" in said.stderr
    assert "give more of its digits" in said.stderr
    assert run("show", study, f"{'ab' * 31}a2", "--json").exit_code == 0


def test_samples_of_known_glow_in_the_study_file_count_where_they_are(run, study, photos, tmp_path):
    """The same figures to the last digit as with --reference, by which tests of the reference glow stand."""
    green = study / "green.csv"
    rows = "".join(f"{nm},{math.exp(-0.5 * ((nm - 520) / 22) ** 2):.5f}\n" for nm in range(400, 701, 2))
    green.write_text("wavelength_nm,intensity\n" + rows, "utf-8")
    names = "".join(f'[[sample]]\nname = "{n}"\n' for n in ("red-1", "red-2"))
    told = f'{names}[[sample]]\nname = "green"\nreference = "green.csv"\n'
    (study / "study.toml").write_text(told, "utf-8")
    done = run("add", study, photos / "09.jpg")
    assert done.exit_code == 0, done.output
    assert run("add", study, photos / "10.jpg", "--names", "a,b,c").exit_code == 0, "no such sample there"
    again = run("add", study, photos / "09.jpg")
    assert "other options" not in again.stderr
    by_option = tmp_path / "by-option"
    run("new", by_option)
    run("add", by_option, photos / "09.jpg", "--names", "red-1,red-2,green", "--reference", f"green={green}")
    with open_study(study) as one, open_study(by_option) as other:
        a, b = (r.record(r.find("09.jpg").measurement_id) for r in (one, other))
        assert a.references
        assert (a.references, a.samples, a.flags) == (b.references, b.samples, b.flags)
        assert not one.record(one.find("10.jpg").measurement_id).references
    assert run("edit", study, "10.jpg", "--rename", "c=green").exit_code == 0
    with open_study(study) as reading:
        row = reading.find("10.jpg")
        assert len(reading.measurements_of(row.id)) == 2, "the reference is in it now: measured anew"
        assert reading.record(row.measurement_id).references
    assert run("remeasure", study, "--without", "reference").exit_code == 0
    with open_study(study) as reading:
        assert not any(r.references for r in reading.measured())


def test_all_files_that_the_study_file_names_are_looked_into_at_once(run, study, photos):
    row = {
        "schema": "glowkin.camera.v1",
        "basis": "chart",
        "make": "",
        "wavelength_nm": [500, 400],
        "loadings": [],
    }
    (study / "cam.json").write_text(
        json.dumps({**row, "mean": {"r": [1], "g": [0, 0], "b": [1, 1]}}), "utf-8"
    )
    (study / "study.toml").write_text(
        '[camera]\nfile = "cam.json"\n[shot]\nfilter = "gg420.csv"\n'
        '[[sample]]\nname = "red"\n[[sample]]\nname = "green"\nreference = "grene.csv"\n', "utf-8"
    )  # fmt: skip
    said = (
        "study.toml: 3 things to correct:",
        "camera.file: ", "model: is missing; wavelength_nm: must rise from each value to the next; "
        "wavelength_nm: must reach from 430 to 650; "
        "mean.r: must hold as many values as there are wavelengths; mean.g: is zero at all wavelengths",
        f"shot.filter: {study / 'gg420.csv'}: there is no such file",
        "sample[2].reference: grene.csv: there is no such file",
    )  # fmt: skip
    track = ["track", str(photos), "--study-file", str(study / "study.toml")]
    for done in (run("add", study, photos), CliRunner().invoke(main, track)):
        assert done.exit_code == 1
        for words in said:
            assert words in done.stderr, words
    with open_study(study) as reading:
        assert reading.overview().photographs == 0
    assert run("edit", study, "09.jpg", "--note", "x").exit_code == 2, "what measures nothing needs no camera"


def test_frames_are_copied_with_their_photographs(run, study, photos):
    dark = photos / "dark.jpg"
    Image.new("RGB", (450, 300)).save(dark)
    assert run("add", study, photos / "09.jpg", "--lamp-off", dark, "--copy").exit_code == 0
    shutil.rmtree(photos)
    assert run("remeasure", study).exit_code == 0
    assert run("show", study).exit_code == 0


def test_other_options_for_what_is_in_the_study_are_told(run, added, photos):
    done = run("add", added, photos / "09.jpg", "--white-point", "D65")
    assert done.exit_code == 0
    assert "1 of these is measured with other options than given here" in done.stderr


def test_names_of_what_is_in_the_study_stay_and_that_is_told(run, added, photos):
    done = run("add", added, photos / "09.jpg", "--names", "a,b,c")
    assert done.exit_code == 0
    assert "09.jpg: its names stay; change them with: glowkin study edit" in done.stderr
    assert names(added, "09.jpg") == ["S1", "S2", "S3"]
    again = run("add", added, photos / "09.jpg", "--names", "S1,S2,S3")
    assert "its names stay" not in again.stderr


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (("show", "{nowhere}"), 1, "there is no such folder; begin a study with: glowkin study new"),
        (("add", "{photos}", "{photos}/09.jpg"), 1, "holds no study"),
        (("show", "{study}", "none.jpg"), 2, "none.jpg: is not in this study"),
        (("show", "{study}", "--sample", "S9"), 2, "no such sample in the study; there are S1, S2, S3"),
        (("edit", "{study}", "09.jpg"), 2, "nothing to edit; say what"),
        (("edit", "{study}", "09.jpg", "--rename", "S9=x"), 2, "has no sample S9; there are S1, S2, S3"),
        (("edit", "{study}", "09.jpg", "--rename", "S1"), 2, "write it as OLD=NEW"),
        (("edit", "{study}", "09.jpg", "--rename", "S1=S2"), 2, "two samples would have the same name"),
        (("edit", "{study}", "09.jpg", "--names", "a,b"), 2, "2 names were given, it has 3 samples"),
        (("add", "{study}", "--camera", "c.json"), 2, "--camera: of which PHOTO?"),
        (("edit", "{study}", "09.jpg", "--leave-out", "x", "--take-in"), 2, "contradict each other"),
        (("remeasure", "{study}", "--flat", "x.jpg", "--without", "flat"), 2, "contradict each other"),
        (("show", "{study}", "--conclusion", str(1 << 64)), 2, "holds no conclusion number"),
        (("undo", "{study}"), 2, "holds no edit that could be undone"),
        (("new", "{study}"), 2, "is a study already"),
        (("add", "{study}", "{photos}", "--camera", "none.json"), 1, "none.json"),
        (("remeasure", "{study}", "--white-point", "blue"), 2, "--white-point"),
        (("remeasure", "{study}", "none.jpg"), 2, "is not in this study"),
        (("show", "{study}", "--outlines", "{photos}/o.json"), 2, "name the one PHOTO"),
        (("show", "{study}", "09.jpg", "--outlines", "{photos}/10.jpg"), 2, "10.jpg: is there already"),
        (("export", "{study}", "--zip", "{photos}/10.jpg"), 2, "10.jpg: is there already and is no zip"),
        (("export", "{study}", "--zip", "{study}/study.toml"), 2, "is a place of the study's own files"),
        (("export", "{study}", "--zip", "{study}/photos/new.zip"), 2, "is a place of the study's own files"),
        (("export", "{study}", "--zip", "{study}/ledger.sqlite"), 2, "is a place of the study's own files"),
        (("open", "{photos}", "{nowhere}"), 1, "is a folder; name the zip"),
    ],
)  # fmt: skip
def test_wrong_input_is_told_in_a_sentence(run, added, photos, arguments, status, said):
    before = document(run("show", added, "--json"))["study"]["photographs"]
    places = {"nowhere": photos / "nowhere", "photos": photos, "study": added}
    done = run(*(a.format(**places) for a in arguments))
    assert done.exit_code == status, done.output
    assert said in " ".join(done.stderr.split())
    assert "Traceback" not in done.output
    assert document(run("show", added, "--json"))["study"]["photographs"] == before


@pytest.mark.parametrize(
    ("names", "said"), [("a,a,b", "a is there twice"), ("a,b\nx,c", "holds a line break")]
)
def test_names_that_no_photograph_can_have_are_refused_before_it_is_taken_up(run, study, photos, names, said):
    done = run("add", study, photos, "--names", names)
    assert done.exit_code == 2
    assert said in done.stderr
    with open_study(study) as reading:
        assert reading.overview().photographs == 0


# Spaces that do not break, thin and narrow, as word processors set them between a number and its unit.
@pytest.mark.parametrize("space", ["\u00a0", "\u2009", "\u202f"])
def test_a_name_may_hold_any_space_of_unicode(run, study, photos, space):
    name = f"25{space}°C"
    (study / "study.toml").write_text(
        "".join(f'[[sample]]\nname = "{n}"\n' for n in ("a", "b", name)), "utf-8"
    )
    assert run("add", study, photos / "09.jpg").exit_code == 0
    done = run("edit", study, "09.jpg", "--note", "hello")
    assert done.exit_code == 0, done.output
    assert run("edit", study, "09.jpg", "--rename", f"a=x{space}y").exit_code == 0
    assert run("edit", study, "09.jpg", "--names", f"{name},b,c").exit_code == 0
    assert names(study, "09.jpg") == [name, "b", "c"]


@pytest.mark.parametrize(
    ("edit", "said"),
    [
        (("--rename", "S1=x\ny"), r"--rename S1: 'x\ny' holds a line break"),
        (("--names", "a,b\u2028x,c"), r"--names: 'b\u2028x' holds a line break"),
    ],
)
def test_a_name_with_a_line_break_is_told_by_the_option_that_gave_it(run, added, edit, said):
    done = run("edit", added, "09.jpg", *edit)
    assert done.exit_code == 2
    assert said in " ".join(done.stderr.split())
    assert names(added, "09.jpg") == ["S1", "S2", "S3"]


def test_a_folder_called_like_the_study_in_messages_keeps_its_name(run, tmp_path, photos):
    folder = tmp_path / "dry ing"
    run("new", folder)
    inside = photos.rename(tmp_path / "MY STUDY 2")
    done = run("add", folder, inside / "09.jpg", "--names", "a,b")
    assert "../MY STUDY 2/09.jpg: 2 names were given" in done.stderr
    (inside / "09.jpg").write_bytes((inside / "10.jpg").read_bytes())
    done = run("add", folder)
    assert f"in its place: glowkin study add '{folder}' '../MY STUDY 2/09.jpg' --replace" in done.stderr


def test_what_could_not_be_measured_by_its_names_is_tried_again_with_others(run, study, photos):
    done = run("add", study, photos / "09.jpg", "--names", "a,b")
    assert done.exit_code == 1
    assert "2 names were given, 3 samples were found" in done.stderr
    assert run("edit", study, "09.jpg", "--names", "a,b,c").exit_code == 0
    with open_study(study) as reading:
        assert [row.name for row in reading.names()] == ["a", "b", "c"]
    assert run("undo", study).exit_code == 0
    with open_study(study) as reading:
        assert reading.overview().measured == 1, "a measurement that is whole stands"


def test_commands_in_messages_can_be_typed_as_they_stand(run, tmp_path, photos):
    folder = tmp_path / "dry ing"
    assert f"glowkin study add '{folder}' PHOTO" in run("new", folder, "--title", "one\ntwo").stdout
    with open_study(folder) as reading:
        assert reading.overview().title == "one two"
    assert f"glowkin study add '{folder}'" in run("new", folder).stderr
    run("add", folder, photos / "09.jpg")
    (photos / "09.jpg").rename(photos / "moved.jpg")
    done = run("remeasure", folder)
    assert f"09.jpg: is no longer there; name its new place: glowkin study add '{folder}' NEW" in done.stderr
