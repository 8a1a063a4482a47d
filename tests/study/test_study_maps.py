"""Maps of a course in a study: those of ``track --out``, kept in the ledger, shown in the report.

Truths are the fronts of the rendered series, as in ``tests/test_maps.py``.
"""

from __future__ import annotations

import csv
import json
import re
import shutil
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import glowkin
from glowkin.base.maps import AT_RIM, EVENLY
from glowkin.cli import main
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.series import Change, Course, photograph_series
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import band
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres, with_luminance
from glowkin.study.export import write_tables
from glowkin.study.reading import open_study
from glowkin.telling.maps_file import read_maps

HOUR = 3600.0
HOURS = (0, 2, 4, 8, 16, 30)
SIZE = (480, 320)
NAMES = ("rim", "even", "still", "control")
STEP = 0.5 / 200
"""The ledger keeps fractions in steps of 1/200."""


def at_the_rim(f):
    """Half-way at sqrt(f) radii."""
    return lambda rho, _angle: 1.0 / (1.0 + np.exp((np.sqrt(f) - rho) / 0.04))


def did(*arguments):
    done = CliRunner().invoke(main, [*map(str, arguments)])
    assert done.exit_code == 0, done.output
    return done


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A raw series, the study that holds it with its course, and what ``track --out`` makes of it."""
    folder = tmp_path_factory.mktemp("maps")
    (folder / "shots").mkdir()
    red, green = with_luminance(band(620, 80), 0.05), with_luminance(band(525, 60), 0.25)
    yellow = with_luminance(band(570, 80), 0.12)
    samples = [
        SceneSample(name, Shape("vial", centre, 46), yellow if name == "control" else red, seed=i)
        for i, (name, centre) in enumerate(zip(NAMES, grid_centres(SIZE, 2, 2), strict=True))
    ]
    course = Course("first-order", 4 * HOUR)
    changes = [Change("rim", course, green, front=at_the_rim), Change("even", course, green)]
    series = photograph_series(
        Scene(SIZE, tuple(samples), surroundings_violet=0.0003, seed=4),
        changes, [h * HOUR for h in HOURS], default_camera(), np.random.default_rng(11),
        Exposure(taken_at=datetime(2026, 5, 4, 9)),
    )  # fmt: skip
    for i, shot in enumerate(series.shots):
        write_dng(shot, folder / "shots" / f"{i}.dng")
    options = ("--names", ",".join(NAMES), "--control", "control")
    did("track", folder / "shots", *options, "--out", folder / "out")
    did("study", "new", folder / "study", "--title", "Fronts")
    did("study", "add", folder / "study", folder / "shots")
    did("study", "track", folder / "study", *options, "--all-models")
    return folder


@pytest.fixture
def own(made, tmp_path):
    return Path(shutil.copytree(made, tmp_path / "own"))


def page_of(study):
    did("report", study)
    return (study / "report.html").read_text("utf-8")


def test_fractions_are_told_as_figures_in_pages_and_tables(made):
    """By the law the vials were rendered by: half is left after 4 h."""
    with open_study(made / "study") as reading:
        assert "track-1.csv" in write_tables(reading, made, "test")
    for page in (page_of(made / "study"), (made / "out" / "report.html").read_text("utf-8")):
        assert len(re.findall(r"<caption>Fraction left against time in \w+: rim, even", page)) == 1
    kept_rows, plain_rows = (
        list(csv.DictReader((made / name).read_text("utf-8").splitlines()))
        for name in ("track-1.csv", "out/course.csv")
    )
    assert kept_rows == plain_rows
    even = [row for row in kept_rows if row["sample"] == "even"]
    assert [float(row["time after time zero (s)"]) for row in even] == [h * HOUR for h in HOURS]
    for row, hour in zip(even, HOURS, strict=True):
        left = float(row["fraction in the starting form (1)"])
        assert left == pytest.approx(0.5 ** (hour / 4), abs=0.03)


def kept(study, number=1):
    with open_study(study) as reading:
        return reading.conclusion(number)


def test_they_are_those_of_track(made):
    found = kept(made / "study")
    said = {s.name: s.map and s.map.begins for s in found.course.samples}
    assert said == {"rim": AT_RIM, "even": EVENLY, "still": None, "control": None}
    plainly = read_maps(made / "out")
    assert list(found.maps) == list(plainly) == ["rim", "even"]
    for name, row in plainly.items():
        assert len(row) == len(found.maps[name]) == 5
        for ours, theirs in zip(found.maps[name], row, strict=True):
            told = ("time_s", "fraction", "by_light", "pixel_px")
            assert [getattr(ours, k) for k in told] == [getattr(theirs, k) for k in told]
            assert Path(ours.path).name == Path(theirs.path).name
            assert np.array_equal(ours.inside, theirs.inside)
            assert np.array_equal(np.isfinite(ours.values), np.isfinite(theirs.values))
            known = np.isfinite(ours.values)
            within = np.clip(theirs.values[known], -0.125, 1.125)
            assert np.abs(ours.values[known] - within).max() <= STEP + 1e-6
            assert max(ours.values.shape) <= 64


def test_all_models_are_shown_where_asked_for(made, own):
    from glowkin.findings.rate_models import RATE_MODELS

    assert kept(made / "study").course.models_shown == len(RATE_MODELS)
    course = glowkin.Study(own / "study").track(names=NAMES, controls=["control"])
    assert course.models_shown == 3


def test_the_report_shows_strip_and_sentence_and_is_the_same_twice(made):
    page = page_of(made / "study")
    assert page.count('aria-label="Maps of how far') == 1
    for words in (
        "rim begins at the rim", "even begins evenly all over", "Where it begins, by the maps",
        "amount left in the starting form</text>",
    ):  # fmt: skip
        assert words in page
    assert page == page_of(made / "study")


def test_the_report_needs_no_photograph(own):
    before = page_of(own / "study")
    shutil.rmtree(own / "shots")
    assert page_of(own / "study") == before


def test_they_go_along_in_the_zip(own, run, tmp_path):
    study, there = own / "study", tmp_path / "there"
    assert run("export", study, "--zip", tmp_path / "a.zip").exit_code == 0
    assert run("open", tmp_path / "a.zip", there).exit_code == 0
    here, brought = kept(study), kept(there)
    for name, row in here.maps.items():
        for a, b in zip(row, brought.maps[name], strict=True):
            assert b.path == f"photos/{Path(a.path).name}"
            assert np.array_equal(a.values, b.values, equal_nan=True)
    assert 'aria-label="Maps of how far' in page_of(there)
    assert run("export", there, "--out", tmp_path / "out").exit_code == 0
    assert (tmp_path / "out/figures/maps-1.png").is_file()


def test_a_photograph_that_is_gone_is_told_and_the_course_is_kept(own, run):
    (own / "shots" / "1.dng").unlink()
    (own / "shots" / "2.dng").write_bytes(b"another")
    done = run("track", own / "study", "--names", ",".join(NAMES), "--control", "control", "--json")
    assert done.exit_code == 0, done.output
    assert done.stderr.count("Not in the maps: ") == 2
    assert "1.dng: is no longer there" in done.stderr
    course = {s["name"]: s for s in json.loads(done.stdout)["samples"]}
    assert len(course["rim"]["points"]) == len(HOURS)
    shown = {Path(m.path).name for row in kept(own / "study", 2).maps.values() for m in row}
    assert shown
    assert not shown & {"1.dng", "2.dng"}


def test_without_any_photograph_there_are_no_maps_and_no_word_of_them(own, run):
    shutil.rmtree(own / "shots")
    done = run("track", own / "study", "--names", ",".join(NAMES), "--control", "control")
    assert done.exit_code == 0, done.output
    assert kept(own / "study", 2).maps == {}
    page = page_of(own / "study")
    assert "Change over time" in page
    assert "Where it begins" not in page
