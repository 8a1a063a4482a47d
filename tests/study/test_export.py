"""A study as files for other programs: read by json, csv, Pillow."""

from __future__ import annotations

import csv
import html
import json
import re
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner
from PIL import Image

from glowkin.base.records import photos_from_json
from glowkin.cli import main
from glowkin.study.reading import open_study

if TYPE_CHECKING:
    from pathlib import Path


def run(*arguments):
    done = CliRunner().invoke(main, ["study", *map(str, arguments)])
    assert done.exit_code == 0, done.output
    return done


@pytest.fixture(scope="module")
def exported(tmp_path_factory, rendered) -> Path:
    """A study of two photographs, one more that cannot be read, and what it is exported to."""
    folder = tmp_path_factory.mktemp("exported")
    study = folder / "study"
    run("new", study, "--title", "Drying")
    run("add", study, rendered / "09.jpg", rendered / "10.jpg", "--names", "red-1,=red-2,green")
    run("edit", study, "10.jpg", "--note", f"=see {folder}/book.txt")
    run("compare", study)
    (folder / "broken.jpg").write_bytes((rendered / "11.jpg").read_bytes()[:5000])
    done = CliRunner().invoke(main, ["study", "add", str(study), str(folder / "broken.jpg")])
    assert done.exit_code == 1
    told = json.loads(run("export", study, "--out", folder / "out", "--json").stdout)
    assert told["schema"] == "glowkin.export.v1"
    return folder


def rows(file):
    with file.open(encoding="utf-8", newline="") as content:
        return list(csv.DictReader(content))


def test_documents_hold_the_records_as_they_are_kept(exported):
    document = json.loads((exported / "out" / "measure.json").read_text("utf-8"))
    assert document["schema"] == "glowkin.measure.v1"
    assert [e["path"] for e in document["errors"]] == ["broken.jpg"]
    photos = photos_from_json(document)
    assert [p.path for p in photos] == ["09.jpg", "10.jpg"]
    with open_study(exported / "study") as reading:
        for photo, kept in zip(photos, reading.measured(), strict=True):
            assert photo.samples == kept.samples
            assert photo.sha256 == kept.sha256
    study = json.loads((exported / "out" / "study.json").read_text("utf-8"))
    assert study["study"]["title"] == "Drying"
    pairs = json.loads((exported / "out" / "compare-1.json").read_text("utf-8"))
    assert pairs["schema"] == "glowkin.compare.v1"
    assert {p["a"]["path"] for p in pairs["pairs"]} <= {"09.jpg", "10.jpg"}


def test_pairs_are_a_table_too(exported):
    document = json.loads((exported / "out" / "compare-1.json").read_text("utf-8"))
    table = rows(exported / "out" / "compare-1.csv")
    assert len(table) == len(document["pairs"]) > 1
    for row, pair in zip(table, document["pairs"], strict=True):
        assert float(row["difference u prime v prime (1)"]) == pair["delta_u_prime_v_prime"]
        limits = [float(row[f"difference u prime v prime {end} 95 % (1)"]) for end in ("low", "high")]
        assert limits == pair["delta_u_prime_v_prime_interval"]
        assert row["photograph of b"] == pair["b"]["path"]
        assert row["sample b"].removeprefix("'") == pair["b"]["name"]
        assert row["verdict"] == pair["verdict"]


NOTE = "[/b] (not /home/a/b.txt) beside wet /dry/x; its /very/near/neighbour"


def test_names_of_samples_with_a_slash_stay(tmp_path, rendered):
    run("new", tmp_path / "study", "--title", "Slashes")
    run("add", tmp_path / "study", rendered / "09.jpg", "--names", "[/b],wet /dry/x,deadbeef")
    run("edit", tmp_path / "study", "09.jpg", "--note", NOTE)
    run("export", tmp_path / "study", "--out", tmp_path / "out", "--zip", tmp_path / "slashes.zip", "--json")
    samples = (tmp_path / "out" / "samples.csv").read_text("utf-8")
    study = json.loads((tmp_path / "out" / "study.json").read_text("utf-8"))
    for name in ("[/b]", "wet /dry/x", "deadbeef"):
        assert name in samples
        assert name in [s["name"] for s in study["samples"]]
    told = "[/b] (not b.txt) beside wet /dry/x; its neighbour"
    assert study["photographs"][0]["note"] == told
    assert study["edits"][0]["words"] == f"09.jpg: note {told!r}"
    run("open", tmp_path / "slashes.zip", tmp_path / "there")
    for folder in ("study", "there"):
        CliRunner().invoke(main, ["report", str(tmp_path / folder)])
        page = html.unescape((tmp_path / folder / "report.html").read_text("utf-8"))
        assert f"note {told!r}" in page


def test_no_folder_of_the_computer_is_told(exported):
    for file in (exported / "out").iterdir():
        if file.is_file():
            assert str(exported) not in file.read_text("utf-8"), file.name
            assert "../" not in file.read_text("utf-8"), file.name


def test_tables_are_tidy_with_units_in_their_heads(exported):
    """One row an observation, one column a quantity; every figure has its unit in brackets."""
    samples = rows(exported / "out" / "samples.csv")
    assert [(r["photograph"], r["sample"]) for r in samples] == [
        (photo, name) for photo in ("09.jpg", "10.jpg") for name in ("red-1", "'=red-2", "green")
    ]
    with open_study(exported / "study") as reading:
        first = next(reading.measured()).samples[0]
    assert float(samples[0]["u prime (1)"]) == first.u_prime
    assert float(samples[0]["dominant wavelength (nm)"]) == first.dominant_wavelength_nm
    photographs = rows(exported / "out" / "photographs.csv")
    assert {r["status"] for r in photographs} == {"measured", "not measured"}
    measured = next(r for r in photographs if r["photograph"] == "10.jpg")
    assert measured["note"] == "'=see book.txt", "no spreadsheet takes it for a formula"
    for table in (samples, photographs):
        numbers = {k for r in table for k, v in r.items() if re.fullmatch(r"-?\d+(\.\d+)?(e-?\d+)?", v)}
        assert numbers
        assert all(re.search(r"\((1|px2?|nm|s)\)$", head) for head in numbers - {"sample"}), numbers


def test_figures_are_at_print_size(exported):
    files = sorted((exported / "out" / "figures").glob("*.png"))
    assert {f.stem for f in files} >= {"chromaticity-1976", "annotated-09.jpg", "swatches-10.jpg"}
    for file in files:
        with Image.open(file) as png:
            assert png.info["dpi"] == pytest.approx((300, 300), abs=0.01)
            assert png.width / 300 * 25.4 <= 85.1
        assert 'mm" viewBox="0 0 ' in file.with_suffix(".svg").read_text("utf-8")[:300]


def test_an_empty_study_is_exported_too(tmp_path):
    run("new", tmp_path / "study")
    run("export", tmp_path / "study", "--out", tmp_path / "out", "--zip", tmp_path / "a.zip")
    assert rows(tmp_path / "out" / "samples.csv") == []
    run("open", tmp_path / "a.zip", tmp_path / "there")


def test_what_is_in_the_way_is_said(tmp_path):
    run("new", tmp_path / "study")
    (tmp_path / "file").write_text("mine")
    for option, where in (("--out", "file"), ("--zip", "study"), ("--zip", "nowhere/a.zip")):
        done = CliRunner().invoke(
            main, ["study", "export", str(tmp_path / "study"), option, str(tmp_path / where)]
        )
        assert done.exit_code == 1
        assert "Error: " in done.output
    assert (tmp_path / "file").read_text() == "mine"
