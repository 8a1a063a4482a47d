"""Rates from simulated vials: spectra through broad sensitivities, photon noise, a wandering lamp."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from glowkin.base.records import SampleCourse
from glowkin.findings.change import slowest_half_time
from glowkin.findings.courses import Course, FittedCourse, not_excluded
from glowkin.findings.fitting import Fit
from glowkin.findings.kinetics import EndForm, Series, fit_course
from glowkin.findings.rate_models import RATE_MODELS
from glowkin.findings.ratios import compare_half_times

HOUR = 3600.0
WAVELENGTHS = np.linspace(400.0, 700.0, 151)
SENSITIVITIES = np.array([np.exp(-0.5 * ((WAVELENGTHS - c) / 38.0) ** 2) for c in (600.0, 535.0, 465.0)])
LUMINOUS = np.exp(-0.5 * ((WAVELENGTHS - 555.0) / 43.0) ** 2)
# Luminance weights as a camera matrix has them: the best mixture of its own channels.
WEIGHTS = np.linalg.lstsq(SENSITIVITIES.T, LUMINOUS, rcond=None)[0]


def signal(peak_nm: float, fwhm_nm: float, luminance: float) -> np.ndarray:
    """Camera signal of one band, of given luminance."""
    band = np.exp(-4.0 * np.log(2.0) * ((WAVELENGTHS - peak_nm) / fwhm_nm) ** 2)
    s = SENSITIVITIES @ band
    return s * luminance / (WEIGHTS @ s)


RED = signal(625.0, 85.0, 0.02)
GREEN = signal(520.0, 52.0, 0.20)


def vial(times_s, f, seed=0, *, lamp=0.02, known=True, photons=3e5, red=RED, green=GREEN) -> Series:
    """Photographs of a vial with the fraction f of the red form left; each mean collects some photons."""
    rng = np.random.default_rng(seed)
    f = np.asarray(f)
    light = (f[:, None] * red + (1.0 - f)[:, None] * green) * (1.0 + lamp * rng.standard_normal((len(f), 1)))
    signals = rng.poisson(light * photons) / photons if photons else light
    variance = np.maximum(light, 1e-5) / (photons or 3e5)
    covariances = variance[:, :, None] * np.eye(3)
    return Series(np.asarray(times_s), signals, covariances, max(lamp, 0.02) if known else np.inf, WEIGHTS)


def first_order(times_s, half_time_s):
    return 0.5 ** (np.asarray(times_s) / half_time_s)


def end_form(scatter=0.02) -> EndForm:
    return EndForm(GREEN, scatter**2 * np.outer(GREEN, GREEN) + np.diag((0.003 * GREEN) ** 2))


DAY = np.linspace(0.0, 24.0, 9) * HOUR


def test_an_even_mixture_with_a_tenfold_brighter_partner_is_half_by_amount_and_91_percent_by_light():
    # Arithmetic: 10 / 11 of the light comes from the brighter half.
    times = np.array([0.0, 2.0, 4.0, 6.0, 12.0, 18.0, 24.0, 48.0]) * HOUR
    found = fit_course(vial(times, first_order(times, 6.0 * HOUR)))
    assert found.luminance_ratio.value == pytest.approx(10.0, rel=0.05)
    assert found.fraction_start[3] == pytest.approx(0.50, abs=0.02)
    assert 1.0 - found.light_fraction_start[3] == pytest.approx(0.91, abs=0.01)


def test_half_the_light_has_changed_long_before_half_the_amount():
    # f = 10/11 there, so ln(1.1) / ln 2 = 0.1375 of the first-order half time.
    found = fit_course(vial(DAY, first_order(DAY, 6.0 * HOUR)))
    assert found.light_half_time_s / found.half_time_s == pytest.approx(0.1375, rel=0.05)


@pytest.mark.parametrize(
    ("model", "exponent"),
    [
        ("zero-order", 1.0),
        ("first-order", 1.0),
        ("stretched-exponential", 0.6),
        ("avrami-erofeev", 2.0),
        ("prout-tompkins", 5.6),
    ],
)
def test_without_noise_every_model_recovers_its_own_truth(model, exponent):
    f = RATE_MODELS[model].fraction(DAY, np.array(6.0 * HOUR), np.array(exponent))
    found = fit_course(vial(DAY, f, lamp=0.0, photons=None))
    assert found.verdict == "changing"
    assert found.model == model
    assert found.half_time_s == pytest.approx(6.0 * HOUR, rel=1e-4)
    assert found.luminance_ratio.value == pytest.approx(10.0, rel=1e-3)
    assert found.fraction_start == pytest.approx(f, abs=1e-3)
    shape, told = RATE_MODELS[model].shape, RATE_MODELS[model].told(np.array(exponent))
    assert found.models[0].parameters.get(shape, 1.0) == pytest.approx(told, rel=1e-3)


@pytest.mark.parametrize("dimension", [1, 2, 3])
def test_a_law_that_comes_to_its_end_is_found_whatever_photographs_that_falls_between(dimension):
    """What shrinks at a steady pace, one to three dimensions of it: (1 - t / end)^dimension (common practice,
    no source), its end anywhere among photographs far apart, in frames of hardly any noise.
    """
    times = np.array([0.0, *np.geomspace(1.0, 60.0, 8)]) * HOUR
    bright, dim = np.array([0.004, 0.042, 0.022]), np.array([0.004, 0.005, 0.0003])
    name = {1: "zero-order", 2: "contracting-area", 3: "contracting-volume"}[dimension]
    for half in np.geomspace(2.5, 14.0, 14) * HOUR:
        end = half / (1.0 - 0.5 ** (1.0 / dimension))
        f = np.clip(1.0 - times / end, 0.0, None) ** dimension
        found = fit_course(vial(times, f, lamp=0.0, photons=1e9, red=bright, green=dim))
        assert found.model == name
        assert found.half_time_s == pytest.approx(half, rel=0.01)


def test_published_concentrations_give_the_published_rate():
    # N2O5 in CCl4 at 45 C, Eyring & Daniels 1930 as tabulated in textbooks (from memory): k = 6.2e-4 / s.
    times = np.array([0.0, 184.0, 319.0, 526.0, 867.0, 1198.0, 1877.0, 2315.0, 3144.0])
    f = np.array([2.33, 2.08, 1.91, 1.67, 1.36, 1.11, 0.72, 0.55, 0.34]) / 2.33
    found = fit_course(vial(times, f, lamp=0.0, photons=None), end_form())
    assert found.model == "first-order"
    assert found.half_time_s == pytest.approx(np.log(2.0) / 6.2e-4, rel=0.03)


@pytest.mark.parametrize(
    ("name", "course", "within"),
    [
        ("two rates", lambda x: 0.5 * np.exp(-2.2 * x) + 0.5 * np.exp(-0.35 * x), 0.1),
        ("accelerating (Gompertz)", lambda x: np.exp(-0.08 * (np.exp(2.2 * x) - 1.0)), 0.1),
        ("logistic", lambda x: (1.0 + np.exp(-4.0)) / (1.0 + np.exp(4.0 * (x - 1.0))), 0.1),
        # A sixth is left at the last photograph: so long a tail reads as a stop, and the half time as short.
        ("second order", lambda x: 1.0 / (1.0 + x), 0.3),
    ],
)
def test_the_half_time_holds_for_courses_outside_the_catalogue(name, course, within):
    times = np.linspace(0.0, 30.0, 12) * HOUR
    fine = np.linspace(0.0, 30.0, 30001)
    truth = np.interp(-0.5, -course(fine / 6.0), fine) * HOUR
    f = course(times / (6.0 * HOUR))
    found = [fit_course(vial(times, f, seed), end_form()).half_time_s for seed in range(2)]
    assert np.mean(found) == pytest.approx(truth, rel=within), name


def test_intervals_hold_the_true_half_time_about_as_often_as_they_say():
    times = np.linspace(0.0, 24.0, 8) * HOUR
    inside, widths = [], []
    for seed in range(100):
        truth = (4.0 + 8.0 * seed / 100) * HOUR
        series = vial(times, first_order(times, truth), seed, photons=1e5)
        low, high = fit_course(series, models=("first-order", "zero-order")).half_time_interval_s
        inside.append(low <= truth <= high)
        widths.append((high - low) / truth)
    message = f"coverage {np.mean(inside):.3f}, median width {np.median(widths):.3f} of the half time"
    assert 0.90 <= np.mean(inside) <= 0.99, message
    assert np.median(widths) < 0.25, message


def test_model_choice_widens_the_interval_but_not_out_of_sight():
    times = np.linspace(0.0, 24.0, 8) * HOUR
    truth, inside, widths = 6.0 * HOUR, [], []
    for seed in range(12):
        found = fit_course(vial(times, first_order(times, truth), seed, photons=1e5))
        low, high = found.half_time_interval_s
        inside.append(low <= truth <= high)
        widths.append((high - low) / truth)
    message = f"coverage {np.mean(inside):.2f}, median width {np.median(widths):.3f} of the half time"
    assert np.mean(inside) >= 0.85, message
    assert np.median(widths) < 0.4, message


def test_first_order_is_never_ruled_out_by_a_model_that_contains_it():
    found = fit_course(vial(DAY, first_order(DAY, 6.0 * HOUR), 4))
    assert "first-order" in found.not_excluded
    assert {"avrami-erofeev", "stretched-exponential"} & set(found.not_excluded)
    assert "zero-order" not in found.not_excluded


def kept_names(*fits):
    return {f.course.model.name for f in not_excluded(fits)}


def fitted(name, rss, score):
    """Of 30 degrees of freedom, the noise as declared where the RSS is 30."""
    return FittedCourse(Course(RATE_MODELS[name]), Fit(np.zeros(2), np.eye(2), rss, 30), score, score)


def test_models_are_kept_within_two_units_and_with_an_exponent_of_one_first_order_comes_back():
    zero, avrami = fitted("zero-order", 26.0, 0.0), fitted("avrami-erofeev", 30.0, 1.9)
    # F(0.95; 1, 30) = 4.17 (any table): first order may have 4.17 more RSS than the model with exponent.
    near, far = fitted("first-order", 34.1, 2.5), fitted("first-order", 34.3, 2.5)
    assert kept_names(zero, avrami, near) == {"zero-order", "avrami-erofeev", "first-order"}
    assert kept_names(zero, avrami, far) == {"zero-order", "avrami-erofeev"}
    assert kept_names(zero, fitted("avrami-erofeev", 30.3, 2.1), far) == {"zero-order"}


def test_a_model_that_fits_as_well_is_kept_however_many_parameters_it_has():
    best = fitted("contracting-area", 30.0, 0.0)
    assert len(kept_names(best, fitted("prout-tompkins", 34.1, 8.0))) == 2
    assert kept_names(best, fitted("prout-tompkins", 34.3, 8.0)) == {"contracting-area"}
    noisier = fitted("contracting-area", 60.0, 0.0)
    assert len(kept_names(noisier, fitted("prout-tompkins", 68.2, 8.0))) == 2  # twice the declared variance


def test_where_frames_scatter_less_than_they_declare_a_model_within_their_errors_is_kept():
    quiet = fitted("prout-tompkins", 6.0, 0.0)
    assert len(kept_names(quiet, fitted("contracting-volume", 10.1, 3.0))) == 2
    assert kept_names(quiet, fitted("contracting-volume", 10.3, 3.0)) == {"prout-tompkins"}


def test_an_induction_time_is_told_from_first_order():
    found = fit_course(vial(DAY, 0.5 ** ((DAY / (6.0 * HOUR)) ** 2), 1))
    assert found.model == "avrami-erofeev"
    assert not {"first-order", "zero-order", "stretched-exponential"} & set(found.not_excluded)
    low, high = found.half_time_interval_s
    assert low < 6.0 * HOUR < high
    assert (high - low) / found.half_time_s < 0.15


def test_where_it_stops_is_found_when_the_end_form_is_known():
    f = 0.3 + 0.7 * first_order(DAY, 4.0 * HOUR)
    found = fit_course(vial(DAY, f, 2), end_form())
    low, high = found.stops_at_interval
    assert found.stops_at == pytest.approx(0.3, abs=0.03)
    assert low < 0.3 < high
    assert found.half_time_s == pytest.approx(4.0 * HOUR, rel=0.1)


def test_where_it_stops_is_not_claimed_without_an_end_form_but_the_half_time_is_the_same():
    f = 0.3 + 0.7 * first_order(DAY, 4.0 * HOUR)
    found = fit_course(vial(DAY, f, 2))
    assert found.stops_at is None
    assert found.half_time_s == pytest.approx(4.0 * HOUR, rel=0.1)


def test_a_course_that_goes_to_the_end_is_not_said_to_stop():
    stops = [fit_course(vial(DAY, first_order(DAY, 4.0 * HOUR), s), end_form()).stops_at for s in range(5)]
    assert sum(stop is not None for stop in stops) <= 1


def test_a_tight_cap_that_stops_after_one_percent_is_seen_with_its_half_time():
    times = np.linspace(0.0, 48.0, 13) * HOUR
    found = fit_course(vial(times, 1.0 - 0.013 * (1.0 - first_order(times, 6.0 * HOUR)), 3), end_form())
    assert found.verdict == "changing"
    assert found.stops_at == pytest.approx(0.987, abs=0.002)
    low, high = found.half_time_interval_s
    assert low < 6.0 * HOUR < high


def test_a_slow_vial_needs_the_end_form_to_give_a_half_time_beyond_the_last_photograph():
    times = np.linspace(0.0, 48.0, 13) * HOUR
    series = vial(times, 0.5 ** ((times / (82.0 * HOUR)) ** 2), 5)
    found = fit_course(series, end_form())
    low, high = found.half_time_interval_s
    assert low < 82.0 * HOUR < high
    assert (high - low) / found.half_time_s < 0.3
    assert found.light_half_time_s < 48.0 * HOUR


def test_an_end_that_is_neither_reached_nor_known_gives_light_only():
    times = np.linspace(0.0, 4.0, 9) * HOUR
    found = fit_course(vial(times, first_order(times, 40.0 * HOUR), 1))
    assert found.verdict == "changing"
    assert found.half_time_s is None
    assert found.luminance_ratio is None
    assert set(found.fraction_start) == {None}
    assert "light-is-not-amount" in found.flags
    assert all(w is not None for w in found.light_fraction_start)


def test_without_an_upper_limit_to_the_half_time_amounts_are_not_claimed():
    times = np.linspace(0.0, 4.0, 6) * HOUR
    courses = [vial(times, first_order(times, 2.6 * HOUR), s, photons=1e5, lamp=0.05) for s in range(12)]
    found = [fit_course(series) for series in courses]
    reached = [f for f in found if f.models[0].half_time_s <= times[-1]]
    silent = [f for f in reached if f.half_time_s is None]
    assert 0 < len(silent) < len(reached)
    assert all(any(m.half_time_interval_s[1] is None for m in f.models) for f in silent)
    assert all(f.half_time_interval_s[1] is not None for f in reached if f not in silent)
    assert all((f.half_time_s is None) == (f.flags == ("light-is-not-amount",)) for f in found)


@pytest.mark.parametrize("end", [None, end_form()], ids=["end unknown", "end known"])
def test_with_an_unknown_lamp_only_light_is_claimed(end):
    found = fit_course(vial(DAY, first_order(DAY, 6.0 * HOUR), 1, lamp=0.2, known=False), end)
    assert found.verdict == "changing"
    assert found.two_forms_suffice is True
    assert (found.half_time_s, found.luminance_ratio, found.models, found.model) == (None, None, (), None)
    assert found.flags == ("light-is-not-amount",)
    assert found.light_fraction_start[0] == pytest.approx(1.0, abs=0.02)
    # By spectra: of the light at 3 h, f / (f + 10 (1 - f)) is red, f = 0.707.
    f = 0.5**0.5
    assert found.light_fraction_start[1] == pytest.approx(f / (f + 10.0 * (1.0 - f)), abs=0.06)


def test_exposure_scales_away():
    series = vial(DAY, first_order(DAY, 6.0 * HOUR), 7)
    longer = replace(series, signals=series.signals * 40.0, covariances=series.covariances * 1600.0)
    found, scaled = fit_course(series), fit_course(longer)
    assert scaled.half_time_s == pytest.approx(found.half_time_s, rel=1e-6)
    assert scaled.half_time_interval_s == pytest.approx(found.half_time_interval_s, rel=1e-5)
    assert scaled.luminance_ratio.value == pytest.approx(found.luminance_ratio.value, rel=1e-6)
    assert scaled.fraction_start == pytest.approx(found.fraction_start, abs=1e-6)
    assert scaled.verdict == found.verdict


def test_only_the_proportions_of_the_declared_errors_matter_and_the_end_form_keeps_its_own():
    # The scale of the residuals is taken from the fit, that of a sibling's brightness cannot be.
    series = vial(DAY, 0.3 + 0.7 * first_order(DAY, 6.0 * HOUR), 3)
    shy = replace(series, covariances=series.covariances * 9.0, brightness_sd=series.brightness_sd * 3.0)
    for end in (None, end_form(0.1)):
        found, wider = (fit_course(s, end, models=("first-order",)) for s in (series, shy))
        assert wider.half_time_s == pytest.approx(found.half_time_s, rel=1e-3)
        assert wider.half_time_interval_s == pytest.approx(found.half_time_interval_s, rel=5e-3)
    assert found.stops_at_interval is not None
    assert wider.stops_at_interval == pytest.approx(found.stops_at_interval, rel=2e-2)


def test_the_order_of_the_frames_does_not_matter_and_a_lost_frame_has_no_figures():
    series = vial(DAY, first_order(DAY, 6.0 * HOUR), 7)
    order = np.array([3, 1, 8, 0, 2, 7, 6, 5, 4])
    found, shuffled = fit_course(series), fit_course(series.take(order))
    assert shuffled.half_time_s == pytest.approx(found.half_time_s, rel=1e-9)
    assert np.array(found.fraction_start)[order] == pytest.approx(np.array(shuffled.fraction_start))
    signals = series.signals.copy()
    signals[4] = np.nan
    lost = fit_course(replace(series, signals=signals))
    assert [i for i, f in enumerate(lost.fraction_start) if f is None] == [4]


def test_bars_of_single_frames_hold_the_true_fraction():
    times = np.linspace(0.0, 24.0, 10) * HOUR
    truth = first_order(times, 6.0 * HOUR)
    inside = []
    for seed in range(20):
        found = fit_course(vial(times, truth, seed), end_form(), models=("first-order",))
        inside += [low <= f <= high for low, f, high in zip(found.low, truth, found.high, strict=True)]
    assert 0.88 <= np.mean(inside) <= 1.0, f"coverage {np.mean(inside):.3f}"


def course(name, half_time_s, interval) -> SampleCourse:
    models = ("first-order",)
    figures = (half_time_s, interval, None, None, (), ())
    return SampleCourse(name, "changing", True, None, None, models[0], models, *figures)


def test_half_times_are_compared_as_a_ratio_with_interval_and_verdict():
    a, b = course("A", 6.0, (5.0, 7.2)), course("B", 60.0, (50.0, 72.0))
    near, vague = course("C", 6.3, (5.25, 7.56)), course("D", 7.0, (2.0, 30.0))
    pairs = {(c.a, c.b): c for c in compare_half_times([a, b, near, vague])}
    assert pairs["A", "B"].half_time_ratio == pytest.approx(0.1)
    # By hand: log limits of both are ln 1.2 away, so the ratio's are sqrt(2) ln 1.2 away.
    factor = np.exp(np.sqrt(2.0) * np.log(1.2))
    assert pairs["A", "B"].interval == pytest.approx((0.1 / factor, 0.1 * factor))
    assert pairs["A", "B"].verdict == "different"
    assert pairs["A", "C"].verdict == "no difference seen"
    assert pairs["A", "D"].verdict == "cannot tell"


def test_a_half_time_with_an_open_end_makes_a_ratio_with_an_open_end():
    known, unknown = course("A", 6.0, (5.0, 7.2)), course("F", None, None)
    still = replace(unknown, name="E", longer_than_s=72.0)
    longer, shorter = compare_half_times([still, known, unknown])[0], compare_half_times([known, still])[0]
    # Arithmetic: more than 72 over at most 7.2.
    assert (longer.half_time_ratio, longer.interval[1]) == (None, None)
    assert longer.interval[0] == pytest.approx(10.0)
    assert (shorter.interval[0], shorter.verdict, longer.verdict) == (None, "different", "different")
    assert shorter.interval[1] == pytest.approx(0.1)
    open_ended = course("E", 7.0, (5.0, None))
    assert compare_half_times([open_ended, known])[0].verdict == "cannot tell"
    assert compare_half_times([open_ended, replace(still, name="G"), unknown]) == ()


# Has anything changed?


@pytest.mark.parametrize("n", [4, 6, 12])
@pytest.mark.parametrize(
    ("what", "lamp", "drift"),
    [
        ("steady", 0.02, 0.0),
        ("lamp twice as unsteady as thought", 0.04, 0.0),
        ("lamp drifts 4 %", 0.005, 0.04),
    ],
)
def test_a_control_is_not_said_to_change(n, what, lamp, drift):
    times = np.linspace(0.0, 24.0, n) * HOUR
    verdicts = []
    for seed in range(60):
        series = vial(times, np.ones(n), seed, lamp=lamp)
        ramp = 1.0 + drift * np.linspace(-0.5, 0.5, n)[:, None]
        series = replace(series, signals=series.signals * ramp, brightness_sd=0.02)
        verdicts.append(fit_course(series).verdict)
    assert verdicts.count("no change seen") >= 57, what


def test_a_control_whose_noise_is_twice_what_it_declares_is_not_said_to_change():
    verdicts = []
    for seed in range(60):
        series = vial(DAY, np.ones(9), seed)
        verdicts.append(fit_course(replace(series, covariances=series.covariances / 4.0)).verdict)
    assert verdicts.count("no change seen") >= 57


def test_a_control_whose_colour_drifts_by_a_third_of_a_percent_is_not_said_to_change():
    verdicts = []
    for seed in range(20):
        series = vial(DAY, np.ones(9), seed, photons=1e9)
        ramp = 1.0 + np.linspace(0.0, 0.0035, 9)[:, None] * np.array([1.0, -1.0, 0.0])
        verdicts.append(fit_course(replace(series, signals=series.signals * ramp)).verdict)
    assert verdicts.count("no change seen") == 20


def test_bounds_are_no_values_in_the_limits_of_a_sample_that_stays():
    """Blue in no frame and red in the first alone: 4 values less 2 channels, Student's t of 2 by scipy; taken
    for values they would make 6. Over 200 draws the limits hold the truth, 1, and this is how wide they are.
    """
    times, bounds = DAY[[0, 4, 8]], np.zeros((3, 3), bool)
    bounds[:, 2] = bounds[1:, 0] = True
    held, widths = [], []
    for seed in range(200):
        told = vial(times, np.ones(3), seed, photons=3e4).bounded(bounds)
        found, taken = (fit_course(s, end_form()) for s in (told, replace(told, bounds=None)))
        if "changing" in (found.verdict, taken.verdict):
            continue
        half, other = (np.subtract(c.high, c.low) / 2 for c in (found, taken))
        assert half / other == pytest.approx(stats.t.ppf(0.975, 2) / stats.t.ppf(0.975, 6), rel=1e-6)
        held.append(found.low[2] <= 1.0 <= found.high[2])
        widths.append(2 * half[2])
    told = f"{len(held)} draws, held {np.mean(held):.3f}, median width {np.median(widths):.4f}"
    assert len(held) > 180, told
    assert np.mean(held) >= 0.95, told
    assert np.median(widths) < 0.1, told


def test_two_percent_of_a_tenfold_brighter_form_are_seen():
    courses = [vial(DAY, 1.0 - 0.02 * DAY / DAY[-1], seed) for seed in range(10)]
    verdicts = [fit_course(series, models=()).verdict for series in courses]
    assert verdicts.count("changing") == 10


def test_a_control_excludes_half_times_only_if_the_end_form_is_known():
    series = vial(DAY, np.ones(9), 1)
    assert fit_course(series).longer_than_s is None
    assert fit_course(series, end_form()).longer_than_s > 10.0 * DAY[-1]


def test_the_excluded_half_time_is_hardly_ever_longer_than_the_truth():
    # Too slow to be seen changing: far below the noise.
    truth = 24.0 * HOUR * 4000.0
    series = [vial(DAY, first_order(DAY, truth), seed, photons=3e4) for seed in range(60)]
    limits = [slowest_half_time(s, end_form()) or 0.0 for s in series]
    assert np.median(limits) > 24.0 * HOUR * 50.0
    assert fit_course(series[0], end_form()).longer_than_s <= 24.0 * HOUR * 20.0
    assert sum(limit <= truth for limit in limits) >= 54


def test_three_photographs_say_nothing_unless_the_change_is_huge():
    times = np.array([0.0, 6.0, 12.0]) * HOUR
    assert fit_course(vial(times, np.ones(3))).verdict == "cannot tell"
    assert fit_course(vial(times, [1.0, 0.997, 0.994])).verdict == "cannot tell"
    assert fit_course(vial(times, [1.0, 0.5, 0.25])).verdict == "changing"


def test_no_photograph_and_one_photograph_are_answers_not_errors():
    series = vial(DAY, np.ones(9))
    assert fit_course(series.take(np.array([], dtype=int))).verdict == "cannot tell"
    assert fit_course(series.take(np.array([0]))).fraction_start == (None,)


@pytest.mark.parametrize("n", [6, 12])
def test_two_forms_are_found_to_suffice_for_two_forms(n):
    times = np.linspace(0.0, 24.0, n) * HOUR
    found = [fit_course(vial(times, first_order(times, 5.0 * HOUR), s), models=()) for s in range(60)]
    assert [f.two_forms_suffice for f in found].count(True) >= 57


def test_an_intermediate_of_another_colour_is_noticed():
    # A -> X -> B with equal rates: X makes up 37 % at its height; X is blue.
    times = np.linspace(0.0, 24.0, 10) * HOUR
    x = times / (5.0 * HOUR)
    a, between = np.exp(-x), x * np.exp(-x)
    blue = signal(460.0, 60.0, 0.02)
    for seed in range(5):
        series = vial(times, a, seed)
        light = a[:, None] * RED + between[:, None] * blue + (1.0 - a - between)[:, None] * GREEN
        noisy = light * series.signals / (a[:, None] * RED + (1.0 - a)[:, None] * GREEN)
        assert fit_course(replace(series, signals=noisy), models=()).two_forms_suffice is False


def test_a_band_that_moves_is_not_two_forms():
    f = first_order(DAY, 5.0 * HOUR)
    for seed in range(5):
        rng = np.random.default_rng(seed)
        light = np.array([signal(630.0 - 110.0 * (1.0 - left), 60.0, 0.1) for left in f])
        light = rng.poisson(light * 3e5) / 3e5 * (1.0 + 0.02 * rng.standard_normal((9, 1)))
        series = Series(DAY, light, (light / 3e5)[:, :, None] * np.eye(3), 0.02, WEIGHTS)
        assert fit_course(series, models=()).two_forms_suffice is False


def test_two_forms_are_not_judged_from_four_photographs():
    times = np.array([0.0, 4.0, 8.0, 24.0]) * HOUR
    assert fit_course(vial(times, first_order(times, 5.0 * HOUR)), models=()).two_forms_suffice is None
