"""What changes in another way than from one form to another is not passed off as noise.

The courses are written down here (consecutive first-order reactions: Atkins, Physical Chemistry, ch. 17); the
program's own are not used.
"""

from __future__ import annotations

import numpy as np
import pytest

from glowkin.findings.change import see_change, two_forms_suffice
from glowkin.findings.unmix import Series

FORMS = np.array([[0.60, 0.20, 0.02], [0.15, 0.60, 0.10], [0.30, 0.20, 0.50]])
WEIGHTS = np.array([0.2, 0.7, 0.1])
NOISE = 0.005


def series(signals, times, seed=0):
    sd = NOISE * signals
    seen = signals + sd * np.random.default_rng(seed).standard_normal(signals.shape)
    return Series(times, seen, sd[:, :, None] ** 2 * np.eye(3), 0.015, WEIGHTS)


def by_way_of_another(times, pace):
    """A to B to C, first order both; rate constants 1 and ``pace`` for times in units of the first."""
    a = np.exp(-times)
    b = (np.exp(-times) - np.exp(-pace * times)) / (pace - 1)
    return np.column_stack([a, b, 1 - a - b]) @ FORMS


@pytest.mark.parametrize("frames", [6, 8, 14])
@pytest.mark.parametrize("pace", [0.5, 1.5, 3.0])
def test_a_third_form_is_a_change_and_no_mixture_of_two(frames, pace):
    times = np.concatenate([[0.0], np.geomspace(0.1, 6, frames - 1)])
    seen = series(by_way_of_another(times, pace), times, frames)
    assert see_change(seen).verdict == "changing"
    assert two_forms_suffice(seen) is False


@pytest.mark.parametrize("seed", range(20))
def test_a_still_sample_is_seen_not_to_change(seed):
    times = np.linspace(0, 10, 7)
    seen = series(np.tile(FORMS[0], (7, 1)), times, seed)
    assert see_change(seen).verdict == "no change seen"
    assert two_forms_suffice(seen) is True
