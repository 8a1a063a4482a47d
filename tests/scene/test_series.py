from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from glowkin.base.errors import WrongUseError
from glowkin.scene import cameras, series, spectra, stage

HOUR = 3600.0
CHANGING = sorted(set(series.PROGRESS) - {"none"})


@pytest.mark.parametrize("model", CHANGING)
def test_every_course_starts_whole_and_is_half_way_at_its_half_time(model: str) -> None:
    # the documented meaning of half time: the middle between start and end, induction included
    course = series.Course(model, 6 * HOUR, exponent=0.7, stops_at=0.2, induction_s=HOUR)
    assert course.fraction(0.0) == pytest.approx(1.0)
    assert course.fraction(6 * HOUR) == pytest.approx(0.6)
    assert course.fraction(1e9) == pytest.approx(0.2, abs=1e-6)
    steps = [course.fraction(t * HOUR) for t in range(200)]
    assert all(b <= a for a, b in pairwise(steps))


@pytest.mark.parametrize(
    ("model", "n", "law"),
    [
        # integral forms g(alpha) = k t: Khawam & Flanagan 2006 (from memory)
        ("zero-order", 1.0, lambda a: a),
        ("first-order", 1.0, lambda a: -np.log(1.0 - a)),
        ("avrami-erofeev", 2.0, lambda a: np.sqrt(-np.log(1.0 - a))),
        ("contracting-area", 1.0, lambda a: 1.0 - (1.0 - a) ** 0.5),
        ("contracting-volume", 1.0, lambda a: 1.0 - (1.0 - a) ** (1.0 / 3.0)),
    ],
)
def test_courses_follow_the_published_laws(model: str, n: float, law) -> None:  # type: ignore[no-untyped-def]
    course = series.Course(model, HOUR, exponent=n)
    t = np.linspace(0.1, 1.5, 8)
    g = np.array([law(1.0 - course.fraction(v * HOUR)) for v in t])
    assert g / t == pytest.approx(g[-1] / t[-1])


def test_prout_tompkins_is_logistic_once_its_germ_is_counted() -> None:
    # ln(alpha / (1 - alpha)) is linear in time: Prout & Tompkins 1944 (from memory)
    course = series.Course("prout-tompkins", HOUR)
    t = np.linspace(0.0, 1.6, 9)
    alpha = np.array([1.0 - course.fraction(v * HOUR) for v in t]) * (1.0 - series.SEED) + series.SEED
    steps = np.diff(np.log(alpha / (1.0 - alpha)))
    assert steps == pytest.approx(steps.mean())


def a_series(**options):  # type: ignore[no-untyped-def]
    red, green = spectra.band(640.0, 85.0), spectra.band(520.0, 52.0)
    A, B = stage.with_luminance(red, 1.0), stage.with_luminance(green, 10.0)
    scene = stage.plain_scene((300, 120), [A, A, stage.with_luminance(spectra.emitters()["yellow"], 4.0)])
    changes = [series.Change("A", series.Course("first-order", 6 * HOUR), B)]
    times = [t * HOUR for t in (0, 3, 6, 12, 100)]
    rng = np.random.default_rng(8)
    return series.photograph_series(scene, changes, times, cameras.default_camera(), rng, **options)


def test_a_half_converted_vial_of_a_tenfold_brighter_form_shines_at_ten_elevenths_green() -> None:
    # arithmetic: 1 : 1 by amount, tenfold brighter -> 91 % of the light
    made = a_series(lamp_drift=0.0, shake=series.Shake(0.0, 0.0, 0.0))
    truth = made.truths[0]
    assert truth.luminance_ratio == pytest.approx(10.0)
    assert truth.fraction_start[2] == pytest.approx(0.5)
    half, end = made.shots[2].truths[0], made.shots[4].truths[0]
    yellow = [made.shots[i].truths[2] for i in (2, 4)]
    level = half.brightness / yellow[0].brightness, end.brightness / yellow[1].brightness
    assert level[0] / level[1] == pytest.approx(0.55, abs=1e-3)


def test_the_exposure_is_fixed_and_nothing_clips() -> None:
    made = a_series()
    assert len({s.exposure.exposure_s for s in made.shots}) == 1
    assert max(int(s.codes.max()) for s in made.shots) < made.shots[0].camera.white
    stamps = [s.exposure.taken_at for s in made.shots]
    assert (stamps[2] - stamps[0]).total_seconds() == 6 * HOUR


def test_the_control_shows_the_lamps_drift() -> None:
    made = a_series(lamp_drift=0.05, shake=series.Shake(0.0, 0.0, 0.0))
    x, y = (round(v) for v in made.shots[0].truths[2].centre_px)
    levels = np.array([s.codes[y - 12 : y + 12, x - 12 : x + 12].mean() - 512.0 for s in made.shots])
    assert levels / levels[0] == pytest.approx(np.array(made.lamp) / made.lamp[0], rel=0.01)
    assert np.std(made.lamp) > 0.01


def test_bleaching_counts_the_time_under_the_lamp() -> None:
    red = stage.with_luminance(spectra.band(640.0, 85.0), 1.0)
    scene = stage.plain_scene((100, 100), [red])
    change = series.Change("A", series.Course(), red, bleach_per_s=0.01)
    made = series.photograph_series(
        scene,
        [change],
        [0.0, 1.0, 2.0],
        cameras.default_camera(),
        np.random.default_rng(1),
        lamp_on_s=10.0,
    )
    powers = [s.truths[0].spectrum.sum() for s in made.shots]
    assert powers[2] / powers[0] == pytest.approx(np.exp(-0.2))


def test_shake_moves_the_truth_and_the_picture_together() -> None:
    made = a_series(shake=series.Shake(0.03, 2.0, 0.02))
    for shot in made.shots:
        bright = (shot.codes[0::2, 0::2].astype(float) - 512.0) > 400.0
        truth = shot.truths[2]
        x, y = (round(v / 2) for v in truth.centre_px)
        assert bright[y - 3 : y + 4, x - 3 : x + 4].all()
    centres = np.array([s.truths[2].centre_px for s in made.shots])
    assert np.ptp(centres, axis=0).max() > 3.0


def test_a_change_of_nobody_is_refused() -> None:
    red = spectra.band(640.0, 85.0)
    scene = stage.plain_scene((60, 60), [red])
    with pytest.raises(WrongUseError, match="no sample in the scene is named Q"):
        series.photograph_series(
            scene,
            [series.Change("Q", series.Course(), red)],
            [0.0],
            cameras.default_camera(),
            np.random.default_rng(0),
        )


def test_an_unknown_course_is_refused() -> None:
    with pytest.raises(WrongUseError, match="take one of zero-order"):
        replace(series.Course(), model="exponential").fraction(1.0)


def test_a_way_to_spoil_that_there_is_not_is_refused():
    from glowkin.scene.shot import Exposure
    from glowkin.scene.spoil import spoiled_photograph

    with pytest.raises(ValueError, match="'smudged' is no way to spoil a photograph; there are finger"):
        spoiled_photograph(
            stage.two_reds_and_green((450, 300)), cameras.default_camera(), np.random.default_rng(0),
            Exposure(), "smudged",
        )  # fmt: skip
