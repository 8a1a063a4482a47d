"""The tone curve that samples tell, against files bent by a known power."""

from __future__ import annotations

import numpy as np
import pytest

from glowkin.findings.tones import Filed, denied, powers_told
from glowkin.findings.unmix import Series

RED, GREEN = np.array([0.30, 0.08, 0.03]), np.array([0.06, 0.35, 0.15])
BLUE = np.array([0.05, 0.10, 0.40])
TIMES = np.array([0, 1, 2, 3, 5, 7, 10, 14, 20, 30]) * 3600.0


def filed(power, seed=1, change=True, lamp=False, third=0.0):
    """A vial that changes and a control, as a file whose values are light to this power has them; ``third``
    of the light at most is of a form on the way.
    """
    rng = np.random.default_rng(seed)
    f = 0.5 ** (TIMES / 18000.0)[:, None] if change else np.ones((10, 1))
    drift = 1.0 + (0.04 if lamp else 0.0) * rng.standard_normal((10, 1))
    on_the_way = 4.0 * third * f * (1 - f)
    vial, steady = f * RED + (1 - f) * GREEN, np.tile([0.2, 0.2, 0.1], (10, 1))
    vial = (1 - on_the_way) * vial + on_the_way * BLUE
    values = {"vial": (vial * drift) ** power, "control": (steady * drift) ** power}
    values = {k: v * (1 + 0.002 * rng.standard_normal(v.shape)) for k, v in values.items()}
    level = values["control"].sum(axis=1)
    scale = level / np.median(level)
    series = {
        name: Series(
            TIMES,
            v / scale[:, None],
            (0.002 * v / scale[:, None])[:, :, None] ** 2 * np.eye(3),
            0.015,
            np.array([0.2, 0.7, 0.1]),
        )
        for name, v in values.items()
    }
    return Filed(series, scale, ("control",))


def told(of):
    return powers_told(of, ["vial", "control"], lambda _name, series: series)


@pytest.mark.parametrize("power", [0.8, 1.0, 1.25])
def test_a_power_is_found_from_a_vial_that_changes(power):
    value, low, high = told(filed(power, lamp=True))
    assert low < 1 / power < high
    assert value == pytest.approx(1 / power, rel=0.05)


def test_what_does_not_change_leaves_the_curve_open_as_it_was_believed():
    value, low, high = told(filed(0.8, change=False))
    assert value == pytest.approx(1.0, abs=0.01)
    # 1.96 of the prior's 0.15 and the shape's 0.07, in quadrature, by hand: 0.324.
    assert (low, high) == (pytest.approx(np.exp(-0.324), rel=0.02), pytest.approx(np.exp(0.324), rel=0.02))


def test_undoing_the_power_brings_back_light_and_steadies_the_lamp():
    at = filed(0.8, lamp=True).toned(1.25)
    vial, control = at("vial").signals, at("control").signals
    f = 0.5 ** (TIMES / 18000.0)[:, None]
    light = f * RED + (1 - f) * GREEN
    assert np.ptp(control.sum(axis=1)) < 0.01 * control.sum(axis=1).mean()
    assert np.allclose(vial / light, np.mean(vial / light), rtol=0.012)


def two_channels(series):
    """As where a saturated glow has its third channel at zero."""
    return series.channels(np.array([0, 1]))


@pytest.mark.parametrize("power", [0.8, 1.0, 1.25])
def test_a_third_form_is_denied_by_two_channels_and_the_lamp_and_a_mixture_is_not(power):
    assert denied(filed(power, lamp=True, third=0.5), "vial", two_channels)
    assert not any(denied(filed(power, seed, lamp=True), "vial", two_channels) for seed in range(3))


def test_frames_with_all_channels_count_beside_those_where_one_is_a_bound():
    def mostly_two(series):
        bounds = np.zeros((10, 3), bool)
        bounds[:6, 2] = True
        return series.bounded(bounds)

    assert denied(filed(1.0, lamp=True, third=0.5), "vial", mostly_two)
    assert not denied(filed(1.0, lamp=True), "vial", mostly_two)
