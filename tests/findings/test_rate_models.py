from __future__ import annotations

import numpy as np
import pytest
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
}
EXPONENTS = {"stretched-exponential": (0.2, 0.5, 0.95), "avrami-erofeev": (1.05, 2.0, 3.0, 4.0)}
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
