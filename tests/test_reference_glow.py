"""A reference glow from photograph to record, report and course."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner

import glowkin
from glowkin import recipes
from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.base.records import measure_document, photos_from_json
from glowkin.base.settings import Settings
from glowkin.base.uncertainty import ellipse_95
from glowkin.cli import main
from glowkin.findings.track import Plan
from glowkin.scene.cameras import default_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import WAVELENGTH_NM, band
from glowkin.scene.stage import plain_scene
from glowkin.telling.wording import references_words

NAMES = ("reference", "near", "far")
SPECTRA = [band(545, 110), band(530, 90), band(620, 80)]


@pytest.fixture(scope="module")
def shot(tmp_path_factory):
    """Three vials, raw and JPEG, the first with a spectrum file; a series in which the lamp fades."""
    folder = tmp_path_factory.mktemp("reference")
    table = "\n".join(f"{w:g},{p:.6f}" for w, p in zip(WAVELENGTH_NM, SPECTRA[0], strict=True))
    (folder / "reference.csv").write_text("wavelength_nm,intensity\n" + table, "utf-8")
    scene, camera = plain_scene((480, 160), SPECTRA), default_camera()
    taken = photograph(scene, camera, np.random.default_rng(1), brightest=0.6)
    write_dng(taken, folder / "shot.dng")
    automatic = Exposure(automatic_white_balance=True)
    write_jpeg(
        photograph(scene, camera, np.random.default_rng(1), automatic, brightest=0.6), folder / "shot.jpg"
    )
    for hour, light in enumerate((0.6, 0.45, 0.5, 0.35, 0.4)):
        one = photograph(scene, camera, np.random.default_rng(hour), brightest=light)
        write_dng(one, folder / f"2026-05-04T{9 + hour:02d}-00-00.dng")
    return folder


def measured(path, *references):
    return recipes.measure(path, Settings(names=NAMES, references=references))


@pytest.mark.parametrize("file", ["shot.dng", "shot.jpg"])
def test_the_record_says_what_the_reference_shows(shot, file):
    photo = measured(shot / file, ("reference", str(shot / "reference.csv")))
    (read,) = photo.references
    assert (read.sample, read.glow) == ("reference", "reference.csv")
    known = np.array([read.known_u_prime, read.known_v_prime])
    inferred = np.array([read.inferred_u_prime, read.inferred_v_prime])
    assert np.hypot(*(inferred - known)) == pytest.approx(read.deviation_u_prime_v_prime)
    assert read.deviation_u_prime_v_prime < read.allowed_u_prime_v_prime
    assert read.recentred
    assert "reference-off" not in photo.flags
    again = photos_from_json(json.loads(json.dumps(measure_document([photo], [], "glowkin"))))
    assert again == [photo]
    assert "as expected" in references_words([photo])[0]
    assert "re-centred by it" in references_words([photo])[0]


def test_other_samples_of_the_photograph_are_known_better(shot):
    plain, better = (
        measured(shot / "shot.dng"),
        measured(shot / "shot.dng", ("reference", str(shot / "reference.csv"))),
    )
    # A region's size is read from some hundred neighbours, and is itself uncertain by about a third.
    for name, most in (("near", 1.0), ("far", 1.6)):
        before, after = (
            ellipse_95(np.array(p.sample(name).u_prime_v_prime_covariance))[0] for p in (plain, better)
        )
        assert after < most * before
    assert better.camera == plain.camera


def test_a_wrong_reference_moves_nothing_and_is_flagged(shot):
    plain = measured(shot / "shot.dng")
    wrong = measured(shot / "shot.dng", ("far", "quinine-sulfate"))
    assert wrong.references[0].off
    assert not wrong.references[0].recentred
    assert "reference-off" in wrong.flags
    assert [s.u_prime for s in wrong.samples] == [s.u_prime for s in plain.samples]
    assert "off" in references_words([wrong])[0]
    assert "left as it is" in references_words([wrong])[0]


def test_a_missing_reference_is_told(shot):
    with pytest.raises(
        CannotMeasureError, match="--reference vial: no such sample; there are reference, near"
    ):
        measured(shot / "shot.dng", ("vial", "fluorescein"))


def test_python_takes_references(shot):
    known = {"reference": str(shot / "reference.csv")}
    photo = glowkin.measure(shot / "shot.dng", names=NAMES, references=known)
    assert photo.references[0].sample == "reference"
    assert glowkin.spectrum(shot / "reference.csv").peak_nm == pytest.approx(545, abs=0.5)


@pytest.mark.parametrize(
    ("text", "words"),
    [("reference", "NAME=KIND"), ("=fluorescein", "NAME=KIND"), ("reference=gold", "is not known; give")],
)
def test_wrong_use_is_told_before_anything_is_decoded(text, words):
    done = CliRunner().invoke(main, ["measure", "none.dng", "--reference", text])
    assert done.exit_code == 2
    assert words in " ".join(done.stderr.split())


def test_the_terminal_and_the_report_tell_it(shot, tmp_path):
    reference = f"reference={shot / 'reference.csv'}"
    asked = [
        "measure", str(shot / "shot.dng"), "--names", ",".join(NAMES), "--reference", reference,
        "--out", str(tmp_path / "out"),
    ]  # fmt: skip
    done = CliRunner().invoke(main, asked)
    assert done.exit_code == 0
    assert "Reference reference (reference.csv): as expected" in " ".join(done.stdout.split())
    page = (tmp_path / "out" / "report.html").read_text("utf-8")
    assert "Reference reference (reference.csv): as expected" in page
    assert "was the reference: what the camera shows of it" in page


def test_in_a_series_the_reference_steadies_the_lamp_and_is_checked_in_each_photograph(shot):
    photos = [recipes.measure(path) for path in sorted(shot.glob("2026*.dng"))]
    known = [("reference", str(shot / "reference.csv"))]
    series, course = recipes.track(photos, Plan(), NAMES, known)
    as_control = recipes.track(photos, Plan(controls=("reference",)), NAMES)[1]
    assert course == as_control
    assert course != recipes.track(photos, Plan(), NAMES)[1]
    assert course.sample("far").verdict != "changing"
    assert [len(p.references) for p in series] == [1] * 5
    assert not any(p.references[0].recentred for p in series)
    assert references_words(series)[0].startswith(
        "Reference reference (reference.csv): as expected in 5 of 5 photographs"
    )
    wrong, _ = recipes.track(photos, Plan(), NAMES, [("far", "quinine-sulfate")])
    assert all("reference-off" in p.flags for p in wrong)
    with pytest.raises(WrongUseError, match="--reference vial: no such sample"):
        recipes.track(photos, Plan(), NAMES, [("vial", "fluorescein")])
