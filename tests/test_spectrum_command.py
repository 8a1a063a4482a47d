"""``glowkin spectrum`` from the command line."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner

from glowkin.base.errors import CannotReadError
from glowkin.base.spectra import read_forms
from glowkin.cli import main


def run(*arguments):
    return CliRunner().invoke(main, ["spectrum", *map(str, arguments)])


@pytest.fixture
def green(tmp_path):
    nm = np.arange(400.0, 701.0, 2.0)
    path = tmp_path / "green.csv"
    lines = (f"{w:g},{p:.5f}" for w, p in zip(nm, np.exp(-0.5 * ((nm - 521.4) / 22) ** 2), strict=True))
    path.write_text("wavelength_nm,intensity\n" + "\n".join(lines), "utf-8")
    return path


def test_one_document_is_printed(green):
    done = run(green, "--photon", "--json", "--observer", "10", "--white-point", "D65")
    document = json.loads(done.stdout)
    assert done.exit_code == 0
    assert document["schema"] == "glowkin.spectrum.v1"
    read = document["spectrum"]
    assert (read["observer"], read["white_point"], read["photons"]) == (10, "D65", True)
    assert read["peak_nm"] < read["photon_peak_nm"] == pytest.approx(521.4, abs=0.1)
    assert len(read["sha256"]) == 64


def test_the_table_shows_both_peaks_side_by_side(green):
    done = run(green, "--photon")
    said = " ".join(done.stdout.split())
    assert "peak in power 520.5 nm peak in photons 521.4 nm" in said


def test_flags_come_with_their_mend(tmp_path, green):
    short = tmp_path / "short.csv"
    short.write_text("\n".join(green.read_text("utf-8").splitlines()[55:]), "utf-8")
    said = " ".join(run(short).stdout.split())
    assert "spectrum-cut-off: The spectrum still glows where its range ends" in said
    assert "Measure from 380 to 780 nm" in said


def test_out_holds_record_and_figure(tmp_path, green):
    assert run(green, "--out", tmp_path / "out").exit_code == 0
    assert json.loads((tmp_path / "out" / "spectrum.json").read_text("utf-8"))["spectrum"]["flags"] == []
    svg = (tmp_path / "out" / "figures" / "spectrum.svg").read_text("utf-8")
    assert "peak 521.4 nm in power" in svg
    assert "CIE 1976" in svg
    assert (tmp_path / "out" / "figures" / "spectrum.png").stat().st_size > 10_000


def test_forms_are_added_kept_and_replaced_only_when_asked(tmp_path, green):
    forms = tmp_path / "forms.json"
    assert run(green, "--form", "green", "--forms", forms, "--excitation", "365 nm").exit_code == 0
    published = ("--published", "0.31,0.62", "--form", "other", "--forms", forms, "--source", "doi:10.0/none")
    done = run(*published)
    assert done.exit_code == 0
    assert "Form other kept" in done.stderr
    before = forms.read_bytes()
    again = run(green, "--form", "green", "--forms", forms, "--notes", "second")
    assert again.exit_code == 2
    assert "has a form of that name" in again.stderr
    assert forms.read_bytes() == before
    assert run(green, "--form", "green", "--forms", forms, "--notes", "second", "--replace").exit_code == 0
    first, second = read_forms(forms)
    assert (first.name, first.basis, first.notes) == ("green", "measured-spectrum", "second")
    assert (second.name, second.basis, second.source) == ("other", "published", "doi:10.0/none")
    assert json.loads(forms.read_text("utf-8"))["schema"] == "glowkin.forms.v1"
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []


def test_json_tells_the_form_that_was_kept(tmp_path, green):
    kept = ("--form", "green", "--forms", tmp_path / "forms.json", "--json")
    document = json.loads(run(green, *kept).stdout)
    assert document["form"]["name"] == "green"
    assert document["spectrum"]["peak_nm"] == pytest.approx(521.4, abs=0.1)
    published = ("--published", "0.2,0.5", "--uv", "--error", "0.002", "--source", "x", "--replace")
    document = json.loads(run(*published, *kept).stdout)
    assert document["spectrum"] is None
    assert document["form"]["u_prime_v_prime_covariance"][0][0] == pytest.approx(4e-6)
    (tmp_path / "forms.json").write_text("{}", "utf-8")
    done = run(green, *kept)
    assert done.exit_code == 1
    assert "no forms file" in json.loads(done.stdout)["errors"][0]["message"]


@pytest.mark.parametrize(
    "arguments",
    [
        (), ("--published", "0.3,0.6"), ("FILE", "--published", "0.3,0.6"), ("FILE", "--form", "a"),
        ("FILE", "--forms", "f.json"), ("FILE", "--white-point", "9,9"),
        ("--published", "0.3", "--form", "a", "--forms", "f.json", "--source", "x"),
        ("--published", "0.9,0.9", "--form", "a", "--forms", "f.json", "--source", "x"),
    ],
)  # fmt: skip
def test_wrong_use_is_told_with_status_2(arguments, green):
    done = run(*(green if a == "FILE" else a for a in arguments))
    assert done.exit_code == 2
    assert "Error: " in done.stderr
    assert "Traceback" not in done.stderr


def test_what_cannot_be_read_is_one_sentence_and_status_1(tmp_path):
    done = run(tmp_path / "none.csv", "--json")
    assert done.exit_code == 1
    assert done.stderr.count("\n") == 1
    assert json.loads(done.stdout)["errors"][0]["message"].endswith("check the name")


@pytest.mark.parametrize(
    "content",
    [
        "",
        "[]",
        '{"schema": "glowkin.measure.v1"}',
        '{"schema": "glowkin.forms.v1", "forms": [{"name": "a"}]}',
    ],
)
def test_a_file_that_is_no_forms_file_is_left_alone(tmp_path, green, content):
    forms = tmp_path / "forms.json"
    forms.write_text(content, "utf-8")
    with pytest.raises(CannotReadError, match=r"forms\.json"):
        read_forms(forms)
    done = run(green, "--form", "green", "--forms", forms)
    assert done.exit_code == 1
    assert forms.read_text("utf-8") == content
