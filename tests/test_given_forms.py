"""Forms and luminance ratios given from elsewhere, on rendered series whose truth no fit made.

Truths: the formulas the scene room renders by (``scene/series.py``), which share no code with the fits. The
forms are photographed apart, under a brighter lamp, by the camera of the series.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest
from click.testing import CliRunner

import glowkin
from glowkin import recipes
from glowkin.base.errors import CannotMeasureError, CannotReadError, WrongUseError
from glowkin.base.given import LuminanceRatio
from glowkin.base.records import course_from_json
from glowkin.base.settings import Settings
from glowkin.cli import main
from glowkin.findings.given_forms import check_alike
from glowkin.findings.track import Plan
from glowkin.giving import with_forms
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.render import metered, photograph
from glowkin.scene.series import Change, Course, Shake, photograph_series
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import band
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres, with_luminance
from glowkin.study.study_file import read_study_file

HOUR = 3600.0
HOURS = (0, 1, 2, 3.5, 5, 7, 9, 12)
NAMES = ("early", "quick", "stopped", "still", "control")
START = "2026-05-04T09:00"
SIZE = (480, 340)
OLD, NEW, ODD = band(640, 85), band(520, 52), band(470, 60)
COURSES = {
    "early": Course("first-order", 10 * HOUR),
    "quick": Course("avrami-erofeev", 3 * HOUR, 2.0),
    "stopped": Course("first-order", 2 * HOUR, stops_at=0.5),
}


def scene_of(ratio: float, level: float) -> tuple[Scene, list[Change]]:
    """Two vials that change, a still one and a control; the new form ``ratio`` times as luminous."""
    centres = grid_centres(SIZE, 3, 2)
    light = {"control": with_luminance(band(570, 80), level * np.sqrt(ratio))}
    samples = [
        SceneSample(n, Shape("vial", c, 36), light.get(n, with_luminance(OLD, level)), seed=i)
        for i, (n, c) in enumerate(zip(NAMES, centres, strict=False))
    ]
    changes = [Change(n, c, with_luminance(NEW, level * ratio)) for n, c in COURSES.items()]
    return Scene(SIZE, tuple(samples), surroundings_violet=0.0, seed=3), changes


def rendered(folder, ratio: float, seed: int = 5):
    """The measured photographs of a series that ends before the slow vial is half converted."""
    scene, changes = scene_of(ratio, 0.05 * max(1.0, 1.0 / ratio))
    series = photograph_series(
        scene, changes, [h * HOUR for h in HOURS], default_camera(), np.random.default_rng(seed),
        Exposure(taken_at=datetime(2026, 5, 4, 9)), lamp_drift=0.04, shake=Shake(0.01, 0.5, 0.008),
    )  # fmt: skip
    return [recipes.measure(write_dng(s, folder / f"{i}.dng")) for i, s in enumerate(series.shots)]


@pytest.fixture(scope="module")
def forms(tmp_path_factory):
    """The old form, the new one and another, photographed by themselves in bright light."""
    path = tmp_path_factory.mktemp("forms") / "forms.dng"
    light = [with_luminance(s, level) for s, level in ((OLD, 0.4), (NEW, 0.9), (ODD, 0.3))]
    samples = [
        SceneSample(n, Shape("vial", c, 40), radiance, seed=i)
        for i, (n, c, radiance) in enumerate(zip("abc", grid_centres((480, 200), 3, 1), light, strict=True))
    ]
    scene = Scene((480, 200), tuple(samples), surroundings_violet=0.0, seed=9)
    camera, rng = default_camera(), np.random.default_rng(2)
    exposure = metered(scene, camera, Exposure(taken_at=datetime(2026, 4, 1, 9)), 0.7)
    return write_dng(photograph(scene, camera, rng, exposure), path)


@pytest.fixture(scope="module")
def tenfold(tmp_path_factory):
    return rendered(tmp_path_factory.mktemp("tenfold"), 10.0)


def followed(photos, controls=("control",), **given):
    plan = with_forms(Plan(tuple(controls), (), START, **given), photos, Settings(names=NAMES))
    return recipes.track(photos, plan, NAMES)[1]


def holds(course, name):
    """Whether the interval of the half-time holds the truth, and its width as a share."""
    low, high = course.sample(name).half_time_interval_s
    return low <= COURSES[name].half_time_s <= high, (high - low) / COURSES[name].half_time_s


def fractions_held(found):
    """Share of the points whose interval holds the true fraction."""
    truth = [COURSES[found.name].fraction(p.time_s) for p in found.points]
    return np.mean([p.low <= f <= p.high for p, f in zip(found.points, truth, strict=True)])


def test_a_new_form_given_tells_amounts_of_a_series_that_ends_early(tenfold, forms):
    low, high = followed(tenfold).sample("early").half_time_interval_s  # by a rate law only
    course = followed(tenfold, new_form=f"{forms}:S2")
    held, width = holds(course, "early")
    assert held
    assert width < 0.25
    assert width < (high - low) / COURSES["early"].half_time_s
    found = course.sample("early")
    assert found.points[-1].fraction_start == pytest.approx(0.5 ** (12 / 10), abs=0.02)
    assert fractions_held(found) >= 7 / 8
    assert found.luminance_ratio.low < 10.0 < found.luminance_ratio.high
    assert holds(course, "quick")[0]
    assert course.forms_given[0].basis == "photograph"
    assert "form-contradicted" not in found.flags


def test_where_it_stops_is_known_with_the_new_form_or_the_ratio(tenfold, forms):
    assert followed(tenfold).sample("stopped").stops_at is None
    for given in ({"new_form": f"{forms}:S2"}, {"luminance_ratio": LuminanceRatio(10.0, 0.3)}):
        found = followed(tenfold, **given).sample("stopped")
        low, high = found.stops_at_interval
        assert low <= 0.5 <= high
        assert high - low < 0.35
        assert found.half_time_interval_s[0] <= 2 * HOUR <= found.half_time_interval_s[1]


def test_what_does_not_change_gets_a_limit_by_the_new_form(tenfold, forms):
    assert followed(tenfold).sample("still").longer_than_s is None
    found = followed(tenfold, new_form=f"{forms}:S2").sample("still")
    assert found.verdict == "no change seen"
    assert found.longer_than_s > 12 * HOUR


def test_both_forms_and_the_ratio_tell_amounts_without_any_control(tenfold, forms):
    given = {"old_form": f"{forms}:S1", "new_form": f"{forms}:S2"}
    course = followed(tenfold, (), luminance_ratio=LuminanceRatio(10.0, 0.5), **given)
    for name in COURSES:
        assert holds(course, name)[0]
        assert course.sample(name).contradicted == ()
    assert holds(course, "early")[1] < 0.8
    assert fractions_held(course.sample("early")) >= 7 / 8
    last = course.sample("early").points[-1]
    assert last.high - last.low < 0.4
    # the same without the ratio: no amount
    found = followed(tenfold, (), **given).sample("early")
    assert found.half_time_s is None
    assert all(p.fraction_start is None for p in found.points)
    assert "light-is-not-amount" in found.flags
    shares = [p.light_fraction_start for p in found.points]
    truth = [f / (f + (1 - f) * 10.0) for f in (COURSES["early"].fraction(h * HOUR) for h in HOURS)]
    assert shares == pytest.approx(truth, abs=0.03)


def test_an_uncertain_ratio_makes_intervals_wider(tenfold, forms):
    given = {"old_form": f"{forms}:S1", "new_form": f"{forms}:S2"}
    widths = [
        holds(followed(tenfold, (), luminance_ratio=LuminanceRatio(10.0, sd), **given), "quick")[1]
        for sd in (0.0, 4.0)
    ]
    assert widths[1] > 1.5 * widths[0]


@pytest.mark.parametrize("ratio", [0.03, 0.3, 3.0, 30.0])
def test_a_given_ratio_holds_from_0_03_to_30(tmp_path, forms, ratio):
    photos = rendered(tmp_path, ratio, seed=int(100 * ratio))
    course = followed(
        photos, (), luminance_ratio=LuminanceRatio(ratio, 0.05 * ratio), old_form=f"{forms}:S1",
        new_form=f"{forms}:S2",
    )  # fmt: skip
    held, width = holds(course, "quick")
    assert held
    assert width < 0.6
    assert fractions_held(course.sample("quick")) >= 7 / 8


def test_a_form_that_does_not_fit_is_told_and_not_used(tenfold, forms):
    plain = followed(tenfold).sample("quick")
    course = followed(tenfold, new_form=f"{forms}:S3")
    found = course.sample("quick")
    assert found.contradicted == ("new form",)
    assert "form-contradicted" in found.flags
    assert found.half_time_s == pytest.approx(plain.half_time_s)
    exchanged = followed(tenfold, old_form=f"{forms}:S2", new_form=f"{forms}:S1").sample("quick")
    assert "old form" in exchanged.contradicted
    wrong_ratio = followed(tenfold, new_form=f"{forms}:S2", luminance_ratio=LuminanceRatio(2.0, 0.1))
    assert wrong_ratio.sample("quick").contradicted == ("luminance ratio",)


def test_a_form_that_does_not_fit_is_told_without_a_control_too(tenfold, forms):
    found = followed(tenfold, (), old_form=f"{forms}:S3").sample("quick")
    assert "form-contradicted" in found.flags
    assert "old form" in found.contradicted


def test_a_form_of_a_file_is_seen_by_the_camera_with_its_error(tenfold, forms, tmp_path):
    file = tmp_path / "forms.json"
    kept = ["measure", str(forms), "--form", "S1=red", "--form", "S2=green", "--forms", str(file), "--json"]
    assert CliRunner().invoke(main, kept).exit_code == 0
    course = followed(tenfold, new_form=f"{file}:green")
    by_photo = followed(tenfold, new_form=f"{forms}:S2")
    for name in COURSES:
        held, width = holds(course, name)
        assert held
        assert width < 1.0
    # a colour says less than the camera's own channels
    assert holds(course, "early")[1] >= holds(by_photo, "early")[1]
    with pytest.raises(WrongUseError, match="no such form; there are red, green"):
        followed(tenfold, new_form=f"{file}:gren")
    # the predicted channels hold those that the camera showed
    shown, told = by_photo.forms_given[0], course.forms_given[0]
    away = np.subtract(shown.linear_rgb, told.linear_rgb)
    C = np.add(shown.linear_rgb_covariance, told.linear_rgb_covariance) + 1e-6 * np.eye(3)
    assert away @ np.linalg.solve(C, away) < 11.3  # chi-square of 3, 99 %


def test_what_is_not_there_is_refused_with_the_mend(tenfold, forms, tmp_path):
    for told, words in (
        ("fresh.dng", "write it as PHOTO:SAMPLE"),
        (f"{forms}:S9", "no such sample in it; there are S1, S2, S3"),
    ):
        with pytest.raises(WrongUseError, match=words):
            followed(tenfold, old_form=told)
    with pytest.raises(CannotMeasureError, match="by the same camera"):
        check_alike("old", f"{forms}:S1", replace(tenfold[0], kind="rendered"), tenfold[0])
    other = [replace(p, kind="rendered") for p in tenfold]
    ratio = LuminanceRatio(10.0, 1.0)
    with pytest.raises(CannotMeasureError, match=r"--old-form and --luminance-ratio: .*JPEG.*photograph raw"):
        followed(other, old_form=f"{forms}:S1", luminance_ratio=ratio)
    with pytest.raises(CannotMeasureError, match=r"^--luminance-ratio: a series of JPEG"):
        followed(other, luminance_ratio=ratio)
    for text in ("ten", "0", "10±20", "-3", "1e9", "10±"):
        with pytest.raises(WrongUseError, match="write the new form's luminance"):
            LuminanceRatio.read(text)


def test_the_command_and_the_record_tell_what_was_given(tenfold, forms):
    paths = [p.path for p in tenfold]
    done = CliRunner().invoke(main, [
        "track", *paths, "--names", ",".join(NAMES), "--control", "control", "--start", START,
        "--new-form", f"{forms}:S2", "--luminance-ratio", "10±1", "--json",
    ])  # fmt: skip
    assert done.exit_code == 0
    document = json.loads(done.stdout)
    assert document["luminance_ratio_given"] == {"value": 10.0, "sd": 1.0}
    assert document["forms_given"][0]["told"] == f"{forms}:S2"
    course = course_from_json(document)
    assert course.luminance_ratio_given == LuminanceRatio(10.0, 1.0)
    assert course.forms_given[0].linear_rgb == tuple(document["forms_given"][0]["linear_rgb"])
    assert holds(course, "early")[0]
    bad = CliRunner().invoke(main, ["track", *paths, "--new-form", "gone.json:green"])
    assert bad.exit_code == 1
    assert "gone.json: there is no such file" in bad.output


def test_python_takes_the_same(tenfold, forms):
    course = glowkin.track(
        tenfold, names=NAMES, controls=["control"], start=START, new_form=f"{forms}:S2", luminance_ratio=10
    )  # fmt: skip
    assert holds(course, "early")[0]


def test_a_study_takes_forms_from_its_photographs_and_its_file(tenfold, forms, tmp_path):
    study = glowkin.Study.new(tmp_path / "drying")
    study.add([p.path for p in tenfold], names=NAMES)
    study.add(forms)
    series = [p.path for p in tenfold]
    ways = {"names": NAMES, "controls": ["control"], "start": START}
    assert holds(study.track(series, new_form="forms.dng:S2", **ways), "early")[0]
    text = f'new_form = "{forms}:S2"\nluminance_ratio = 10\n'
    (tmp_path / "drying" / "study.toml").write_text(text, encoding="utf-8")
    course = study.track(series, **ways)
    assert holds(course, "early")[0]
    assert course.luminance_ratio_given == LuminanceRatio(10.0)


def test_a_study_file_tells_what_is_wrong_in_its_forms(tmp_path):
    path = tmp_path / "study.toml"
    path.write_text('old_form = "fresh.dng"\nluminance_ratio = "ten"\n', encoding="utf-8")
    with pytest.raises(CannotReadError) as error:
        read_study_file(path)
    assert "old_form: must be PHOTO:SAMPLE or FORMS.json:FORM" in str(error.value)
    assert "luminance_ratio: must be a number" in str(error.value)
