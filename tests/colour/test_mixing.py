"""Mixtures of two lights, against colour-science's tristimulus values and the arithmetic of the standard."""

from __future__ import annotations

import numpy as np
import pytest

from glowkin.colour.chromaticity import xy_to_uv_prime
from glowkin.colour.mixing import jacobians_of_mixture, light_fraction, mixed_uv_prime, share_on_line

# ITU-R BT.2020 primaries and FL2, FL11 of CIE 15, as printed there.
RED, GREEN, FL2, FL11 = (
    xy_to_uv_prime(xy) for xy in ((0.708, 0.292), (0.170, 0.797), (0.3721, 0.3751), (0.3805, 0.3769))
)


@pytest.mark.parametrize("pair", [("FL2", "FL11"), ("FL4", "FL10"), ("LED-B3", "FL12")])
@pytest.mark.parametrize("fraction", [0.0, 0.1, 0.5, 0.83, 1.0])
def test_light_adds_as_tristimulus_values_do(pair, fraction, colour_science):
    """XYZ of two illuminants by colour-science's tables, mixed by luminance; u'v' by its own function."""
    colour = colour_science
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    sds = [colour.SDS_ILLUMINANTS[name] for name in pair]
    XYZ = [np.nan_to_num(cmfs[sd.wavelengths]).T @ sd.values for sd in sds]
    a, b = (value / value[1] for value in XYZ)
    mixed = colour.xy_to_Luv_uv(colour.XYZ_to_xy(fraction * a + (1 - fraction) * b))
    uv = [colour.xy_to_Luv_uv(colour.XYZ_to_xy(value)) for value in (a, b)]
    np.testing.assert_allclose(mixed_uv_prime(*uv, fraction), mixed, atol=1e-12)


def test_half_of_the_light_is_not_half_of_the_way():
    """A blue light of low v' pulls hard: arithmetic of X + 15 Y + 3 Z = 9 Y / v'."""
    blue = xy_to_uv_prime((0.131, 0.046))
    share = share_on_line(0.5, blue[1], GREEN[1])
    assert share == pytest.approx(GREEN[1] / (GREEN[1] + blue[1]))
    assert share > 0.75


def test_place_and_light_undo_each_other():
    f = np.linspace(0, 1, 11)
    np.testing.assert_allclose(light_fraction(share_on_line(f, 0.1, 0.58), 0.1, 0.58), f, atol=1e-12)


def test_derivatives_agree_with_small_steps():
    f, step = np.array([0.2, 0.7]), 1e-6
    J_a, J_b = jacobians_of_mixture(RED, FL2, f)
    for k in range(2):
        e = step * np.eye(2)[k]
        by_a = (mixed_uv_prime(RED + e, FL2, f) - mixed_uv_prime(RED - e, FL2, f)) / (2 * step)
        by_b = (mixed_uv_prime(RED, FL2 + e, f) - mixed_uv_prime(RED, FL2 - e, f)) / (2 * step)
        np.testing.assert_allclose(J_a[:, :, k], by_a, atol=1e-8)
        np.testing.assert_allclose(J_b[:, :, k], by_b, atol=1e-8)
