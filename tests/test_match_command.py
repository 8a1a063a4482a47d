"""``glowkin match`` and the forms that ``glowkin measure`` keeps, from the command line."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

import glowkin
from glowkin.base.errors import CannotReadError, WrongUseError
from glowkin.base.spectra import read_forms
from glowkin.cli import main

NAMES = "red-batch-1,red-batch-2,green-form,terbium,control"


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def photograph(root):
    return root / "sample_images" / "side_by_side.dng"


@pytest.fixture(scope="module")
def kept(photograph, tmp_path_factory):
    """A forms file with two samples of the photograph, and what was said."""
    forms = tmp_path_factory.mktemp("forms") / "forms.json"
    asked = ("--form", "red-batch-1=red", "--form", "green-form=green", "--forms", forms)
    done = run("measure", photograph, "--names", NAMES, *asked, "--excitation", "365 nm", "--json")
    return forms, done


@pytest.fixture
def forms(tmp_path):
    """Published chromaticities of ITU-R BT.709 as forms."""
    path = tmp_path / "forms.json"
    for name, xy in (("green", "0.300,0.600"), ("blue", "0.150,0.060")):
        source = ("--source", "ITU-R BT.709", "--form", name, "--forms", path)
        assert run("spectrum", "--published", xy, *source).exit_code == 0
    return path


def test_measured_samples_are_kept_as_forms(kept):
    forms, done = kept
    assert done.exit_code == 0
    assert "Form red kept" in done.stderr
    samples = {s["name"]: s for s in json.loads(done.stdout)["photos"][0]["samples"]}
    red, green = read_forms(forms)
    assert (red.name, red.basis, red.excitation, green.name) == ("red", "photograph", "365 nm", "green")
    assert red.u_prime == samples["red-batch-1"]["u_prime"]
    assert red.shared_errors.keys() == samples["red-batch-1"]["shared_errors"].keys()
    assert red.flags == tuple(samples["red-batch-1"]["flags"])


def test_a_batch_is_consistent_with_its_form_and_the_stranger_is_not(kept, photograph, tmp_path):
    """The camera's error is shared by form and sample, so they are told better than either colour is."""
    done = run("match", photograph, "--names", NAMES, "--forms", kept[0], "--json", "--out", tmp_path / "out")
    document = json.loads(done.stdout)
    assert done.exit_code == 0
    assert document["schema"] == "glowkin.match.v1"
    said = {s["name"]: s for s in document["samples"]}
    assert said["green-form"]["consistent_with"] == ["green"]
    assert "not proof of identity" in said["green-form"]["sentence"]
    assert {f["form"]: f["probability"] for f in said["red-batch-2"]["forms"]}["red"] > 0.5
    assert "red" not in said["terbium"]["consistent_with"]
    for sample in said.values():
        whole = sum(row["probability"] for row in (*sample["forms"], *sample["mixtures"]))
        assert whole + sample["probability_of_none"] == pytest.approx(1.0)
    written = json.loads((tmp_path / "out" / "match.json").read_text("utf-8"))
    assert written["forms_file"] == "forms.json"
    page = (tmp_path / "out" / "report.html").read_text("utf-8")
    assert "Known forms" in page
    assert "Shares are of the light, not of the amount" in page
    assert (tmp_path / "out" / "figures" / "match-1976.png").stat().st_size > 10_000
    (tmp_path / "out" / "report.html").unlink()
    assert run("report", tmp_path / "out").exit_code == 0
    assert (tmp_path / "out" / "report.html").read_text("utf-8") == page


def test_the_table_says_what_was_assumed(forms, photograph):
    done = run("match", photograph, "--forms", forms, "--weight", "green=3", "--variation", "0.01")
    said = " ".join(done.stdout.split())
    assert done.exit_code == 0
    assert "colour consistent with none of the forms" in said
    assert "none of the forms 0.5, one of them 0.25, two of them mixed 0.25 (weights: green 3)" in said
    assert "differ by 0.01 in u′ and in v′" in said


def test_python_gives_the_same(kept, photograph):
    photo = glowkin.measure(photograph, names=NAMES.split(","))
    found = glowkin.match(photo, kept[0])
    assert found.sample("green-form").consistent_with == ("green",)
    assert len(found.rows()) == 5 * 4
    assert glowkin.match(photo, read_forms(kept[0])).samples == found.samples
    with pytest.raises(WrongUseError, match="something must be left"):
        glowkin.match(photo, kept[0], prior_of_none=0.9, prior_of_mixtures=0.2)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ('{"schema": "glowkin.forms.v1", "forms": []}', "holds no form"),
        ('{"schema": "glowkin.forms.v0", "forms": []}', "of another version, glowkin.forms.v0"),
        ('{"schema": "glowkin.forms.v1", "forms": {}}', "forms must be a list"),
        ("nonsense", "is no forms file"),
        ("[" * 200_000, "is no forms file"),
    ],
)
def test_a_forms_file_that_does_not_fit_is_told_before_any_photograph(tmp_path, content, words):
    path = tmp_path / "f.json"
    path.write_text(content, "utf-8")
    done = run("match", tmp_path / "none.dng", "--forms", path, "--json")
    assert done.exit_code == 1
    errors = json.loads(done.stdout)["errors"]
    assert len(errors) == 1
    assert words in errors[0]["message"]
    assert done.stderr.count("\n") == 1


def test_forms_of_one_name_or_broken_ones_are_refused(forms):
    document = json.loads(forms.read_text("utf-8"))
    for change, words in (
        ({"name": "blue"}, "two forms named 'blue'"),
        ({"u_prime_v_prime_covariance": [[1e-6, 9e-6], [9e-6, 1e-6]]}, "is incomplete"),
        ({"shared_errors": {"camera": [[0.1, 0.1], [0.1]]}}, "is incomplete"),
        ({"u_prime_v_prime_covariance": [[1e-6, 1.4e-6], [1.4e-6, 1e-6]]}, "is incomplete"),
        ({"wavelength_nm": [500, 600], "power": [1, "x"]}, "is incomplete"),
        ({"observer": 3}, "is incomplete"),
        ({"u_prime": None}, "is incomplete"),
    ):
        changed = {**document, "forms": [{**document["forms"][0], **change}, document["forms"][1]]}
        forms.write_text(json.dumps(changed), "utf-8")
        with pytest.raises(CannotReadError, match=words):
            read_forms(forms)


def test_a_form_of_the_other_observer_is_told(forms, photograph):
    done = run("match", photograph, "--forms", forms, "--observer", "10")
    assert done.exit_code == 1
    assert "form 'green' is for the 2° observer and holds no spectrum" in done.stderr
    assert "--observer 2" in done.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ("--weight", "gren=2"), ("--weight", "green"), ("--weight", "=2"), ("--weight", "green=-1"),
        ("--weight", "green=many"), ("--prior-none", "0.9", "--prior-mixtures", "0.2"), ("--sure", "0.2"),
        ("--variation", "-1"), ("--weight", "green=0", "--weight", "blue=0"), ("--white-point", "9,9"),
    ],
)  # fmt: skip
def test_wrong_use_is_told_with_status_2(arguments, forms, photograph):
    done = run("match", photograph, "--forms", forms, *arguments)
    assert done.exit_code == 2
    assert "Error: " in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (("--form", "control=c"), 2, "both --form SAMPLE=NAME and the file"),
        (("--form", "control", "--forms", "F"), 2, "write it as SAMPLE=NAME"),
        (("--form", "control=green", "--forms", "F"), 2, "has a form of that name"),
        (("--form", "control=c", "--form", "terbium=c", "--forms", "F"), 2, "are given one name"),
        (("--replace",), 2, "belong to --form"),
        (("--form", "contrl=c", "--forms", "F"), 1, "no such sample; there are red-batch-1"),
        (("--form", "control=c", "--forms", "nowhere/f.json"), 1, "there is no folder"),
    ],
)
def test_wrong_ways_to_keep_a_form(arguments, status, words, forms, photograph):
    before = forms.read_bytes()
    given = [forms if a == "F" else a for a in arguments]
    done = run("measure", photograph, "--names", NAMES, *given)
    assert done.exit_code == status
    assert words in " ".join(done.stderr.split())
    assert forms.read_bytes() == before
    assert ("terbium" in done.stdout) == (words.startswith("no such sample"))
