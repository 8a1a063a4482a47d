from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from glowkin.findings.rate_models import RATE_MODELS, RateModel

# Integral forms g(alpha) written out anew from Khawam & Flanagan, J. Phys. Chem. B 110, 17315 (2006), table 1
# (zero order F0/R1, first order F1, Avrami-Erofeev A2..A4); the stretched exponential is Kohlrausch's.
PUBLISHED_G = {
    "zero-order": lambda alpha, _: alpha,
    "contracting-area": lambda alpha, _: 1.0 - (1.0 - alpha) ** (1 / 2),
    "contracting-volume": lambda alpha, _: 1.0 - (1.0 - alpha) ** (1 / 3),
    "first-order": lambda alpha, _: -np.log(1.0 - alpha),
    "stretched-exponential": lambda alpha, n: (-np.log(1.0 - alpha)) ** (1.0 / n),
    "avrami-erofeev": lambda alpha, n: (-np.log(1.0 - alpha)) ** (1.0 / n),
    # B1, ln(alpha / (1 - alpha)), which has no zero: it begins at the germ s, in odds of conversion.
    "prout-tompkins": lambda alpha, n: np.log((alpha / (1.0 - alpha) + np.exp(1.0 - n)) / np.exp(1.0 - n)),
}
EXPONENTS = {
    "stretched-exponential": (0.2, 0.5, 0.95),
    "avrami-erofeev": (1.05, 2.0, 3.0, 4.0),
    "prout-tompkins": (1.0, 3.0, 5.6, 10.0),
}
CASES = [(model, n) for model in RATE_MODELS.values() for n in EXPONENTS.get(model.name, (1.0,))]
case = pytest.mark.parametrize(("model", "n"), CASES, ids=lambda v: getattr(v, "name", v))


def test_every_model_of_the_catalogue_is_checked_against_its_published_form():
    assert set(PUBLISHED_G) == set(RATE_MODELS)
    assert all(name == model.name for name, model in RATE_MODELS.items())


@case
def test_nothing_has_reacted_at_time_zero(model: RateModel, n: float):
    assert model.remaining(np.array(0.0), np.array(n)) == 1.0


@case
def test_the_rest_falls_steadily_and_stays_between_one_and_nothing(model: RateModel, n: float):
    f = model.remaining(np.geomspace(1e-6, 1e3, 400), np.array(n))
    assert np.all(np.diff(f) <= 0.0)
    assert f.min() >= 0.0
    assert f.max() <= 1.0
    assert f[-1] < 0.02


@case
def test_the_half_time_formula_agrees_with_a_numerical_solution(model: RateModel, n: float):
    root = brentq(lambda x: float(model.remaining(np.array(x), np.array(n))) - 0.5, 1e-9, 10.0, xtol=1e-14)
    assert model.half_x(np.array(n)) == pytest.approx(root, rel=1e-10)


@case
def test_the_published_integral_form_is_proportional_to_time(model: RateModel, n: float):
    x = np.linspace(0.05, 0.95, 19) * model.half_x(np.array(n)) * 1.9
    alpha = 1.0 - model.remaining(x, np.array(n))
    assert PUBLISHED_G[model.name](alpha, n) == pytest.approx(x, rel=1e-9)
    assert model.g(alpha, np.array(n)) == pytest.approx(x, rel=1e-9)


@case
def test_half_is_left_at_the_half_time_and_all_before_time_zero(model: RateModel, n: float):
    f = model.fraction(np.array([-50.0, 0.0, 7200.0]), np.array(7200.0), np.array(n))
    assert f == pytest.approx([1.0, 1.0, 0.5])


@pytest.mark.parametrize("n", [1.3, 5.6, 10.0])
def test_prout_tompkins_solves_its_differential_equation(n: float):
    # d alpha / d x = (1 - alpha) (s + (1 - s) alpha): alpha (1 - alpha) of the published table once begun.
    model, s = RATE_MODELS["prout-tompkins"], np.exp(1.0 - n)
    solved = solve_ivp(
        lambda _, alpha: (1.0 - alpha) * (s + (1.0 - s) * alpha), (0.0, 14.0), [0.0], rtol=1e-11, atol=1e-13,
        t_eval=np.linspace(0.0, 14.0, 29),
    )  # fmt: skip
    assert 1.0 - model.remaining(solved.t, np.array(n)) == pytest.approx(solved.y[0], abs=1e-8)


def test_a_full_germ_is_first_order_and_one_percent_is_the_logistic_of_odds():
    x = np.linspace(0.0, 12.0, 25)
    model = RATE_MODELS["prout-tompkins"]
    assert model.remaining(x, np.array(1.0)) == pytest.approx(np.exp(-x))
    n = 1.0 - np.log(0.01)
    assert model.told(np.array(n)) == pytest.approx(0.01)
    # By hand: odds of conversion, begun at the germ's 1 to 99, grow as exp x.
    odds = np.exp(x) / 99.0
    assert model.remaining(x, np.array(n)) == pytest.approx((1.0 / (1.0 + odds)) / 0.99)
