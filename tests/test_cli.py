from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from glowkin import session
from glowkin.base.records import photos_from_json
from glowkin.cli import main
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.stage import Scene, two_reds_and_green


@pytest.fixture(scope="module")
def shots(tmp_path_factory):
    """A folder with one raw photograph, one JPEG, one without samples."""
    folder = tmp_path_factory.mktemp("shots")
    rng, camera = np.random.default_rng(1), default_camera()
    shot = photograph(two_reds_and_green((450, 300)), camera, rng)
    write_dng(shot, folder / "a.dng")
    write_jpeg(shot, folder / "b.jpg")
    (folder / "dark").mkdir()
    dark = photograph(Scene((450, 300), ()), camera, rng, Exposure(exposure_s=0.1))
    write_dng(dark, folder / "dark" / "dark.dng")
    return folder


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def document(result):
    """The one JSON document on standard output; anything beside it fails."""
    return json.loads(result.stdout, parse_constant=lambda word: pytest.fail(f"{word} in JSON"))


def commands():
    """Every command, those of a group by both words."""
    for name, command in main.commands.items():
        parts = getattr(command, "commands", None)
        yield from [name] if parts is None else [f"{name} {part}" for part in parts]


@pytest.mark.parametrize("name", [None, *commands()])
def test_help_tells_the_use_with_one_example(name):
    result = run(*(name.split() if name else []), "--help")
    assert result.exit_code == 0
    if name:
        assert result.stdout.count("Example: ") == 1
        assert f"Example: glowkin {name} " in " ".join(result.stdout.split())


def test_measure_prints_one_document_that_reads_back(shots):
    result = run("measure", shots / "a.dng", shots / "b.jpg", "--names", "red,near red,green", "--json")
    assert result.exit_code == 0, result.stderr
    found = document(result)
    assert (found["schema"], found["errors"]) == ("glowkin.measure.v1", [])
    assert [[s["name"] for s in p["samples"]] for p in found["photos"]] == [["red", "near red", "green"]] * 2
    assert [p.kind for p in photos_from_json(found)] == ["raw", "rendered"]


def test_a_folder_means_what_is_directly_in_it(shots):
    found = document(run("measure", shots, "--json"))
    assert [p["path"].rsplit("/", 1)[-1] for p in found["photos"]] == ["a.dng", "b.jpg"]


def test_compare_and_track_print_one_document_each(shots):
    compared = run(
        "compare", shots / "a.dng", "--names", "r,s,g", "--pair", "r", "g", "--lab-white", "D65", "--json"
    )
    assert compared.exit_code == 0, compared.stderr
    (pair,) = document(compared)["pairs"]
    assert (pair["a"]["name"], pair["b"]["name"], pair["verdict"]) == ("r", "g", "different")
    assert (pair["delta_e_2000_white"], pair["delta_e_2000"] > 20) == ("D65", True)
    everything = document(run("compare", shots / "a.dng", "--json"))
    assert len(everything["pairs"]) == 3


def test_track_prints_one_document(shots, tmp_path):
    shot = photograph(two_reds_and_green((450, 300)), default_camera(), np.random.default_rng(1))
    for hour in (9, 12, 15):
        path = write_dng(shot, tmp_path / f"{hour}.dng")
        path.write_bytes(path.read_bytes().replace(b"2026:05:04 12", f"2026:05:04 {hour:02}".encode()))
    result = run("track", tmp_path, "--control", "S3", "--start", "2026-05-04T08:00", "--json")
    assert result.exit_code == 0, result.stderr
    found = document(result)
    assert found["schema"] == "glowkin.track.v1"
    assert [p["time_s"] for p in found["samples"][0]["points"]] == [3600.0, 4 * 3600.0, 7 * 3600.0]
    assert "changing" not in [s["verdict"] for s in found["samples"]]


def test_a_bad_file_among_good_ones_is_reported_and_the_others_measured(shots, tmp_path):
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(b"\xff\xd8\xff\xe0nothing")
    result = run("measure", bad, shots / "a.dng", tmp_path / "none.dng", "--json")
    found = document(result)
    assert result.exit_code == 1
    assert len(found["photos"]) == 1
    assert [e["path"] for e in found["errors"]] == [str(bad), str(tmp_path / "none.dng")]
    assert "broken JPEG" in found["errors"][0]["message"]
    assert result.stderr.count("Error: ") == 2
    assert "Traceback" not in result.stderr


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (["measure", "none.dng"], 1, "none.dng: no such file; check the name and the folder"),
        (["measure", "EMPTY"], 1, "holds no photographs"),
        (["measure", "PHOTO", "--names", "one,two"], 1, "2 names were given, 3 samples were found"),
        (["measure", "PHOTO", "--names", "a,a,b"], 2, "every name must be given once only"),
        (["measure", "PHOTO", "--outlines", "none.geojson"], 1, "none.geojson: no such file"),
        (["measure", "PHOTO", "--white-point", "nonsense"], 2, "E, D50, D55, D65, A"),
        (["measure", "PHOTO", "--white-point", "0.9,0.9"], 2, "0.9"),
        (["measure", "PHOTO", "--observer", "5"], 2, "'2', '10'"),
        (["measure"], 2, "Missing argument"),
        (["compare", "PHOTO", "--pair", "S1", "S9"], 2, "no such sample; there are S1, S2, S3"),
        (["compare", "PHOTO", "--pair", "S1", "S1"], 2, "S1 is the same sample twice; name two samples"),
        (["compare", "PHOTO", "--tolerance", "0"], 2, "--tolerance"),
        (["compare", "PHOTO", "--lab-white", "nonsense"], 2, "E, D50, D55, D65, A"),
        (["track", "PHOTO"], 1, "1 of 1 photographs have both a capture time and a sample"),
        (["report", "EMPTY"], 1, "measure.json"),
        (["report", "nix"], 1, "nix: there is no such folder"),
        (["nonsense"], 2, "No such command"),
    ],
    ids=lambda v: " ".join(v) if isinstance(v, list) else None,
)  # fmt: skip
def test_what_is_wrong_is_said_in_a_sentence_with_the_documented_status(
    shots, tmp_path, arguments, status, words
):
    places = {"PHOTO": str(shots / "a.dng"), "EMPTY": str(tmp_path)}
    result = run(*(places.get(a, a) for a in arguments))
    assert result.exit_code == status, result.output
    assert words in " ".join(result.stderr.split())
    assert result.stdout == ""


def test_no_sample_is_an_empty_list_not_an_error(shots):
    result = run("measure", shots / "dark" / "dark.dng", "--json")
    assert result.exit_code == 0
    assert document(result)["photos"][0]["samples"] == []
    assert "no sample found" in run("measure", shots / "dark" / "dark.dng").stdout


def test_outlines_replace_the_finder_and_bring_their_names(shots, tmp_path):
    ring = [[200, 130], [240, 130], [240, 170], [200, 170], [200, 130]]
    feature = {
        "type": "Feature",
        "properties": {"name": "middle"},
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }
    path = tmp_path / "o.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    result = run("measure", shots / "a.dng", "--outlines", path, "--json", "--out", tmp_path / "out")
    assert result.exit_code == 0, result.stderr
    (sample,) = document(result)["photos"][0]["samples"]
    assert sample["name"] == "middle"
    assert sample["u_prime"] is not None


def test_frames_taken_beside_are_used_named_and_not_measured_themselves(tmp_path):
    rng, camera = np.random.default_rng(1), default_camera()
    lit = replace(two_reds_and_green((450, 300)), room=0.1)
    shot = photograph(lit, camera, rng)
    write_dng(shot, tmp_path / "a.dng")
    write_dng(photograph(lit.lamp_off(), camera, rng, shot.exposure), tmp_path / "off.dng")
    result = run("measure", tmp_path, "--lamp-off", tmp_path / "off.dng", "--json")
    assert result.exit_code == 0, result.stderr
    (photo,) = document(result)["photos"]
    (used,) = photo["frames"]
    assert (used["kind"], used["path"], len(photo["samples"])) == ("lamp-off", str(tmp_path / "off.dng"), 3)


def test_out_writes_records_figures_and_report(shots, tmp_path):
    out = tmp_path / "out"
    result = run("compare", shots / "a.dng", "--out", out, "--json")
    assert result.exit_code == 0, result.stderr
    written = {p.name for p in out.iterdir()}
    assert {"measure.json", "samples.csv", "compare.json", "report.html", "figures"} <= written
    assert any((out / "figures").iterdir())
    on_disk, printed = json.loads((out / "compare.json").read_text("utf-8")), document(result)
    assert [p["verdict"] for p in on_disk["pairs"]] == [p["verdict"] for p in printed["pairs"]]


def test_an_out_that_cannot_be_written_is_said(shots, tmp_path):
    (tmp_path / "out").write_text("a file, not a folder")
    result = run("measure", shots / "a.dng", "--out", tmp_path / "out")
    assert result.exit_code == 1
    assert "out: is no folder; name another place" in result.stderr
    assert "Traceback" not in result.stderr


def test_the_table_names_the_samples_and_what_to_mind(shots):
    result = run("measure", shots / "b.jpg", "--names", "red,near red,green")
    assert result.exit_code == 0
    for word in ("near red", "green", "rendered-file"):
        assert word in result.stdout


@pytest.mark.parametrize("done", [0, 1])
def test_interrupted_ends_with_130_and_keeps_what_is_done(shots, monkeypatch, done):
    real, calls = session.recipes.measure_and_show, []

    def interrupt(path, settings):
        calls.append(path)
        if len(calls) > done:
            raise KeyboardInterrupt
        return real(path, settings)

    monkeypatch.setattr(session.recipes, "measure_and_show", interrupt)
    result = run("measure", shots / "a.dng", shots / "b.jpg", "--json", "--jobs", "1")
    assert result.exit_code == 130
    assert "Interrupted" in result.stderr
    if done:
        assert len(document(result)["photos"]) == 1


def test_the_program_as_started_from_a_shell(shots):
    """A second process: nothing but the document on standard output, odd metadata unmentioned."""
    command = [sys.executable, "-m", "glowkin.cli", "measure", str(shots / "b.jpg"), "--json"]
    result = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)  # noqa: S603 - our own program
    assert (result.returncode, result.stderr) == (0, "")
    assert len(json.loads(result.stdout)["photos"][0]["samples"]) == 3


@pytest.mark.parametrize("command", ["measure", "compare", "track"])
def test_a_command_keeps_its_own_document_when_nothing_could_be_read(tmp_path, command):
    from click.testing import CliRunner

    from glowkin.cli import main

    run = CliRunner().invoke(main, [command, str(tmp_path / "missing.dng"), "--json"])
    assert run.exit_code == 1
    document = json.loads(run.stdout)
    assert document["schema"] == f"glowkin.{command}.v1"
    assert len(document["errors"]) == 1


@pytest.mark.parametrize("command", ["measure", "compare", "track", "check"])
def test_the_document_comes_also_when_nothing_could_be_measured(shots, tmp_path, command):
    for arguments in ([tmp_path], [shots / "a.dng", "--outlines", tmp_path / "none.geojson"]):
        result = run(command, *arguments, "--json")
        (error,) = document(result)["errors"]
        assert result.exit_code == 1
        assert error["path"] == str(arguments[-1])
        assert result.stderr == f"Error: {error['message']}\n"


def test_a_course_of_one_photograph_is_a_document_with_the_reason(shots):
    result = run("track", shots / "a.dng", "--json")
    found = document(result)
    assert (result.exit_code, found["samples"]) == (1, [])
    assert "a course needs two at least" in found["errors"][0]["message"]


def test_an_empty_folder_beside_photographs_does_not_keep_them_from_being_measured(shots, tmp_path):
    result = run("measure", tmp_path, shots / "a.dng", "--json")
    assert result.exit_code == 1
    assert len(document(result)["photos"]) == 1
    assert [e["path"] for e in document(result)["errors"]] == [str(tmp_path)]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--lens-capped", "PHOTO"], "no PHOTO is left to measure: each is given as a frame beside it"),
        (["--bracket"], "only one exposure is left of these PHOTOs"),
    ],
)
def test_a_command_that_leaves_nothing_to_do_is_wrong_use(shots, arguments, words):
    photo = str(shots / "a.dng")
    result = run("measure", photo, *(photo if a == "PHOTO" else a for a in arguments))
    assert result.exit_code == 2
    assert words in " ".join(result.stderr.replace("│", " ").split())


def test_the_package_runs_as_the_command_does():
    done = subprocess.run([sys.executable, "-m", "glowkin", "--version"], capture_output=True, text=True)  # noqa: PLW1510
    assert (done.returncode, done.stdout.split()[0]) == (0, "glowkin,")


def test_an_outline_of_a_few_pixels_is_called_too_small_and_not_clipped(shots, tmp_path):
    ring = [[200, 130], [203, 130], [203, 132]]
    path = tmp_path / "o.geojson"
    geometry = {"type": "Polygon", "coordinates": [ring]}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [{"geometry": geometry}]}))
    (sample,) = document(run("measure", shots / "a.dng", "--outlines", path, "--json"))["photos"][0][
        "samples"
    ]
    assert sample["u_prime"] is None
    assert "sample-too-small" in sample["flags"]
    assert "clipped" not in sample["flags"]
