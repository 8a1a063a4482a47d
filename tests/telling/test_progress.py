"""Fraction against time: the curve is the model's, the axis can be read, light is called light."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from glowkin.base.records import ModelFit, TimeCourse
from glowkin.telling.progress import curve_of, fraction_against_time, pages

HOUR = 3600.0


def test_the_curve_is_the_published_avrami_law_and_stops_where_it_should():
    # Avrami-Erofeev, 1 - alpha = exp(-(kt)^n) (Khawam & Flanagan 2006), between 1 and what is left.
    fit = ModelFit("avrami-erofeev", {"tau_s": 1.0, "exponent": 2.0, "stops_at": 0.2}, 0.0, 6 * HOUR, None)
    t = np.array([0.0, 6, 12]) * HOUR
    expected = 0.2 + 0.8 * np.exp(-math.log(2) * (t / (6 * HOUR)) ** 2)
    assert curve_of(fit, t) == pytest.approx(expected)


def test_the_curve_of_autocatalysis_starts_from_its_germ_and_that_after_an_induction_waits():
    # Prout & Tompkins 1944 with a germ: f = 1 / (1 - s + s exp(k t)), half at k t = ln(1 + 1 / s).
    fit = ModelFit("prout-tompkins", {"tau_s": 1.0, "germ": 0.01}, 0.0, 6 * HOUR, None)
    t = np.array([0.0, 3, 6, 12])
    expected = 1 / (0.99 + 0.01 * np.exp(math.log(101) * t / 6))
    assert curve_of(fit, t * HOUR) == pytest.approx(expected)
    # Nothing for 2 h, half at 6 h: first order with a half-time of 4 h from there.
    fit = ModelFit("first-order", {"tau_s": 1.0, "induction_s": 2 * HOUR}, 0.0, 6 * HOUR, None)
    assert curve_of(fit, np.array([0, 1, 2, 6, 10]) * HOUR) == pytest.approx([1, 1, 1, 0.5, 0.25])


def test_a_spoiled_photograph_is_a_cross_without_a_bar_and_does_not_stretch_the_axis(course):
    first = course.samples[0]
    spoiled = replace(first.points[3], fraction_start=9.0, low=None, high=None, flags=("spoiled-frame",))
    points = (*first.points[:3], spoiled, *first.points[4:])
    ax = fraction_against_time(TimeCourse((replace(first, points=points),), ())).axes[0]
    crosses = [line for line in ax.lines if line.get_marker() == "x"]
    assert [list(line.get_xdata()) for line in crosses] == [[spoiled.time_s]]
    assert crosses[0].get_ydata()[0] == ax.get_ylim()[1] < 2
    assert len(ax.containers[0].lines[2][0].get_segments()) == len(points) - 1
    assert "×: spoiled, not counted" in [t.get_text() for t in ax.get_legend().get_texts()]


def test_zero_order_is_a_straight_line():
    fit = ModelFit("zero-order", {"tau_s": 2.0}, 0.0, 1.0, None)
    assert curve_of(fit, np.array([0.0, 0.5, 1.0, 2.0, 3.0])) == pytest.approx([1, 0.75, 0.5, 0, 0])


def test_a_model_we_do_not_know_has_no_curve():
    assert curve_of(ModelFit("somebody's own", {}, 0.0, 1.0, None), np.array([0.0])) is None


def test_one_panel_for_each_condition_with_every_vial(course):
    fig = fraction_against_time(course)
    assert [ax.get_title(loc="left") for ax in fig.axes] == [
        "MgCl2 25 C", "MgCl2 5 C", "leaky cap", "tight cap", "NaCl 25 C",
    ]  # fmt: skip
    words = [t.get_text() for t in fig.axes[0].get_legend().get_texts()]
    assert [w[:13] for w in words] == ["1: half-time ", "2: half-time ", "3: half-time "]


def test_vials_differ_by_marker_and_not_by_colour_alone(course):
    ax = fraction_against_time(course).axes[0]
    markers = [container.lines[0].get_marker() for container in ax.containers]
    assert len(set(markers)) == 3


def test_bars_are_the_95_percent_intervals(course):
    point = course.samples[0].points[3]
    ax = fraction_against_time(course).axes[0]
    segment = ax.containers[0].lines[2][0].get_segments()[3]
    assert segment[:, 1] == pytest.approx([point.low, point.high])
    assert segment[0, 0] == point.time_s


def test_wide_times_are_compressed_and_ticked_in_human_units(course):
    ax = fraction_against_time(course).axes[-1]
    assert ax.get_xscale() == "symlog"
    assert [t.get_text() for t in ax.get_xticklabels()] == ["0", "1 h", "3 h", "12 h", "2 d", "7 d"]
    assert "compressed" in ax.get_xlabel()


def test_narrow_times_stay_linear(course):
    short = replace(course, samples=tuple(replace(s, points=s.points[:6]) for s in course.samples[:1]))
    ax = fraction_against_time(short).axes[0]
    assert ax.get_xscale() == "linear"
    assert ax.get_xlabel() == "time since the start, h"
    assert [t.get_text() for t in ax.get_xticklabels()] == ["0", "2", "4", "6", "8"]


def light_only(sample):
    points = tuple(replace(p, fraction_start=None, low=None, high=None) for p in sample.points)
    return replace(sample, points=points, half_time_s=None, half_time_interval_s=None)


def test_light_is_called_light_and_gets_no_curve_of_amount(course):
    fig = fraction_against_time(TimeCourse((light_only(course.samples[0]),), ()))
    ax = fig.axes[0]
    assert ax.get_ylabel() == "share of light"
    assert "light, not amount" in [t.get_text() for t in ax.texts]
    assert len(ax.lines) == len(ax.containers[0].lines[:1])


def test_a_sample_without_points_and_a_course_without_samples_are_drawn(course):
    bare = replace(course.samples[0], points=(), models=(), model=None)
    assert len(fraction_against_time(TimeCourse((bare,), ())).axes) == 1
    assert fraction_against_time(TimeCourse((), ())).axes[0].lines[:] == []


def test_long_courses_are_shared_out_over_figures_evenly(course):
    assert [len({s.name[:-2] for s in p.samples}) for p in pages(course)] == [3, 2]
