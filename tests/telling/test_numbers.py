"""No figure has more digits than its uncertainty supports (JCGM 100:2008, 7.2.6: at most two of them)."""

from __future__ import annotations

import doctest
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from glowkin.telling import naming, numbers, out_dir, tables
from glowkin.telling.numbers import at_least, decimals_for, duration, durations, rounded, with_interval


@pytest.mark.parametrize("module", [naming, numbers, out_dir, tables])
def test_the_examples_in_the_docstrings_hold(module):
    assert doctest.testmod(module) == (0, doctest.testmod(module).attempted)


@given(st.floats(1e-6, 1e6))
def test_an_uncertainty_keeps_one_or_two_significant_digits(uncertainty):
    steps = uncertainty * 10.0 ** decimals_for(uncertainty)
    assert 2.999 <= steps <= 30.001


@given(st.floats(-1e4, 1e4), st.floats(1e-4, 1e3))
def test_rounding_moves_a_figure_by_less_than_a_sixth_of_its_half_width(value, half_width):
    assert abs(float(rounded(value, half_width)) - value) <= half_width / 6 * 1.001


def test_figures_of_the_guide_come_out_as_it_prints_them():
    # JCGM 100:2008, 7.2.6: R = 10.057 62 ohm with u = 27 mohm is stated as 10.058 ohm.
    assert rounded(10.05762, 0.027) == "10.058"


@pytest.mark.parametrize(
    ("value", "interval", "text"),
    [
        (6.123, (5.8, 6.5), "6.1 (5.8 to 6.5)"),
        (0.0, (0.0, 0.021), "0.000 (0.000 to 0.021)"),
        (0.0052, (0.0, 0.0131), "0.005 (0.000 to 0.013)"),
        (10.0, (3.0, 300.0), "10 (3 to 300)"),
        (612.34, (608.9, None), "612 (609 or more)"),
        (612.34, (None, 616.2), "612 (616 or less)"),
        (612.34, None, "610"),
        (None, (5.8, None), "5.8 or more"),
        (None, None, "–"),
        (None, (None, None), "–"),
        (1.0, (1.0, 1.0), "1.0 (1.0 to 1.0)"),
        (-0.0004, (-0.03, 0.03), "0.000 (-0.030 to 0.030)"),
    ],
)
def test_a_figure_and_its_interval_share_their_digits(value, interval, text):
    assert with_interval(value, interval) == text


@pytest.mark.parametrize(
    ("seconds", "interval", "text"),
    [
        (90, (80, 100), "90 s (80 to 100 s)"),
        (1800, (1500, 2100), "30 min (25 to 35 min)"),
        (21960, (20880, 23400), "6.1 h (5.8 to 6.5 h)"),
        (82 * 3600, (78 * 3600, 87 * 3600), "82 h (78 to 87 h)"),
        (9 * 86400, (8.5 * 86400, None), "9.0 d (8.5 d or more)"),
        (None, (7200, None), "2.0 h or more"),
        (None, None, "–"),
    ],
)
def test_durations_come_in_the_unit_a_person_would_use(seconds, interval, text):
    assert duration(seconds, interval) == text


def test_times_told_together_share_unit_and_digits():
    hour = 3600.0
    times = [(5.8 * hour, (5.51 * hour, 6.21 * hour)), (6.2 * hour, (5.2 * hour, None)), (49 * hour, None)]
    assert durations(times) == "6, 6, 49 h"


@given(st.floats(1.0, 1e9))
def test_a_lower_bound_never_claims_more_than_was_found(seconds):
    amount, sign = at_least(seconds).split()
    length = {"s": 1, "min": 60, "h": 3600, "d": 86400, "y": 31557600}[sign]
    assert float(amount) * length <= seconds * (1 + 1e-9)
    assert float(amount) * length > 0.9 * seconds


def test_an_unknown_uncertainty_leaves_two_significant_digits():
    assert rounded(0.0123456, None) == "0.012"
    assert decimals_for(math.nan) == 4
