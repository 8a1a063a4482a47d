"""The lamp as a second clock, and controls that fade, against scipy's own fits and known truths."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.stats import linregress
from scipy.stats import t as student

from glowkin.base.records import course_from_json, to_json
from glowkin.base.study import PhotographTold, Shot, StudyFile
from glowkin.findings.clocks import which_clock
from glowkin.findings.track import Plan, track_photos
from glowkin.findings.unmix import Series
from made import GREEN, HOUR, RED, WEIGHTS, YELLOW, mixed, photographs, steady

HOURS = np.array([0.0, 1.0, 2.0, 4.0, 6.0, 9.0, 13.0, 18.0, 25.0, 36.0])
MINUTES = np.array([1.0, 6.0, 1.0, 12.0, 1.0, 1.0, 9.0, 2.0, 1.0, 8.0])
DOSE_S = np.cumsum(MINUTES) * 60.0
N = len(HOURS)
TOLD = StudyFile(
    start="2026-05-04T09:00:00",
    photograph=tuple(PhotographTold(file=f"{i:02}.dng", lamp_on_min=float(m)) for i, m in enumerate(MINUTES)),
)


def tracked(photos, study=TOLD, controls=("control",), references=()):
    return track_photos(photos, Plan((*controls, *references), study=study, start=study.start,
                                     references=references))  # fmt: skip


def changing(clock_s, half_s, seed=0):
    vial = mixed(0.5 ** (clock_s / half_s))
    return photographs(HOURS, {"vial": vial, "control": steady(N)}, seed)


def test_aicc_against_either_clock_is_that_of_scipys_fit():
    """One channel's worth of data by hand: curve_fit of A, B and the half-time in three channels at once."""
    rng = np.random.default_rng(4)
    sd = 0.002
    signals = mixed(0.5 ** (HOURS / 6.0)) + sd * rng.standard_normal((N, 3))
    series = Series(HOURS * HOUR, signals, np.repeat(sd**2 * np.eye(3)[None], N, axis=0), 1e-6, WEIGHTS)

    def model(t, log_half, *forms):
        f = 0.5 ** (t / np.exp(log_half))
        return (f[:, None] * forms[:3] + (1.0 - f[:, None]) * forms[3:]).ravel()

    def aicc(clock, start):
        best, _ = curve_fit(model, clock, signals.ravel(), [np.log(start), *RED, *GREEN], maxfev=20000)
        rss = float(np.sum((signals.ravel() - model(clock, *best)) ** 2)) / sd**2
        n, k = signals.size, 8  # seven fitted, and the variance
        return n * np.log(rss / n) + 2 * k + 2 * k * (k + 1) / (n - k - 1)

    found = which_clock(series, DOSE_S, "study file")
    assert found.explains == "elapsed time"
    by_hand = aicc(HOURS * HOUR, 6 * HOUR), aicc(DOSE_S, 600.0)
    # The best of all models is at least as good as first order, which is the truth against elapsed time.
    assert found.model_elapsed == "first-order" or found.aicc_elapsed < by_hand[0]
    assert found.aicc_elapsed == pytest.approx(by_hand[0], abs=2.0)
    assert found.aicc_lamp_on <= by_hand[1] + 0.1


@pytest.mark.parametrize("seed", range(4))
def test_the_clock_that_drives_a_change_is_found(seed):
    dark = tracked(changing(HOURS * HOUR, 6 * HOUR, seed)).sample("vial").clock
    light = tracked(changing(DOSE_S, 12 * 60.0, seed)).sample("vial").clock
    assert (dark.explains, light.explains) == ("elapsed time", "lamp-on time")
    assert dark.aicc_elapsed < dark.aicc_lamp_on
    assert (dark.told_by, light.told_by) == ("study file", "study file")


def test_clocks_that_go_together_cannot_be_told_apart():
    hours = np.arange(10.0) * 3.0
    vial = mixed(0.5 ** (hours / 8.0))
    photos = photographs(hours, {"vial": vial, "control": steady(10)})
    study = StudyFile(start="2026-05-04T09:00:00", shot=Shot(lamp_on_min=2.0))
    clock = tracked(photos, study).sample("vial").clock
    assert (clock.explains, clock.aicc_elapsed) == ("cannot tell", None)


def test_exposures_stand_for_minutes_that_are_not_told_and_the_record_says_so():
    study = StudyFile(start="2026-05-04T09:00:00")
    found = tracked(changing(HOURS * HOUR, 6 * HOUR), study).sample("vial")
    assert found.clock.told_by == "exposure"
    assert [p.lamp_on_s for p in found.points] == pytest.approx(np.arange(1.0, N + 1.0))
    told = tracked(changing(HOURS * HOUR, 6 * HOUR)).sample("vial")
    assert [p.lamp_on_s for p in told.points] == pytest.approx(DOSE_S)


def test_a_lamp_that_was_not_on_between_photographs_is_no_second_clock():
    told = tuple(PhotographTold(file=f"{i:02}.dng", lamp_on_min=float(i == 0)) for i in range(N))
    study = StudyFile(start="2026-05-04T09:00:00", photograph=told)
    assert tracked(changing(HOURS * HOUR, 6 * HOUR), study).sample("vial").clock is None


def test_without_a_study_file_there_is_no_second_clock():
    course = track_photos(changing(HOURS * HOUR, 6 * HOUR), Plan(("control",)))
    assert {s.clock for s in course.samples} == {None}


RATE = 0.3 / DOSE_S[-1]
FADED = np.exp(-RATE * (DOSE_S - DOSE_S[0]))


def bleached(seed=0, lamp=0.02, vial_too=True, reference=True):
    """A control that loses a quarter of its light to the lamp; the vial changes with 6 h, and fades alike."""
    fade = FADED[:, None]
    vial = mixed(0.5 ** (HOURS / 6.0)) * (fade if vial_too else 1.0)
    signals = {"vial": vial, "control": steady(N) * fade}
    return photographs(
        HOURS, signals | ({"glow": steady(N, YELLOW * 0.7)} if reference else {}), seed, lamp=lamp
    )


def test_bleaching_told_from_the_lamp_is_scipys_regression_of_the_logarithms():
    photos = bleached()
    found = tracked(photos, references=("glow",)).bleaching[0]
    levels = {n: np.array([sum(p.sample(n).linear_rgb) for p in photos]) for n in ("control", "glow")}
    line = linregress(DOSE_S, np.log(levels["control"] / levels["glow"]))
    half = student.ppf(0.975, N - 2) * line.stderr
    assert found.rate_per_s == pytest.approx(-line.slope, rel=1e-6)
    assert found.rate_interval_per_s == pytest.approx((-line.slope - half, -line.slope + half), rel=1e-6)
    assert (found.clock, found.told_from_lamp, found.control) == ("lamp-on time", True, "control")
    assert found.left == pytest.approx(np.exp(line.slope * (DOSE_S[-1] - DOSE_S[0])), rel=1e-6)
    assert found.rate_interval_per_s[0] < RATE < found.rate_interval_per_s[1]
    assert [t for t, _ in found.points] == pytest.approx(DOSE_S)


@pytest.mark.parametrize("seed", range(4))
def test_bleaching_is_divided_out_of_the_samples_though_the_lamp_ages(seed):
    ageing = 1.0 - 0.1 * np.linspace(0.0, 1.0, N)
    course = tracked(bleached(seed, ageing), references=("glow",))
    low, high = course.sample("vial").half_time_interval_s
    assert "control-fades" in course.flags
    assert low <= 6 * HOUR <= high
    assert high - low < 0.1 * 6 * HOUR
    assert course.sample("vial").luminance_ratio.value == pytest.approx(5.0, rel=0.05)


def test_without_a_reference_a_fading_control_and_a_fading_lamp_look_alike():
    course = tracked(bleached(reference=False))
    found = course.bleaching[0]
    assert not found.told_from_lamp
    assert "control-fades" not in course.flags
    lamp = tracked(
        photographs(HOURS, {"vial": mixed(0.5 ** (HOURS / 6.0)), "control": steady(N)}, lamp=FADED)
    )
    assert lamp.bleaching[0].rate_per_s == pytest.approx(found.rate_per_s, rel=0.2)


@pytest.mark.parametrize("seed", range(10))
def test_a_control_that_does_not_fade_is_not_said_to(seed):
    signals = {"vial": mixed(0.5 ** (HOURS / 6.0)), "control": steady(N), "glow": steady(N, YELLOW * 0.7)}
    assert tracked(photographs(HOURS, signals, seed), references=("glow",)).bleaching == ()


def test_the_second_clock_and_bleaching_come_back_from_the_record():
    course = tracked(bleached(), references=("glow",))
    again = course_from_json(to_json(course))
    assert again.bleaching == course.bleaching
    assert again.sample("vial").clock == course.sample("vial").clock


def test_a_spoiled_photograph_does_not_decide_about_the_clock():
    from dataclasses import replace

    photos = changing(HOURS * HOUR, 6 * HOUR)
    samples = tuple(
        replace(s, linear_rgb=(0.02, 0.03, 0.09)) if s.name == "vial" else s for s in photos[4].samples
    )
    found = tracked([*photos[:4], replace(photos[4], samples=samples), *photos[5:]]).sample("vial")
    assert found.spoiled_photos == ("04.dng",)
    assert found.clock.explains == "elapsed time"
    whole = tracked(photos).sample("vial").clock
    assert found.clock.aicc_lamp_on - found.clock.aicc_elapsed == pytest.approx(
        whole.aicc_lamp_on - whole.aicc_elapsed, rel=0.5
    )
