"""Brackets in a study: one measurement of several photographs, to the figures of measure --bracket."""

from __future__ import annotations

import contextlib
import json
import shutil
import sqlite3
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import glowkin
from glowkin.cli import main
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.stage import two_reds_and_green
from glowkin.study.reading import open_study

NAMES = ("long.dng", "short.dng", "middle.dng")
"""The shortest is not the first: it is what the study's photograph goes by."""


@pytest.fixture(scope="module")
def exposed(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("exposed")
    scene, rng = two_reds_and_green((450, 300)), np.random.default_rng(3)
    for seconds, name in zip((0.8, 0.05, 0.2), NAMES, strict=True):
        shot = photograph(scene, default_camera(), rng, Exposure(seconds))
        told = replace(shot.exposure, serial_number="SN-0815", position=(59.91, 10.75))
        write_dng(replace(shot, exposure=told), folder / name)
    return folder


@pytest.fixture
def frames(exposed, tmp_path) -> list[Path]:
    folder = Path(shutil.copytree(exposed, tmp_path / "shots"))
    return [folder / name for name in NAMES]


@pytest.fixture
def held(run, study, frames) -> Path:
    done = run("add", study, "--bracket", *frames)
    assert done.exit_code == 0, done.output
    return study


def only(study):
    with open_study(study) as reading:
        (row,) = reading.photographs()
        return row, reading.record(row.measurement_id), reading.exposures(row.id)


def test_a_bracket_is_one_measurement_with_the_figures_of_measure(held, frames):
    row, record, exposures = only(held)
    alone = glowkin.measure(frames)
    assert record.samples == alone.samples
    assert [m.sha256 for m in record.merged_from] == [m.sha256 for m in alone.merged_from]
    assert len(record.merged_from) == 3
    assert row.path == "../shots/short.dng"
    assert record.sha256 == row.sha256
    assert sorted(p.path for p in exposures) == ["../shots/long.dng", "../shots/middle.dng"]
    assert {m.path for m in record.merged_from} == {f"../shots/{name}" for name in NAMES}


def test_what_one_exposure_lacks_another_makes_up_for_in_its_check(held, frames):
    alone = json.loads(CliRunner().invoke(main, ["check", *map(str, frames), "--json"]).stdout)["checks"]
    causes = [{a["cause"] for a in check["advice"]} | set(check["also"]) for check in alone]
    assert "clipped" in causes[0]
    assert "underexposed" in causes[1]
    with open_study(held) as reading:
        (row,) = reading.photographs()
        check = reading.check(row.measurement_id)
    assert check is not None
    told = {a.cause for a in check.advice} | set(check.also)
    assert not told & {"clipped", "underexposed"}
    assert "lamp-leakage" in told & causes[0] & causes[2], "what the short one alone is too dark to show"
    assert check.headroom_stops == tuple(alone[1]["headroom_stops"])


def test_adding_it_twice_or_its_folder_is_harmless(run, held, frames):
    again = run("add", held, "--bracket", *frames[::-1])
    assert (again.exit_code, "1 of 1 was in the study already" in again.stderr) == (0, True)
    whole = run("add", held, frames[0].parent)
    assert (whole.exit_code, "3 of 3 were in the study already" in whole.stderr) == (0, True)
    assert len(only(held)[1].merged_from) == 3


def test_every_exposure_finds_it_and_is_missed(run, held, frames):
    with open_study(held) as reading:
        one = {reading.find(name).id for name in ("long.dng", "short.dng", "../shots/middle.dng")}
        assert len(one) == 1
    assert "A bracket, with ../shots/" in run("show", held, "long.dng").stdout
    moved = frames[0].with_name("moved.dng")
    frames[0].rename(moved)
    said = run("show", held)
    assert "../shots/long.dng: is no longer there" in said.stderr
    gone = run("remeasure", held)
    assert gone.exit_code == 1
    assert "../shots/long.dng: is no longer there" in gone.stderr
    found = run("add", held, moved)
    assert "../shots/long.dng: found again as ../shots/moved.dng" in found.stderr
    assert found.exit_code == 0
    assert "../shots/moved.dng" in {m.path for m in only(held)[1].merged_from}, "measured, as was asked for"


def test_it_is_measured_again_together(run, held):
    before = only(held)[1]
    assert run("remeasure", held, "--observer", "10").exit_code == 0
    row, record, exposures = only(held)
    assert record.observer == 10
    assert [m.sha256 for m in record.merged_from] == [m.sha256 for m in before.merged_from]
    assert (row.path, len(exposures)) == ("../shots/short.dng", 2)


def test_copies_of_all_exposures_are_kept(run, study, frames, tmp_path):
    assert run("add", study, "--bracket", *frames, "--copy").exit_code == 0
    shutil.rmtree(frames[0].parent)
    assert run("remeasure", study).exit_code == 0
    assert {p.name for p in (study / "photos").iterdir()} == set(NAMES)
    assert run("export", study, "--zip", tmp_path / "s.zip").exit_code == 0
    assert run("open", tmp_path / "s.zip", tmp_path / "there").exit_code == 0
    for folder, places in ((study, 3), (tmp_path / "there", 0)):
        with contextlib.closing(sqlite3.connect(folder / "ledger.sqlite")) as ledger:
            told = ledger.execute("SELECT count(*) FROM sources").fetchone()
        assert told == (places,), "where copies came from is not handed on"


def test_an_exposure_of_other_content_is_noticed_and_taken_in_its_place_when_asked(run, held, frames):
    shutil.copy(frames[1], frames[1].with_name("kept.dng"))
    rng = np.random.default_rng(9)
    write_dng(photograph(two_reds_and_green((450, 300)), default_camera(), rng, Exposure(0.1)), frames[1])
    for command in (("add", held, "--bracket", *frames), ("add", held, frames[1])):
        told = run(*command)
        assert told.exit_code == 1
        assert "with --replace" in told.stderr
    single = run("add", held, frames[1], "--replace")
    assert single.exit_code == 1
    assert "is an exposure of a bracket" in single.stderr
    done = run("add", held, "--bracket", *frames, "--replace")
    assert done.exit_code == 0, done.output
    row, record, _ = only(held)
    assert record.merged_from[0].exposure_s == pytest.approx(0.1)
    assert record.sha256 == row.sha256


def test_what_is_no_bracket_is_told(run, study, frames):
    one = run("add", study, "--bracket", frames[0])
    assert (one.exit_code, "name two or more" in one.stderr) == (2, True)
    twin = frames[0].with_name("twin.dng")
    shutil.copy(frames[0], twin)
    twice = run("add", study, "--bracket", frames[0], twin)
    assert (twice.exit_code, "two PHOTOs are the same photograph" in twice.stderr) == (2, True)
    assert run("add", study, frames[0]).exit_code == 0
    mixed = run("add", study, "--bracket", *frames)
    assert mixed.exit_code == 1
    assert "is in the study by itself" in mixed.stderr
    assert "Traceback" not in mixed.output
    missing = run("add", study, "--bracket", frames[1], frames[0].with_name("no.dng"))
    assert (missing.exit_code, "no such file" in missing.stderr) == (1, True)


def test_other_scenes_and_what_is_no_photograph_are_not_taken_up(run, study, frames):
    """They stay free to be added by themselves."""
    scene = replace(two_reds_and_green((450, 300)), placement=((1.0, 0.0, 60.0), (0.0, 1.0, 40.0)))
    shot = photograph(scene, default_camera(), np.random.default_rng(4), Exposure(0.2))
    elsewhere, broken = frames[0].with_name("elsewhere.dng"), frames[0].with_name("broken.dng")
    write_dng(shot, elsewhere)
    broken.write_bytes(b"II*\x00")
    for other, said in ((elsewhere, "does not show the same picture"), (broken, "broken.dng: ")):
        wrong = run("add", study, "--bracket", frames[1], other)
        assert wrong.exit_code == 1
        assert said in wrong.stderr
        assert "Traceback" not in wrong.output
    with open_study(study) as reading:
        assert not reading.photographs()
    assert run("add", study, frames[1], elsewhere).exit_code == 0


def test_its_zip_opens_elsewhere_to_the_same_figures(run, held, tmp_path):
    before = only(held)[1]
    assert run("export", held, "--zip", tmp_path / "s.zip").exit_code == 0
    opened = tmp_path / "there"
    assert run("open", tmp_path / "s.zip", opened).exit_code == 0
    brought = only(opened)[1]
    assert run("remeasure", opened).exit_code == 0
    row, record, exposures = only(opened)
    assert (record.samples, record.merged_from) == (brought.samples, brought.merged_from)
    assert [s.u_prime for s in record.samples] == [s.u_prime for s in before.samples]
    assert {row.path, *(p.path for p in exposures)} == {f"photos/{name}" for name in NAMES}
    assert b"SN-0815" not in (opened / "photos" / "long.dng").read_bytes()
    again = run("add", opened, "--bracket", *(held.parent / "shots" / name for name in NAMES))
    assert again.exit_code == 0
    assert "without position and serial numbers" in again.stderr


def test_the_report_and_the_document_hold_it(held):
    page = CliRunner().invoke(main, ["report", str(held)])
    assert page.exit_code == 0, page.output
    assert "short.dng" in (held / "report.html").read_text("utf-8")
    shown = CliRunner().invoke(main, ["study", "show", str(held), "short.dng", "--json"])
    (photo,) = json.loads(shown.stdout)["photos"]
    assert len(photo["merged_from"]) == 3


def test_from_python(study, frames):
    kept = glowkin.Study(study)
    (row,) = kept.add(frames, bracket=True)
    assert len(kept.measured(row.path).merged_from) == 3
