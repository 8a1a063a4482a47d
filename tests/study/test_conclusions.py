"""Courses and comparisons are kept with what they were made of, and say when that is no more."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.render import photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.stage import two_reds_and_green
from glowkin.study.export import write_tables
from glowkin.study.reading import open_study
from glowkin.study.reporting import gathered, kept

SIX = ("one", "two", "steady", "x", "y", "z")
TRACK = ("--names", "one,two,steady", "--control", "steady", "--start", "2026-05-04T09:00")


@pytest.fixture(scope="module")
def shots(tmp_path_factory):
    """Six hours of samples that do not change."""
    folder = tmp_path_factory.mktemp("hours")
    scene, rng = two_reds_and_green((450, 300)), np.random.default_rng(4)
    for hour in range(9, 15):
        shot = photograph(scene, default_camera(), rng)
        at = replace(Exposure(), taken_at=Exposure().taken_at.replace(hour=hour))
        write_jpeg(replace(shot, exposure=at), folder / f"{hour:02d}.jpg")
    return folder


@pytest.fixture
def added(run, study, shots):
    done = run("add", study, shots)
    assert done.exit_code == 0, done.output
    return study


def state(study):
    with open_study(study) as reading:
        return [(c.kind, c.photographs, c.gone) for c in reading.conclusions()]


def test_a_course_is_kept_with_its_grounds(run, added, shots):
    from click.testing import CliRunner

    from glowkin.cli import main

    done = run("track", added, *TRACK, "--json")
    assert done.exit_code == 0, done.output
    course = json.loads(done.stdout)
    assert [s["verdict"] for s in course["samples"]].count("changing") == 0
    plainly = json.loads(CliRunner().invoke(main, ["track", str(shots), *TRACK, "--json"]).stdout)
    for ours, theirs in zip(course["samples"], plainly["samples"], strict=True):
        assert {**ours, "points": 0} == {
            **theirs,
            "points": 0,
            **({"map": ours["map"]} if "map" in ours else {}),
        }
    again = json.loads(run("show", added, "--conclusion", "1", "--json").stdout)
    assert again == course
    with open_study(added) as reading:
        assert reading.grounds_of(1) == [r.measurement_id for r in reading.photographs()]
        assert reading.told_of(1)["controls"] == ["steady"]
        assert reading.conclusion(1).course.sample("steady").verdict == course["samples"][2]["verdict"]
    assert "track" in run("show", added).stdout


def test_samples_said_to_be_swapped_are_so_in_the_course_and_in_the_report(run, added):
    done = run("track", added, "--names", "one,two,steady", "--swapped", "12.jpg:one,steady", "--json")
    assert done.exit_code == 0, done.output
    points = {s["name"]: s["points"] for s in json.loads(done.stdout)["samples"]}
    assert abs(points["one"][2]["u_prime"] - points["one"][3]["u_prime"]) > 0.1
    assert points["one"][3]["u_prime"] == pytest.approx(points["steady"][2]["u_prime"], abs=0.02)
    with open_study(added) as reading:
        shown = {photo.path: photo for photo in gathered(reading, "glowkin test").photos}
    for name, course in points.items():
        for point in course:
            assert shown[point["path"]].sample(name).u_prime == point["u_prime"]


def test_a_conclusion_says_when_its_grounds_are_gone_and_stands_again_when_undone(run, added, monkeypatch):
    assert run("track", added, *TRACK).exit_code == 0
    assert run("compare", added, "09.jpg", "--pair", "S1", "S3").exit_code == 0
    assert state(added) == [("compare", 1, 0), ("track", 6, 0)]
    assert run("edit", added, "09.jpg", "10.jpg", "--leave-out", "warming up").exit_code == 0
    assert state(added) == [("compare", 1, 1), ("track", 6, 2)]
    monkeypatch.setenv("COLUMNS", "300")
    assert "2 measured anew or left out since; make it again" in run("show", added).stdout
    assert run("undo", added).exit_code == 0
    assert state(added) == [("compare", 1, 0), ("track", 6, 0)]
    assert run("remeasure", added, "11.jpg").exit_code == 0
    assert state(added) == [("compare", 1, 0), ("track", 6, 1)]


@pytest.fixture
def compared(run, study, shots):
    """Two comparisons of one photograph."""
    assert run("add", study, shots / "09.jpg", "--copy").exit_code == 0
    for other in ("S2", "S3"):
        assert run("compare", study, "--pair", "S1", other).exit_code == 0
    return study


def told(run, study, tmp_path):
    """Where conclusions are told: numbers of show, names of exported files, pairs in the report."""
    shown = json.loads(run("show", study, "--json").stdout)["conclusions"]
    with open_study(study) as reading:
        files = sorted(name for name in write_tables(reading, tmp_path, "test") if name.startswith("compare"))
        return [c["id"] for c in shown], files, [c.b.name for c in kept(reading).pairs]


def test_a_conclusion_is_withdrawn_and_taken_in_again(run, compared, tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "300")
    files = [f"compare-{i}.{end}" for i in (1, 2) for end in ("csv", "json")]
    both = ([2, 1], files, ["S3", "S2"])
    one = ([2], files[2:], ["S3"])
    assert told(run, compared, tmp_path) == both
    withdraw = ("edit", compared, "--conclusion", "1", "--leave-out", "wrong pair, see /home/a/b.txt")
    done = run(*withdraw)
    assert done.exit_code == 0, done.output
    assert told(run, compared, tmp_path) == one
    assert "conclusion 1: withdrawn: wrong pair" in run("show", compared, "--edits").stdout
    whole = run("show", compared, "--conclusion", "1")
    assert "S2" in whole.stdout
    assert "Conclusion 1 was withdrawn (wrong pair, see /home/a/b.txt) and counts nowhere" in whole.stderr
    assert "is withdrawn already" in run("edit", compared, "--conclusion", "1", "--leave-out", "x").stderr
    assert run("undo", compared).exit_code == 0
    assert told(run, compared, tmp_path) == both
    assert (
        run("edit", compared, "--conclusion", "1", "--leave-out", "wrong pair, see /home/a/b.txt").exit_code
        == 0
    )
    assert run("export", compared, "--zip", tmp_path / "drying.zip").exit_code == 0
    assert run("open", tmp_path / "drying.zip", tmp_path / "again").exit_code == 0
    assert told(run, tmp_path / "again", tmp_path)[0] == [2]
    assert "withdrawn (wrong pair, see b.txt)" in run("show", tmp_path / "again", "--conclusion", "1").stderr
    assert run("edit", compared, "--conclusion", "1", "--take-in").exit_code == 0
    assert told(run, compared, tmp_path) == both
    assert run("undo", compared).exit_code == 0
    assert told(run, compared, tmp_path) == one


def test_what_cannot_be_withdrawn_is_told(run, compared):
    for arguments, said in (
        ((), "name the PHOTO to edit, or a conclusion"),
        (("--conclusion", "1"), "nothing to edit"),
        (("--conclusion", "1", "--note", "x"), "--note: is of photographs; name the PHOTO"),
        (("--conclusion", "1", "--take-in"), "--conclusion 1: is not withdrawn"),
        (("--conclusion", "9", "--take-in"), "holds no conclusion number 9"),
    ):
        done = run("edit", compared, *arguments)
        assert done.exit_code == 2
        assert said in " ".join(done.stderr.split())
    assert state(compared) == [("compare", 1, 0), ("compare", 1, 0)]


def test_what_the_study_file_says_needs_no_options(run, study, shots):
    (study / "study.toml").write_text(
        'start = 2026-05-04T09:00:00\ncontrols = ["steady"]\n'
        '[[sample]]\nname = "red A"\n[[sample]]\nname = "red B"\n[[sample]]\nname = "steady"\n',
        "utf-8",
    )
    assert run("add", study, shots).exit_code == 0
    with open_study(study) as reading:
        assert [n.name for n in reading.names()] == ["red A", "red B", "steady"]
    course = json.loads(run("track", study, "--json").stdout)
    assert course["control"] == "steady"
    assert course["start"].startswith("2026-05-04T09:00")
    (study / "study.toml").write_text("contrils = []\n", "utf-8")
    wrong = run("track", study)
    assert wrong.exit_code == 1
    assert "contrils" in wrong.stderr
    assert run("edit", study, "09.jpg", "--note", "x").exit_code == 1
    with open_study(study) as reading:
        assert reading.edits() == [], "nothing is changed before the study file is right"
    assert state(study) == [("track", 6, 0)]


def test_without_a_photograph_one_arrangement_is_followed_by_its_own_names(run, added):
    for name in ("09.jpg", "10.jpg", "11.jpg", "12.jpg"):
        assert run("edit", added, name, "--names", "one,two,steady").exit_code == 0
    for name in ("13.jpg", "14.jpg"):
        assert run("edit", added, name, "--names", "x,y,z").exit_code == 0
    (added / "study.toml").write_text(
        'controls = ["steady", "z"]\n' + "".join(f'[[sample]]\nname = "{n}"\n' for n in SIX), "utf-8"
    )
    done = run("track", added, "--json")
    assert done.exit_code == 0, done.output
    assert "Left aside: 2 of 6 photographs" in done.stderr
    course = json.loads(done.stdout)
    assert [s["name"] for s in course["samples"]] == ["one", "two", "steady"]
    assert course["control"] == "steady"
    assert state(added) == [("track", 4, 0)]
    with open_study(added) as reading:
        assert len(gathered(reading, "glowkin test").course.samples[0].points) == 4
    mixed = run("track", added, "12.jpg", "13.jpg")
    assert mixed.exit_code == 1
    assert "no one series; name the photographs of one arrangement" in " ".join(mixed.stderr.split())
    assert run("edit", added, "13.jpg", "--names", "one,two,z").exit_code == 0
    (added / "study.toml").unlink()
    told = run("track", added, "12.jpg", "13.jpg")
    assert told.exit_code == 0, told.output
    assert "The names of samples differ among these photographs" in told.stderr


def test_a_start_of_the_study_file_is_said_to_be_its(run, added):
    (added / "study.toml").write_text("start = 2026-05-04T09:30:00\n", "utf-8")
    done = run("track", added)
    assert done.exit_code == 2
    said = " ".join(done.stderr.split())
    assert "start (study file) 2026-05-04T09:30" in said
    assert "09.jpg of 2026-05-04T09:00" in said
    assert "name the photographs of the series" in said


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (("track", "--control", "none"), 2, "none"),
        (("compare", "--pair", "09.jpg:S1", "09.jpg:S9"), 2, "S9"),
        (("show", "--conclusion", "7"), 2, "holds no conclusion number 7"),
        (("track", "09.jpg"), 1, ""),
    ],
)
def test_what_cannot_be_concluded_is_not_kept(run, added, arguments, status, said):
    command, *rest = arguments
    done = run(command, added, *rest)
    assert done.exit_code == status, done.output
    assert said in done.stderr
    assert "Traceback" not in done.output
    assert state(added) == []


def test_a_study_that_is_the_folder_one_is_in_is_named_as_given(run, added, monkeypatch):
    monkeypatch.chdir(added)
    done = run("show", ".", "--conclusion", "7")
    assert done.exit_code == 2
    assert done.stderr == "Error: .: holds no conclusion number 7\n"


def test_an_empty_study_concludes_nothing(run, study):
    done = run("track", study)
    assert done.exit_code == 1
    assert "holds no measured photograph; add some with: glowkin study add" in done.stderr
