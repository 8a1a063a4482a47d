from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from glowkin.colour.chromaticity import (
    XYZ_to_Lab,
    XYZ_to_uv_prime,
    XYZ_to_xy,
    hue_angle_uv_deg,
    jacobian_uv_prime_XYZ,
    jacobian_xy_uv_prime,
    saturation_uv,
    uv_prime_to_xy,
    xy_to_uv_prime,
    xyY_to_XYZ,
)

if TYPE_CHECKING:
    from collections.abc import Callable

positive = st.floats(1e-3, 1e3)
XYZs = st.tuples(positive, positive, positive)


@pytest.mark.parametrize(
    ("xy", "uv"),
    [
        ((1 / 3, 1 / 3), (0.2105, 0.4737)),  # E
        ((0.3127, 0.3290), (0.1978, 0.4683)),  # D65
        ((0.44758, 0.40745), (0.2560, 0.5243)),  # A
    ],
)
def test_white_points_in_uv_prime(xy: tuple[float, float], uv: tuple[float, float]) -> None:
    # CIE 15, four decimals.
    np.testing.assert_allclose(xy_to_uv_prime(xy), uv, atol=5.1e-5)


def test_conversions_agree_with_colour_science(colour_science: Any) -> None:
    XYZ = np.random.default_rng(1).uniform(0.01, 2.0, (50, 3))
    xy, white = colour_science.XYZ_to_xy(XYZ), np.array([0.9642, 1.0, 0.8251])
    np.testing.assert_allclose(XYZ_to_xy(XYZ), xy, rtol=1e-12)
    np.testing.assert_allclose(xy_to_uv_prime(xy), colour_science.xy_to_Luv_uv(xy), rtol=1e-12)
    np.testing.assert_allclose(XYZ_to_uv_prime(XYZ), colour_science.xy_to_Luv_uv(xy), rtol=1e-12)
    np.testing.assert_allclose(uv_prime_to_xy(colour_science.xy_to_Luv_uv(xy)), xy, rtol=1e-12)
    lab = colour_science.XYZ_to_Lab(XYZ * white, colour_science.XYZ_to_xy(white))
    np.testing.assert_allclose(XYZ_to_Lab(XYZ * white, white), lab, rtol=1e-9, atol=1e-9)


def test_lab_joins_its_two_branches_and_puts_white_at_100() -> None:
    # ISO/CIE 11664-4: (6/29)^3 parts the branches, where both give f = 6/29, L* = 8.
    edge = (6 / 29) ** 3
    below, above = XYZ_to_Lab(np.ones(3) * edge * np.array([[1 - 1e-9], [1 + 1e-9]]), np.ones(3))
    np.testing.assert_allclose(below, above, atol=1e-6)
    np.testing.assert_allclose(above, [8, 0, 0], atol=1e-6)
    np.testing.assert_allclose(XYZ_to_Lab([0.95, 1.0, 1.09], [0.95, 1.0, 1.09]), [100, 0, 0], atol=1e-12)


@given(XYZs)
def test_round_trips(XYZ: tuple[float, float, float]) -> None:
    # Algebra: each conversion undone by its inverse.
    xy = XYZ_to_xy(XYZ)
    np.testing.assert_allclose(uv_prime_to_xy(xy_to_uv_prime(xy)), xy, rtol=1e-9)
    np.testing.assert_allclose(xyY_to_XYZ([*xy, XYZ[1]]), XYZ, rtol=1e-9)
    np.testing.assert_allclose(XYZ_to_uv_prime(XYZ), xy_to_uv_prime(xy), rtol=1e-9)


@given(XYZs, positive)
def test_brightness_does_not_change_the_chromaticity(XYZ: tuple[float, ...], factor: float) -> None:
    # Definition of chromaticity, CIE S 017 (ILV).
    np.testing.assert_allclose(XYZ_to_uv_prime(np.multiply(XYZ, factor)), XYZ_to_uv_prime(XYZ), rtol=1e-9)


def numerical_jacobian(f: Callable[[Any], Any], at: Any) -> Any:
    """Central differences, the independent route to a derivative."""
    at = np.asarray(at, dtype=float)
    steps = np.diag(1e-5 * np.maximum(np.abs(at), 1e-2))
    return np.stack([(f(at + h) - f(at - h)) / (2 * h.sum()) for h in steps], axis=-1)


@settings(max_examples=50)
@given(st.tuples(*[st.floats(0.05, 5.0)] * 3))
def test_jacobian_of_uv_prime_is_the_slope(XYZ: tuple[float, ...]) -> None:
    expected = numerical_jacobian(XYZ_to_uv_prime, XYZ)
    np.testing.assert_allclose(jacobian_uv_prime_XYZ(XYZ), expected, rtol=1e-6, atol=1e-7)


@settings(max_examples=50)
@given(st.tuples(st.floats(0.02, 0.6), st.floats(0.1, 0.58)))
def test_jacobian_of_xy_is_the_slope(uv: tuple[float, float]) -> None:
    expected = numerical_jacobian(uv_prime_to_xy, uv)
    np.testing.assert_allclose(jacobian_xy_uv_prime(uv), expected, rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize(
    ("direction", "degrees"), [((1, 0), 0), ((0, 1), 90), ((-1, 0), 180), ((0, -1), 270), ((1, -1), 315)]
)
def test_hue_angle_runs_from_red_through_yellow_and_green(direction: tuple[int, int], degrees: float) -> None:
    # CIE 15: h_uv = arctan of (v' - v'n) / (u' - u'n), 0 to 360 degrees.
    white = np.array([0.2105, 0.4737])
    assert hue_angle_uv_deg(white + 0.05 * np.array(direction), white) == pytest.approx(degrees, abs=1e-9)


def test_hue_angle_stays_below_360_and_is_unknown_at_the_white() -> None:
    white = np.zeros(2)
    assert hue_angle_uv_deg([0.1, -1e-30], white) == 0.0
    assert np.isnan(hue_angle_uv_deg(white, white))


def test_saturation_is_thirteen_distances() -> None:
    # CIE 15: s_uv = 13 sqrt((u' - u'n)^2 + (v' - v'n)^2).
    assert saturation_uv([0.24, 0.51], [0.21, 0.47]) == pytest.approx(13 * 0.05)


ONE_POINT: list[tuple[Callable[..., Any], tuple[float, ...], tuple[int, ...]]] = [
    (XYZ_to_xy, (0.3, 0.4, 0.5), (2,)),
    (XYZ_to_uv_prime, (0.3, 0.4, 0.5), (2,)),
    (xyY_to_XYZ, (0.3, 0.4, 0.5), (3,)),
    (xy_to_uv_prime, (0.3, 0.4), (2,)),
    (uv_prime_to_xy, (0.2, 0.4), (2,)),
    (jacobian_uv_prime_XYZ, (0.3, 0.4, 0.5), (2, 3)),
    (jacobian_xy_uv_prime, (0.2, 0.4), (2, 2)),
    (lambda uv: hue_angle_uv_deg(uv, [0.21, 0.47]), (0.2, 0.4), ()),
    (lambda uv: saturation_uv(uv, [0.21, 0.47]), (0.2, 0.4), ()),
    (lambda XYZ: XYZ_to_Lab(XYZ, [0.95, 1.0, 1.09]), (0.3, 0.4, 0.5), (3,)),
]


@pytest.mark.parametrize(("f", "point", "shape"), ONE_POINT)
def test_any_leading_shape_and_nan(f: Any, point: tuple[float, ...], shape: tuple[int, ...]) -> None:
    # Convention of this room: last axis the components, NaN in, NaN out, float64.
    one = f(point)
    assert one.shape == shape
    assert one.dtype == np.float64
    many = f(np.broadcast_to(point, (2, 3, len(point))))
    assert many.shape == (2, 3, *shape)
    np.testing.assert_array_equal(many[1, 2], one)
    assert f(np.empty((0, len(point)))).shape == (0, *shape)
    assert np.all(np.isnan(f(np.full(len(point), np.nan))))


def test_no_light_has_no_chromaticity() -> None:
    assert np.all(np.isnan(XYZ_to_xy([0.0, 0.0, 0.0])))
    assert np.all(np.isnan(XYZ_to_uv_prime([0.0, 0.0, 0.0])))
    assert np.all(np.isnan(jacobian_uv_prime_XYZ([0.0, 0.0, 0.0])))
    assert np.all(np.isnan(xyY_to_XYZ([0.3, 0.0, 1.0])))
