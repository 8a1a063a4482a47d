from __future__ import annotations

import numpy as np
import pytest
import uncertainties
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import umath

from glowkin.base.uncertainty import (
    CHI2_95_2D,
    Uncertain,
    cross_covariance,
    difference,
    ellipse_95,
    interval_95,
    joint_draws,
    square_root,
)

# GUM (JCGM 100:2008), example H.2: five simultaneous observations of V, I and phi.
V = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
I_ = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
PHI = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


def impedance(x):
    """R, X and Z of GUM H.2."""
    voltage, current, phi = x
    Z = voltage / current
    return np.array([Z * np.cos(phi), Z * np.sin(phi), Z])


def impedance_jacobian(x):
    voltage, current, phi = x
    c, s = np.cos(phi), np.sin(phi)
    return np.array([
        [c / current, -voltage * c / current**2, -voltage * s / current],
        [s / current, -voltage * s / current**2, voltage * c / current],
        [1 / current, -voltage / current**2, 0.0],
    ])  # fmt: skip


@pytest.fixture
def gum_h2():
    observed = np.stack([V, I_, PHI])
    return Uncertain(observed.mean(axis=1), np.cov(observed) / 5)


def test_gum_example_h2_comes_out_with_its_correlations(gum_h2):
    out = gum_h2.through(impedance(gum_h2.value), impedance_jacobian(gum_h2.value))
    u = np.sqrt(np.diag(out.covariance))
    r = out.covariance / np.outer(u, u)
    # JCGM 100:2008, H.2.4, table H.4 (values, standard uncertainties) and the correlations
    assert out.value == pytest.approx([127.732, 219.847, 254.260], abs=5e-4)
    assert u == pytest.approx([0.071, 0.295, 0.236], abs=6e-4)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=6e-4)


def test_propagation_agrees_with_the_uncertainties_package(gum_h2):
    # the package uncertainties (E. O. Lebigot) as independent implementation
    voltage, current, phi = uncertainties.correlated_values(gum_h2.value, gum_h2.own)
    theirs = [voltage / current * umath.cos(phi), voltage / current * umath.sin(phi), voltage / current]
    ours = gum_h2.through(impedance(gum_h2.value), impedance_jacobian(gum_h2.value))
    assert ours.covariance == pytest.approx(np.array(uncertainties.covariance_matrix(theirs)), rel=1e-9)


def random_uncertain(rng, sources, k=2):
    A = rng.normal(size=(k, k))
    shared = {s: rng.normal(size=(k, int(rng.integers(1, 4)))) for s in sources}
    return Uncertain(rng.normal(size=k), A @ A.T, shared)


def with_package(values):
    """The same values as correlated variables of the uncertainties package, one latent variable a column."""
    latent: dict[tuple[str, int], uncertainties.core.AffineScalarFunc] = {}
    out = []
    for value in values:
        own = uncertainties.correlated_values(np.zeros(value.value.size), value.own)
        row = [v + o for v, o in zip(value.value, own, strict=True)]
        for source, S in value.shared.items():
            for column in range(S.shape[1]):
                z = latent.setdefault((source, column), uncertainties.ufloat(0.0, 1.0))
                row = [r + float(s) * z for r, s in zip(row, S[:, column], strict=True)]
        out.append(row)
    return out


@given(seed=st.integers(0, 10_000))
def test_differences_of_shared_errors_agree_with_the_uncertainties_package(seed):
    rng = np.random.default_rng(seed)
    a, b = random_uncertain(rng, ["camera", "lamp"]), random_uncertain(rng, ["camera", "prior"])
    theirs_a, theirs_b = with_package([a, b])
    theirs = [p - q for p, q in zip(theirs_a, theirs_b, strict=True)]
    expected = np.array(uncertainties.covariance_matrix(theirs))
    assert difference(a, b).covariance == pytest.approx(expected, rel=1e-6, abs=1e-9)
    by_blocks = a.covariance + b.covariance - cross_covariance(a, b) - cross_covariance(a, b).T
    assert by_blocks == pytest.approx(expected, rel=1e-6, abs=1e-9)


def test_a_difference_cancels_what_is_wholly_shared():
    S = {"camera": np.array([[0.01, 0.002], [0.0, 0.02]])}
    a, b = (Uncertain(np.array([0.3, 0.5]), 1e-8 * np.eye(2), S) for _ in range(2))
    assert difference(a, b).covariance == pytest.approx(2e-8 * np.eye(2), abs=1e-15)
    other = Uncertain(b.value, b.own, {"another camera": S["camera"]})
    assert difference(a, other).covariance == pytest.approx(a.covariance + b.covariance)


def test_draws_have_the_covariance_of_the_algebra():
    rng = np.random.default_rng(5)
    a, b = random_uncertain(rng, ["camera", "lamp"]), random_uncertain(rng, ["lamp", "camera", "prior"])
    drawn = np.concatenate(joint_draws([a, b], 200_000, seed=3), axis=1)
    cross = cross_covariance(a, b)
    expected = np.block([[a.covariance, cross], [cross.T, b.covariance]])
    scale = np.sqrt(np.outer(np.diag(expected), np.diag(expected)))
    assert np.cov(drawn.T) / scale == pytest.approx(expected / scale, abs=0.012)
    assert drawn.mean(axis=0) == pytest.approx(np.concatenate([a.value, b.value]), abs=0.03)


def test_the_same_seed_draws_the_same():
    a = random_uncertain(np.random.default_rng(1), ["camera"])
    first, second = joint_draws([a], 10, seed=4)[0], joint_draws([a], 10, seed=4)[0]
    assert np.array_equal(first, second)
    assert not np.array_equal(first, joint_draws([a], 10, seed=5)[0])


@pytest.mark.parametrize("covariance", [np.diag([4.0, 1.0]), np.ones((2, 2)), np.zeros((2, 2))])
def test_the_square_root_squares_back_also_when_singular(covariance):
    R = square_root(covariance)
    assert pytest.approx(covariance, abs=1e-12) == R @ R.T


def test_the_95_percent_ellipse_has_axes_and_angle_as_laid():
    # chi-square quantile with two degrees of freedom is -2 ln 0.05 exactly
    assert pytest.approx(-2 * np.log(0.05)) == CHI2_95_2D
    turn = np.radians(30.0)
    R = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    major, minor, angle = ellipse_95(R @ np.diag([9.0, 1.0]) @ R.T)
    assert (major, minor) == pytest.approx((3 * np.sqrt(CHI2_95_2D), np.sqrt(CHI2_95_2D)))
    assert angle % 180 == pytest.approx(30.0)


def test_the_interval_leaves_a_fortieth_on_each_side():
    assert interval_95(np.linspace(0.0, 1.0, 4001)) == pytest.approx((0.025, 0.975))
