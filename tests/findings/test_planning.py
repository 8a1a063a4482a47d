"""When to photograph: the information against another implementation, and against what series then give."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner
from scipy import stats
from scipy.optimize import curve_fit

from glowkin.base.errors import WrongUseError
from glowkin.cli import main
from glowkin.findings.courses import Course
from glowkin.findings.kinetics import fit_course
from glowkin.findings.planning import Assumed, convenient, half_time_error, plan_schedule, prospects
from glowkin.findings.rate_models import RATE_MODELS
from glowkin.findings.unmix import Series, frames_of
from glowkin.planning import seconds

HOUR = 3600.0
WEIGHTS = np.array([0.30, 0.60, 0.10])
START, END = np.array([0.60, 0.30, 0.10]), np.array([0.15, 0.60, 0.25])


@pytest.fixture(scope="module")
def schedule():
    return plan_schedule(12.0 * HOUR, 10)


def photographed(times_s, fractions, seed, ratio=3.0, noise=0.005, lamp=0.015) -> Series:
    """Photographs with the noise that planning assumes by default."""
    rng = np.random.default_rng(seed)
    end = END * ratio * (WEIGHTS @ START) / (WEIGHTS @ END)
    light = fractions[:, None] * START + (1.0 - fractions)[:, None] * end
    covariances = (noise * light)[:, :, None] ** 2 * np.eye(3)
    light = light * (1.0 + noise * rng.standard_normal(light.shape))
    return Series(
        times_s, light * (1.0 + lamp * rng.standard_normal((len(light), 1))), covariances, lamp, WEIGHTS
    )


def test_the_error_of_a_half_time_is_that_of_an_independent_fit():
    # One channel, B + (A - B) exp(-ln 2 t / T) with A, B and T free: scipy's covariance at the exact data.
    times = np.linspace(0.0, 40.0, 12)
    y = 0.2 + 0.8 * 0.5 ** (times / 9.0)
    series = Series(times, y[:, None], np.full((12, 1, 1), 0.01**2), 0.0, np.ones(1))
    found = half_time_error(frames_of(series), Course(RATE_MODELS["first-order"]), np.array([np.log(9.0)]))

    def decay(t, start, end, log_half):
        return end + (start - end) * 0.5 ** (t / np.exp(log_half))

    guess = (1.0, 0.2, np.log(9.0))
    covariance = curve_fit(decay, times, y, guess, np.full(12, 0.01), absolute_sigma=True)[1]
    expected = np.expm1(stats.t.ppf(0.975, 9) * np.sqrt(covariance[2, 2]))
    assert found == pytest.approx(expected, rel=1e-3)


def test_series_so_photographed_give_the_half_time_as_well_as_was_said(schedule):
    times = np.array(schedule.times_s)
    said = next(p for p in schedule.prospects if p.model == "first-order")
    f = 0.5 ** (times / (12.0 * HOUR))
    fits = [fit_course(photographed(times, f, seed), models=("first-order",)) for seed in range(60)]
    error = np.std(np.log([fit.half_time_s / (12.0 * HOUR) for fit in fits]))
    dof = 3 * len(times) - 7
    # The standard deviation of 60 draws errs by 9 %.
    assert np.expm1(stats.t.ppf(0.975, dof) * error) == pytest.approx(said.half_time_error, rel=0.3)


def test_series_so_photographed_exclude_the_models_said_to_be_told_apart(schedule):
    times = np.array(schedule.times_s)
    said = next(p for p in schedule.prospects if p.model == "avrami-erofeev")
    assert {"zero-order", "first-order"} <= set(said.told_apart)
    f = 0.5 ** ((times / (12.0 * HOUR)) ** 2)
    kept = [set(fit_course(photographed(times, f, seed)).not_excluded) for seed in range(12)]
    assert sum(bool(models & set(said.told_apart)) for models in kept) <= 2
    assert all("avrami-erofeev" in models for models in kept)


def test_first_order_is_never_said_to_be_told_from_models_that_contain_it(schedule):
    said = next(p for p in schedule.prospects if p.model == "first-order")
    assert {"stretched-exponential", "avrami-erofeev", "prout-tompkins"} <= set(said.not_told_apart)


def test_the_chosen_times_tell_more_than_an_early_or_a_hasty_series(schedule):
    def merit(found):
        return sum(len(p.told_apart) for p in found)

    early = prospects(12.0 * HOUR, tuple(np.linspace(0.0, 6.0, 10) * HOUR), Assumed())
    assert merit(schedule.prospects) > merit(early)
    hasty, good = (
        next(p for p in found if p.model == "first-order") for found in (early, schedule.prospects)
    )
    assert hasty.half_time_error > 10.0 * good.half_time_error
    assert hasty.worst_half_time_error is None


def test_more_photographs_and_less_noise_make_the_half_time_surer(schedule):
    fewer = prospects(12.0 * HOUR, schedule.times_s[::2], Assumed())
    noisy = prospects(12.0 * HOUR, schedule.times_s, Assumed(channel_noise=0.01, lamp_noise=0.03))
    for good, few, bad in zip(schedule.prospects, fewer, noisy, strict=True):
        assert good.half_time_error < (few.half_time_error or 1.0)
        # Twice the noise is twice the error (nearly: the limits are of a logarithm).
        assert np.log1p(bad.half_time_error) == pytest.approx(2.0 * np.log1p(good.half_time_error), rel=0.01)


def test_times_can_be_kept_and_rise():
    assert convenient(np.array([0.0, 14.0, 700.0, 5000.0, 40000.0])) == (0.0, 10.0, 720.0, 5400.0, 39600.0)
    assert convenient(np.array([0.0, 1.0, 2.0])) == (0.0, 10.0, 20.0)


def test_a_duration_without_a_unit_is_refused_with_the_mend():
    with pytest.raises(WrongUseError, match="--half-time 12: give a duration in s, min, h or d, such as 12h"):
        seconds("12")
    assert seconds("1.5 d") == 1.5 * 86400.0


def test_the_command_prints_one_document_or_a_table():
    run = CliRunner().invoke(main, ["plan", "--half-time", "90min", "--photos", "6", "--json"])
    found = json.loads(run.stdout)
    assert (run.exit_code, found["schema"], found["errors"]) == (0, "glowkin.plan.v1", [])
    assert len(found["times_s"]) == 6
    assert found["half_time_s"] == 5400.0
    words = CliRunner().invoke(main, ["plan", "--half-time", "90min", "--photos", "6"]).stdout
    assert words.startswith("Photograph at 0, ")
    assert "first order" in words
    refused = CliRunner().invoke(main, ["plan", "--half-time", "soon"])
    assert refused.exit_code == 2
