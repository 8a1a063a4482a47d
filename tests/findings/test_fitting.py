from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import f, linregress
from scipy.stats import t as student

from glowkin.findings.fitting import Bounds, aicc, fit, minimise, profile_interval

# NIST StRD, Misra1a (Misra 1978, monomolecular adsorption): y = b1 (1 - exp(-b2 x)), certified values.
X = np.array(
    [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
)
Y = np.array(
    [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
)


def misra1a(b):
    return b[:, :1] * (1.0 - np.exp(-b[:, 1:] * X)) - Y


def misra1b(b):
    return b[:, :1] * (1.0 - (1.0 + b[:, 1:] * X / 2.0) ** -2.0) - Y


# NIST StRD, BoxBOD (Box, Hunter & Hunter 1978, biochemical oxygen demand).
DAYS = np.array([1.0, 2.0, 3.0, 5.0, 7.0, 10.0])
DEMAND = np.array([109.0, 149.0, 149.0, 191.0, 213.0, 224.0])


def boxbod(b):
    return b[:, :1] * (1.0 - np.exp(-b[:, 1:] * DAYS)) - DEMAND


# NIST StRD, MGH17 (Osborne 1972): b1 + b2 exp(-b4 x) + b3 exp(-b5 x), two rates close together.
TENS = 10.0 * np.arange(33)
OSBORNE = np.array(
    [0.844, 0.908, 0.932, 0.936, 0.925, 0.908, 0.881, 0.850, 0.818, 0.784, 0.751, 0.718, 0.685, 0.658, 0.628,
     0.603, 0.580, 0.558, 0.538, 0.522, 0.506, 0.490, 0.478, 0.467, 0.457, 0.448, 0.438, 0.431, 0.424, 0.420,
     0.414, 0.411, 0.406]
)  # fmt: skip


def mgh17(b):
    return b[:, :1] + b[:, 1:2] * np.exp(-b[:, 3:4] * TENS) + b[:, 2:3] * np.exp(-b[:, 4:] * TENS) - OSBORNE


# Starts, certified values, standard errors, RSS, degrees of freedom: NIST StRD, all but Misra1a from memory.
# With one datum or figure remembered wrongly the certified RSS would not come out to nine digits.
CERTIFIED = {
    "Misra1a": (
        misra1a, [(500.0, 1e-4), (250.0, 5e-4)],
        [2.3894212918e2, 5.5015643181e-4], [2.7070075241, 7.2668688436e-6], 1.2455138894e-1, 12,
    ),
    "Misra1b": (
        misra1b, [(500.0, 1e-4), (300.0, 2e-4)],
        [3.3799746163e2, 3.9039091287e-4], [3.1643950207, 4.2547321834e-6], 7.5464681533e-2, 12,
    ),
    "BoxBOD": (
        boxbod, [(100.0, 0.75)],
        [2.1380940889e2, 5.4723748542e-1], [1.2354515176e1, 1.0455993237e-1], 1.1680088766e3, 4,
    ),
    "MGH17": (
        mgh17, [(0.5, 1.5, -1.0, 0.01, 0.02)],
        [3.7541005211e-1, 1.9358469127, -1.4646871366, 1.2867534640e-2, 2.2122699662e-2],
        [2.0723153551e-3, 2.2031669222e-1, 2.2175707739e-1, 4.4861358114e-4, 8.9471996575e-4],
        5.4648946975e-5, 28,
    ),
}  # fmt: skip


@pytest.mark.parametrize(
    ("name", "start"), [(name, start) for name, data in CERTIFIED.items() for start in data[1]], ids=str
)
def test_values_and_standard_errors_agree_with_the_certified_ones(name, start):
    residuals, _, values, errors, rss, dof = CERTIFIED[name]
    found = fit(residuals, np.array(start))
    assert found.values == pytest.approx(values, rel=1e-6)
    assert found.standard_errors == pytest.approx(errors, rel=1e-6)
    assert found.rss == pytest.approx(rss, rel=1e-9)
    assert found.dof == dof


def test_three_linear_parameters_may_be_solved_for_within_the_residuals_as_forms_are():
    # As the forms of a series are. MGH17 asked so must give its certified rates and errors.
    def projected(b):
        out = []
        for fast, slow in b:
            design = np.stack([np.ones(33), np.exp(-fast * TENS), np.exp(-slow * TENS)], axis=1)
            out.append(design @ np.linalg.lstsq(design, OSBORNE)[0] - OSBORNE)
        return np.array(out)

    found = fit(projected, np.array([0.01, 0.02]), projected=3)
    assert found.values == pytest.approx([1.2867534640e-2, 2.2122699662e-2], rel=1e-6)
    assert found.standard_errors == pytest.approx([4.4861358114e-4, 8.9471996575e-4], rel=1e-4)


def test_one_linear_parameter_may_be_solved_for_within_the_residuals():
    # Variable projection must give the certified rate and error too, b1 eliminated.
    def projected(b):
        shape = 1.0 - np.exp(-b * X)
        b1 = (shape @ Y) / np.sum(shape**2, axis=1)
        return b1[:, None] * shape - Y

    found = fit(projected, np.array([1e-4]), projected=1)
    assert found.values == pytest.approx([5.5015643181e-4], rel=1e-6)
    assert found.standard_errors == pytest.approx([7.2668688436e-6], rel=1e-5)


def test_the_profile_interval_of_a_straight_line_is_the_t_interval():
    # Exact for linear models (Bates & Watts 1988, 6.1); scipy's regression is the other implementation.
    def straight(b):
        return b[:, :1] + b[:, 1:] * X - Y

    line = linregress(X, Y)
    found = fit(straight, np.array([1.0, 1.0]))
    half_width = student.ppf(0.975, 12) * line.stderr
    expected = (line.slope - half_width, line.slope + half_width)
    lines = fit(lambda b: b[:, :1] + b[:, 1:] * X - Y, found.values)
    assert profile_interval(lambda b: b[:, :1] + b[:, 1:] * X - Y, lines, 1) == pytest.approx(
        expected, rel=1e-6
    )


def test_a_side_on_which_the_profile_never_rises_stays_open():
    # Saturated from the first point: any larger rate fits as well.
    y = np.array([1.0, 1.01, 0.99, 1.0, 1.005])
    x = np.arange(1.0, 6.0)
    box = Bounds(np.array([-2.0]), np.array([6.0]), np.array([0.3]))

    def saturated(b):
        return 1.0 - np.exp(-np.exp(b) * x) - y

    found = fit(saturated, np.array([2.0]), box)
    limit = np.sum((1.0 - y) ** 2) * (1.0 + f.ppf(0.95, 1, 4) / 4)
    expected = brentq(lambda b: np.sum(saturated(np.array([[b]])) ** 2) - limit, -2.0, 3.0)
    low, high = profile_interval(saturated, found, 0, box)
    assert low is not None
    assert low == pytest.approx(expected, abs=0.02)
    assert high is None


def test_parameters_rest_at_their_bounds():
    box = Bounds(np.array([0.0, 0.0]), np.array([1.0, 1.0]), np.array([1.0, 1.0]))
    ends, rss = minimise(lambda b: b - np.array([2.0, 0.25]), np.array([[0.5, 0.9]]), box)
    assert ends[0] == pytest.approx([1.0, 0.25])
    assert rss[0] == pytest.approx(1.0)


def test_many_starts_descend_together_to_the_same_place():
    starts = np.array([[500.0, 1e-4], [250.0, 5e-4], [300.0, 8e-4]])
    box = Bounds(np.array([1.0, 1e-6]), np.array([1e4, 1e-1]), np.array([100.0, 1e-4]))
    ends, rss = minimise(misra1a, starts, box)
    assert np.ptp(ends, axis=0) == pytest.approx([0.0, 0.0], abs=1e-4)
    assert rss == pytest.approx(np.full(3, 0.12455138894), rel=1e-6)


def test_aicc_follows_the_published_formula_and_refuses_too_few_data():
    # Burnham & Anderson (2002), 2.4, by hand: n = 14, RSS = 0.12455138894, K = 3 with the variance.
    assert aicc(0.12455138894, 14, 2) == pytest.approx(14 * np.log(0.12455138894 / 14) + 6 + 24 / 10)
    assert aicc(1.0, 4, 2) == np.inf
    assert aicc(0.0, 30, 2) == aicc(1e-12, 30, 2)


def test_aicc_of_residuals_smaller_than_their_errors_takes_the_errors_for_known():
    # -2 ln L of normal errors of variance 1 is RSS and a constant (any textbook).
    assert aicc(9.0, 30, 2, declared=1.0) - aicc(5.0, 30, 2, declared=1.0) == pytest.approx(4.0)
    assert aicc(45.0, 30, 2, declared=1.0) == aicc(45.0, 30, 2)
    assert aicc(30.0, 30, 2, declared=1.0) == pytest.approx(aicc(30.0 - 1e-9, 30, 2, declared=1.0))
