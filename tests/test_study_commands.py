"""Commands with a study file: the handbook's example on the sample photographs, and what is wrong in one."""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner

HOUR = 3600.0


def glowkin(*arguments):
    from glowkin.cli import main

    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def told(root, tmp_path_factory):
    """The document of the handbook's example, run as the handbook says, and the folder it left."""
    folder = tmp_path_factory.mktemp("study")
    text = (root / "docs" / "study-file.md").read_text("utf-8")
    (folder / "study.toml").write_text(re.search(r"^```toml\n(.*?)^```", text, re.S | re.M)[1], "utf-8")
    line = "glowkin track sample_images/series --study-file study.toml --out results"
    assert line in text
    series, out = root / "sample_images" / "series", folder / "results"
    run = glowkin("track", series, "--study-file", folder / "study.toml", "--out", out, "--json")
    assert run.exit_code == 0
    return json.loads(run.stdout), out


def test_the_handbooks_example_finds_the_known_answers(told, root):
    document, _ = told
    known = json.loads((root / "sample_images" / "answers.json").read_text("utf-8"))["series"]
    found = {s["name"]: s for s in document["samples"]}
    assert list(found) == known["names"].split(",")
    assert document["start"] == known["start"]
    halves = [v for v in known["vials"] if v["model"] != "none" and v["stops_at"] == 0.0]
    assert len(halves) == 9
    for vial in halves:
        low, high = found[vial["name"]]["half_time_interval_s"]
        assert low <= vial["half_time_h"] * HOUR <= high
        assert high - low < 0.1 * vial["half_time_h"] * HOUR


def test_the_study_file_gathers_vials_and_tells_temperatures(told):
    document, _ = told
    stored = {s["name"]: s for s in document["storages"]}
    assert list(stored) == ["NaCl", "capped", "cold store", "tight cap", "MgCl2-25C"]
    assert (stored["cold store"]["temperature_c"], stored["cold store"]["batches"]) == (5.0, ["A", "B"])
    assert document["arrhenius"][0]["storages"] == ["cold store", "MgCl2-25C"]
    assert [e["what"] for e in document["events"]] == ["opened"]


def test_samples_that_no_light_wears_change_by_the_hours(told):
    """The sample photographs are rendered without any bleaching."""
    document, _ = told
    clocks = {s["name"]: s["clock"] and s["clock"]["explains"] for s in document["samples"]}
    assert {clocks[n] for n in clocks if n.startswith(("MgCl2", "capped"))} == {"elapsed time"}
    assert document["bleaching"] == []
    assert document["samples"][0]["points"][-1]["lamp_on_s"] == (11 * 0.5 + 2) * 60


def test_author_and_licence_come_with_the_results(told):
    _, out = told
    settings = json.loads((out / "track.json").read_text("utf-8"))["settings"]
    assert (settings["author"], settings["licence"]) == ("A. Chemist", "CC-BY-4.0")
    report = (out / "report.html").read_text("utf-8")
    assert "CC-BY-4.0" in report
    assert "explained better by elapsed time" in report


@pytest.mark.parametrize("command", ["track", "compare"])
def test_a_wrong_study_file_is_told_whole_before_anything_is_measured(command, tmp_path, root):
    path = tmp_path / "study.toml"
    path.write_text('contols = ["a"]\n[shot]\ntemperature_c = "warm"\n', encoding="utf-8")
    photo = root / "sample_images" / "side_by_side.dng"
    run = glowkin(command, photo, "--study-file", path, "--json")
    assert run.exit_code == 1
    said = json.loads(run.stdout)["errors"]
    assert [e["path"] for e in said] == [str(path)]
    assert said[0]["message"].splitlines()[1:] == [
        "  shot.temperature_c: must be a number",
        "  contols: there is no such key; nearest: controls",
    ]
    assert said[0]["message"] in run.stderr
    assert "Traceback" not in run.output


def test_a_comparison_across_lamps_and_temperatures_is_flagged(tmp_path, root):
    path = tmp_path / "study.toml"
    path.write_text(
        '[[lamp]]\nname = "a"\npeak_nm = 365\n[[lamp]]\nname = "b"\npeak_nm = 395\n'
        '[shot]\nlamp = "a"\ntemperature_c = 22\n'
        '[[photograph]]\nfile = "*.jpg"\nlamp = "b"\ntemperature_c = 4\n',
        encoding="utf-8",
    )
    photos = [root / "sample_images" / f"side_by_side.{kind}" for kind in ("dng", "jpg")]
    pairs = ["--pair", "side_by_side.dng:S1", "side_by_side.jpg:S1", "--pair", "side_by_side.dng:S1",
             "side_by_side.dng:S2"]  # fmt: skip
    run = glowkin("compare", *photos, *pairs, "--study-file", path, "--json")
    assert run.exit_code == 0
    across, within = json.loads(run.stdout)["pairs"]
    assert across["flags"] == ["across-lamps", "across-temperatures"]
    assert within["flags"] == []
    shown = glowkin("compare", *photos, *pairs, "--study-file", path).stdout
    assert "across-lamps" in shown


def test_wet_dried_and_ground_are_flagged_where_they_are_compared(tmp_path, root, monkeypatch):
    """Common practice, no source: solvent and grain size change how a powder glows."""
    path = tmp_path / "study.toml"
    names = ["red-batch-1", "red-batch-2", "green-form", "terbium", "control"]
    states = ["dried", "ground", "dried", "", "dried"]
    rows = [f'[[sample]]\nname = "{n}"\n' + (f'state = "{s}"\n' if s else "")
            for n, s in zip(names, states, strict=True)]  # fmt: skip
    path.write_text("".join(rows) + '[[photograph]]\nfile = "*.jpg"\nstate = "wet"\n', encoding="utf-8")
    photos = [root / "sample_images" / f"side_by_side.{kind}" for kind in ("dng", "jpg")]
    asked = [("red-batch-1", "red-batch-2"), ("red-batch-1", "green-form"), ("red-batch-1", "terbium")]
    pairs = [x for a, b in asked for x in ("--pair", f"side_by_side.dng:{a}", f"side_by_side.dng:{b}")]
    pairs += ["--pair", "side_by_side.dng:control", "side_by_side.jpg:control"]
    run = glowkin("compare", *photos, *pairs, "--study-file", path, "--json", "--out", tmp_path / "out")
    flags = [c["flags"] for c in json.loads(run.stdout)["pairs"]]
    assert flags == [["across-states"], [], [], ["across-states"]]
    monkeypatch.setenv("COLUMNS", "250")
    shown = glowkin("compare", *photos, *pairs, "--study-file", path).stdout
    assert re.search(r"red-batch-1.*red-batch-2.*across states", shown)
    assert "across-states: What is compared" in shown
    assert "across states" in (tmp_path / "out" / "report.html").read_text("utf-8")


def test_an_option_comes_before_the_study_file(tmp_path, root):
    path = tmp_path / "study.toml"
    path.write_text('[[sample]]\nname = "a"\n[[sample]]\nname = "b"\n', encoding="utf-8")
    photo = root / "sample_images" / "side_by_side.dng"
    refused = glowkin("compare", photo, "--study-file", path)
    assert "2 names were given" in refused.stderr
    count = len(json.loads(glowkin("measure", photo, "--json").stdout)["photos"][0]["samples"])
    names = ",".join(f"n{i}" for i in range(count))
    run = glowkin("compare", photo, "--study-file", path, "--names", names, "--json")
    assert json.loads(run.stdout)["pairs"][0]["a"]["name"] == "n0"
