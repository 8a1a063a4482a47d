"""Samples of a study beside known forms: kept with the forms, told in the report, handed on in a zip.

Forms are published chromaticities of ITU-R BT.709, and colours measured in the study itself.
"""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner

import glowkin
from glowkin.base.errors import CannotReadError, WrongUseError
from glowkin.cli import main
from glowkin.study.reading import open_study

NAMES = "left,right,green"
ASSUMED = ("--variation", "0.005", "--prior-none", "0.05", "--prior-mixtures", "0.02")


def glowkin_does(*arguments):
    done = CliRunner().invoke(main, [*map(str, arguments)])
    assert done.exit_code == 0, done.output
    return done


@pytest.fixture(scope="module")
def kept(tmp_path_factory, rendered):
    """A study of three photographs and a file of two forms: one from its first, one published."""
    folder = tmp_path_factory.mktemp("kept")
    photos = Path(shutil.copytree(rendered, folder / "shots"))
    forms = folder / "forms.json"
    form = ("--form", "green=green", "--forms", forms)
    glowkin_does("measure", photos / "09.jpg", "--names", NAMES, *form)
    glowkin_does("spectrum", "--published", "0.150,0.060", "--source", "ITU-R BT.709", "--form", "blue",
                 "--forms", forms)  # fmt: skip
    glowkin_does("study", "new", folder / "study", "--title", "Reds")
    glowkin_does("study", "add", folder / "study", photos, "--names", NAMES)
    return folder


@pytest.fixture
def matched(kept, tmp_path):
    folder = Path(shutil.copytree(kept, tmp_path / "own"))
    forms = ("--forms", folder / "forms.json", *ASSUMED)
    done = glowkin_does("study", "match", folder / "study", "10.jpg", *forms, "--json")
    return folder, json.loads(done.stdout)


def page_of(study):
    glowkin_does("report", study)
    return (study / "report.html").read_text("utf-8")


def state(study):
    with open_study(study) as reading:
        return [(c.kind, c.photographs, c.gone) for c in reading.conclusions()]


def test_it_says_what_match_says_and_is_kept_with_its_grounds_and_forms(matched, run):
    folder, document = matched
    study, forms = folder / "study", folder / "forms.json"
    plainly = glowkin_does(
        "match", folder / "shots/10.jpg", "--names", NAMES, "--forms", forms, *ASSUMED, "--json"
    )
    for ours, theirs in zip(document["samples"], json.loads(plainly.stdout)["samples"], strict=True):
        assert {**ours, "path": ""} == {**theirs, "path": ""}
    assert document["forms_file"] == "forms.json"
    again = run("show", study, "--conclusion", "1", "--json")
    assert json.loads(again.stdout) == document
    with open_study(study) as reading:
        assert reading.file(document["forms_sha256"]) == ("forms.json", forms.read_bytes())
        assert reading.told_of(1)["variation"] == 0.005
        assert reading.grounds_of(1) == [reading.find("10.jpg").measurement_id]
    assert "a colour does not prove identity" in " ".join(run("show", study).stdout.split())
    assert "not proof of identity" in " ".join(run("show", study, "--conclusion", "1").stdout.split())


def test_the_forms_kept_are_taken_again_where_their_file_is_gone(matched):
    folder, document = matched
    (folder / "forms.json").unlink()
    study = glowkin.Study(folder / "study")
    found = study.match(["10.jpg"], variation=0.005, prior_of_none=0.05, prior_of_mixtures=0.02)
    assert found.forms_sha256 == document["forms_sha256"]
    assert [s.sentence for s in found.samples] == [s["sentence"] for s in document["samples"]]
    assert len(study.match().samples) == 9
    with open_study(study.folder) as reading:
        held = sqlite3.connect(study.folder / "ledger.sqlite")
        assert held.execute("SELECT count(*) FROM files").fetchone() == (1,)
        held.close()
        assert [c.photographs for c in reading.conclusions()] == [3, 1, 1]


def test_it_falls_when_its_grounds_go(matched, run):
    study = matched[0] / "study"
    assert state(study) == [("match", 1, 0)]
    assert run("edit", study, "10.jpg", "--leave-out", "shaken").exit_code == 0
    assert state(study) == [("match", 1, 1)]
    assert "Known forms" not in page_of(study)
    assert run("undo", study).exit_code == 0
    assert "Known forms" in page_of(study)


def test_the_report_has_the_latest_match_of_each_sample_and_the_diagram(matched, run):
    folder, document = matched
    study = folder / "study"
    page = page_of(study)
    section = page[page.index('<h2 id="forms">') : page.index('<h2 id="samples">')]
    for sample in document["samples"]:
        assert sample["sentence"] in section
    assert "not proof of identity" in section
    assert "batches of a form differ by 0.005" in section
    assert section.count('aria-label="Samples beside known forms.') == 1
    assert "beside known forms by Bayes" in page
    run("match", study, "10.jpg", "--variation", "0.02")
    run("match", study, "11.jpg")
    page = page_of(study)
    assert "differ by 0.005" not in page, "the later word on these samples counts"
    assert page.count("<caption>Samples beside known forms (forms.json)") == 2
    assert page == page_of(study)
    assert str(folder) not in page


def test_a_report_of_many_matches_shows_the_last_of_each_sample(matched, run, monkeypatch):
    study = matched[0] / "study"
    assert run("match", study).exit_code == 0
    monkeypatch.setattr("glowkin.telling.tables.MOST_ROWS", 5)
    page = page_of(study)
    assert "The last photograph of each sample is shown." in page
    rows = page[page.index("<caption>Samples beside known forms") :].split("</table>")[0]
    assert rows.count("<tr>") == 1 + 3
    assert re.search(r"9 colours beside known forms: .* A colour does not prove identity", page)


def test_it_goes_along_in_the_zip_and_is_read_there(matched, run, tmp_path):
    folder, document = matched
    study, there = folder / "study", tmp_path / "there"
    assert run("export", study, "--zip", tmp_path / "a.zip").exit_code == 0
    assert run("open", tmp_path / "a.zip", there).exit_code == 0
    brought = json.loads(run("show", there, "--conclusion", "1", "--json").stdout)
    assert [{**s, "path": "10.jpg"} for s in brought["samples"]] == [
        {**s, "path": "10.jpg"} for s in document["samples"]
    ]
    assert {s["path"] for s in brought["samples"]} == {"photos/10.jpg"}
    assert "Known forms" in page_of(there)
    done = run("match", there, "11.jpg")
    assert done.exit_code == 0, done.output
    assert state(there) == [("match", 1, 0), ("match", 1, 0)]
    assert run("export", there, "--out", tmp_path / "out").exit_code == 0
    assert (tmp_path / "out/match-1-forms.json").read_bytes() == (folder / "forms.json").read_bytes()
    assert json.loads((tmp_path / "out/match-2.json").read_text("utf-8"))["schema"] == "glowkin.match.v1"
    assert (tmp_path / "out/figures/match-1976.png").is_file()


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        ((), 2, "holds no match yet, so no known forms; name their file with --forms"),
        (("--forms", "nowhere.json"), 1, "there is no such file; check the name"),
        (("--forms", "ledger"), 1, "is no forms file; write one with glowkin spectrum --form"),
        (("--forms", "FORMS", "--weight", "gren=2"), 2, "has no such form; there are green, blue"),
        (("--forms", "FORMS", "--prior-none", "0.9", "--prior-mixtures", "0.2"), 2, "something must be left"),
        (("12.jpg", "--forms", "FORMS"), 2, "is not in this study"),
    ],
)
def test_what_cannot_be_matched_is_told_in_a_sentence_and_not_kept(kept, run, arguments, status, said):
    own = {"FORMS": kept / "forms.json", "ledger": kept / "study/ledger.sqlite"}
    done = run("match", kept / "study", *(own.get(a, a) for a in arguments))
    assert done.exit_code == status, done.output
    assert said in " ".join(done.stderr.split())
    assert "Traceback" not in done.output
    assert state(kept / "study") == []


def test_python_tells_the_same_errors(kept):
    study = glowkin.Study(kept / "study")
    with pytest.raises(WrongUseError, match="holds no match yet"):
        study.match()
    with pytest.raises(CannotReadError, match="there is no such file"):
        study.match(forms=kept / "none.json")
