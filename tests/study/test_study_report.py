"""The report on a study: everything the study holds, nothing it does not, the same bytes each time."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from glowkin.base.study import StudyFile
from glowkin.cli import main
from glowkin.study.reading import open_study
from glowkin.study.reporting import _not_kept_words, _seen, gathered

PREPARATION = Path(__file__).parents[2] / "sample_images" / "preparation.toml"
STUDY = """
title = "Three reds <b>"
author = "A. Chemist"
controls = ["green"]

[shot]
lamp = "torch"
temperature_c = 22
room_light = "room.jpg"

[[lamp]]
name = "torch"
peak_nm = 365

[[batch]]
name = "A"
preparation = "preparation.toml"

[[sample]]
name = "left"
batch = "A"

[[sample]]
name = "right"

[[sample]]
name = "green"
"""
ALWAYS = [
    "Summary", "Samples", "Quality of the shots", "What was noticed", "For the supporting information",
    "Integrity of the pictures", "Uncertainty", "Method", "Settings, files and versions", "Safety",
]  # fmt: skip


def reported(study: Path) -> str:
    done = CliRunner().invoke(main, ["report", str(study)])
    assert done.exit_code == 0, done.output
    assert done.stdout.strip() == str(study / "report.html")
    return (study / "report.html").read_text("utf-8")


def headings(page: str) -> list[str]:
    return re.findall(r"<h2[^>]*>(.*?)</h2>", page)


@pytest.fixture
def filled(run, study, photos):
    """Three photographs of an arrangement, measured."""
    assert run("add", study, photos, "--names", "left,right,green").exit_code == 0
    return study


def test_a_study_of_one_photograph_has_no_empty_heading(run, study, photos):
    run("add", study, photos / "09.jpg")
    page = reported(study)
    assert headings(page) == [*ALWAYS[:1], "Comparisons", *ALWAYS[1:]]
    assert not re.search(r"<h[23][^>]*>[^<]*</h[23]>\s*</section>", page)
    assert "<caption></caption>" not in page


def test_everything_the_study_holds_is_in_it(run, filled, photos):
    shutil.copy(PREPARATION, filled / "preparation.toml")
    shutil.copy(photos / "10.jpg", filled / "room.jpg")
    (filled / "study.toml").write_text(STUDY, "utf-8")
    run("edit", filled, "09.jpg", "--note", "lamp still warm")
    page = reported(filled)
    wanted = {*ALWAYS, "Change over time", "Samples, storages and lamps", "Preparation and yield",
              "Notes, edits and what was left out"}  # fmt: skip
    assert wanted == set(headings(page))
    assert "Three reds &lt;b&gt;" in page
    assert "<b>" not in page
    for words in ("A. Chemist", "peak 365 nm", "83.0 (82.5 to 83.5) %", "Room light, not measured: room.jpg",
                  "lamp still warm", "To paste into a notebook", "of 3 photographs are good",
                  "have the same exposure"):  # fmt: skip
        assert words in page, words


def test_the_same_study_gives_the_same_bytes(filled):
    assert reported(filled) == reported(filled)


def test_it_prints_on_the_paper_that_is_there(filled):
    style = re.search(r"@page \{(.*?)\}", reported(filled))
    assert style
    assert "margin" in style[1]
    assert "size" not in style[1]


def test_it_tells_nothing_of_the_machine_and_loads_nothing(filled):
    page = reported(filled)
    assert str(filled.parent) not in page
    assert str(Path.home()) not in page
    assert not re.search(r"""(?:src|href|url\()\s*=?\s*["'(]?\s*(?:https?:)?//""", page)
    assert "<script" not in page


def test_files_that_are_missing_are_told_and_wrong_ones_refused(filled):
    (filled / "study.toml").write_text(STUDY, "utf-8")
    page = reported(filled)
    assert "Named in the study file, and not there" in page
    assert "Preparation and yield" not in page
    assert "Room light, not measured" not in page
    (filled / "preparation.toml").write_text("[[reagent]]\nname = 3", "utf-8")
    done = CliRunner().invoke(main, ["report", str(filled)])
    assert done.exit_code == 1
    assert "preparation.toml" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("suffix", ["heic", "dng"])
def test_room_light_may_be_of_any_kind_that_is_measured(filled, suffix):
    """The HEIC and DNG files of other tests."""
    tests = Path(__file__).parents[1]
    source = {"heic": tests / "light" / "data" / "8bit.heic", "dng": PREPARATION.parent / "side_by_side.dng"}
    shutil.copy(source[suffix], filled / f"room.{suffix}")
    (filled / "study.toml").write_text(STUDY.replace("room.jpg", f"room.{suffix}"), "utf-8")
    assert f"Room light, not measured: room.{suffix}" in reported(filled)


def test_room_light_may_be_without_colour(filled, photos):
    with Image.open(photos / "10.jpg") as shot:
        sixteen = Image.fromarray(np.asarray(shot.convert("L")).astype(np.uint16) * 257)
        for picture in (shot.convert("L"), shot.convert("P"), sixteen):
            picture.save(filled / "room.png")
            pixels = _seen(filled / "room.png")
            assert (pixels.dtype, pixels.shape[2]) == (np.uint8, 3)
            assert pixels.max() > 40
    (filled / "study.toml").write_text(STUDY.replace("room.jpg", "room.png"), "utf-8")
    with open_study(filled) as reading:
        told = gathered(reading, "test").study
    assert not [why for name, why in told.missing if name == "room.png"]


def test_room_light_that_cannot_be_read_is_listed(filled):
    (filled / "study.toml").write_text(STUDY, "utf-8")
    (filled / "room.jpg").write_bytes(b"%PDF-1.7")
    page = reported(filled)
    assert "Room light, not measured" not in page
    assert "room_light cannot be read: a PDF document" in page
    assert str(filled) not in page


def test_comparisons_that_are_not_shown_are_counted(run, study, photos, monkeypatch):
    """Three samples make three pairs; two fit."""
    monkeypatch.setattr("glowkin.study.reporting.MOST_PAIRS", 2)
    monkeypatch.setattr("glowkin.telling.wording.MOST_PAIRS", 1)
    run("add", study, photos / "09.jpg")
    page = reported(study)
    assert "3 comparisons: " in page
    assert "the table has the first 2 of 3." in page
    assert "The first 2 of 3; glowkin study compare keeps all of them" in page


def test_what_the_study_keeps_comes_before_what_is_reckoned_for_the_page(run, filled):
    reckoned = reported(filled)
    assert "that the study keeps" not in reckoned
    assert "This course was worked out for this page. The command glowkin study track keeps it" in reckoned
    assert "new_form" not in reckoned
    (filled / "study.toml").write_text('new_form = "11.jpg:green"\n', "utf-8")
    with open_study(filled) as reading:
        note = gathered(reading, "test").study.course_note
    assert note.endswith("and takes new_form of the study file, which were not used here.")
    (filled / "study.toml").unlink()
    run("compare", filled, "09.jpg", "--pair", "left", "right")
    run("track", filled)
    page = reported(filled)
    assert "Courses, comparisons and matches that the study keeps" in page
    assert "worked out for this page" not in page
    assert {"Change over time", "Comparisons"} <= set(headings(page))
    assert "left and right" in page
    assert "left and green" not in page
    run("edit", filled, "09.jpg", "--leave-out", "shaken")
    page = reported(filled)
    assert page.count("measured anew or left out since; not in this report") == 2
    assert "1 photographs of the study were left out" not in page


def test_a_course_that_fell_is_worked_out_as_it_was_asked_for(run, filled):
    """The options of study track: control, start, all models; three models are shown without them."""
    run("track", filled, "--control", "green", "--start", "2026-05-04T08:30", "--all-models")
    run("remeasure", filled, "10.jpg")
    with open_study(filled) as reading:
        parts = gathered(reading, "test")
    assert (parts.course.control, parts.course.start) == ("green", "2026-05-04T08:30")
    assert parts.course.models_shown > 3
    assert "for this page, as conclusion 1 was asked for, which no longer stands." in parts.study.course_note
    run("track", filled, "--control", "left")
    with open_study(filled) as reading:
        parts = gathered(reading, "test")
    assert (parts.course.control, parts.course.models_shown, parts.study.course_note) == ("left", 3, "")


def test_a_course_that_fell_is_worked_out_of_its_own_photographs(run, filled, photos):
    run("track", filled, photos / "09.jpg", photos / "11.jpg", "--control", "green")
    run("remeasure", filled, "11.jpg")
    with open_study(filled) as reading:
        parts = gathered(reading, "test")
        note = parts.study.course_note
    assert {point.path for s in parts.course.samples for point in s.points} == {
        f"../{photos.name}/{hour}.jpg" for hour in ("09", "11")
    }
    assert "as conclusion 1 was asked for, which no longer stands. " in note
    assert "1 more photograph shows these samples and is not in this course; glowkin study track" in note
    run("edit", filled, "11.jpg", "--leave-out", "shaken")
    with open_study(filled) as reading:
        assert gathered(reading, "test").course is None


def test_forms_that_a_course_had_and_its_page_lacks_are_named():
    """Those of the command, which a study file need not have."""
    asked = {"old_form": "09.dng:S1", "new_form": "", "control": "S2"}
    words = _not_kept_words(StudyFile(), asked, 1)
    assert "as conclusion 1 was asked for, which no longer stands, but without its old_form. The" in words
    assert "without" not in _not_kept_words(StudyFile(), {}, None)
    both = _not_kept_words(StudyFile(new_form="f.json:dry"), {**asked, "new_form": "g.json:dry"}, 2)
    assert "but without its old_form and new_form. " in both
    assert both.endswith("and takes new_form of the study file, which were not used here.")


def test_photographs_that_came_since_a_course_are_counted(run, study, photos, tmp_path):
    (photos / "11.jpg").rename(tmp_path / "late.jpg")
    run("add", study, photos)
    run("track", study)
    run("add", study, tmp_path / "late.jpg")
    with open_study(study) as reading:
        note = gathered(reading, "test").study.course_note
    assert note == (
        "1 more photograph shows these samples and is not in this course; glowkin study track makes it anew."
    )


def test_what_was_concluded_of_photographs_that_were_moved_since_is_in_it(run, filled, photos):
    run("track", filled)
    moved = photos.rename(photos.with_name("moved"))
    assert run("add", filled, moved).exit_code == 0
    assert "Change over time" in headings(reported(filled))
    course = json.loads(run("show", filled, "--conclusion", "1", "--json").stdout)
    paths = {point["path"] for sample in course["samples"] for point in sample["points"]}
    assert paths == {f"../moved/{hour}.jpg" for hour in ("09", "10", "11")}


def test_a_study_without_photographs_has_no_report(study):
    done = CliRunner().invoke(main, ["report", str(study)])
    assert done.exit_code == 1
    assert "nothing in it is measured yet" in done.stderr
