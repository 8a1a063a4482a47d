from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from glowkin.colour.chromaticity import XYZ_to_uv_prime, XYZ_to_xy, xyY_to_XYZ
from glowkin.colour.dominant import dominant
from glowkin.colour.observer import WHITE_POINTS_XY
from glowkin.colour.spaces import (
    PRIMARIES_XY,
    RGB_TO_XYZ,
    XYZ_to_srgb_display,
    bradford_adaptation,
    srgb_decode,
    srgb_encode,
)

D65_XYZ = xyY_to_XYZ([*WHITE_POINTS_XY["D65"], 1.0])


def test_srgb_matrix_is_that_of_the_standard() -> None:
    # IEC 61966-2-1, four decimals.
    standard = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    np.testing.assert_allclose(RGB_TO_XYZ["sRGB"], standard, atol=5.1e-5)


@pytest.mark.parametrize("name", list(PRIMARIES_XY))
def test_spaces_agree_with_colour_science(name: str, colour_science: Any) -> None:
    space = colour_science.RGB_COLOURSPACES[{"BT.2020": "ITU-R BT.2020"}.get(name, name)]
    np.testing.assert_allclose(np.reshape(PRIMARIES_XY[name], (3, 2)), space.primaries, atol=1e-12)
    derived = colour_science.normalised_primary_matrix(space.primaries, space.whitepoint)
    np.testing.assert_allclose(RGB_TO_XYZ[name], derived, atol=1e-12)


@pytest.mark.parametrize("name", list(RGB_TO_XYZ))
def test_full_rgb_is_the_white_and_each_channel_its_primary(name: str) -> None:
    # Definition of an RGB space: rgb (1, 1, 1) is its white with Y = 1 (D65, CIE 15).
    M = RGB_TO_XYZ[name]
    np.testing.assert_allclose(M @ np.ones(3), D65_XYZ, rtol=1e-12)
    np.testing.assert_allclose(XYZ_to_xy(M.T), PRIMARIES_XY[name], rtol=1e-12)


def test_srgb_curve_agrees_with_colour_science(colour_science: Any) -> None:
    # colour-science, IEC 61966-2-1.
    code = np.linspace(0, 1, 256)
    curve = colour_science.models.eotf_sRGB(code)
    np.testing.assert_allclose(srgb_decode(code), curve, rtol=1e-12)
    np.testing.assert_allclose(srgb_encode(curve), colour_science.models.eotf_inverse_sRGB(curve), rtol=1e-12)


def test_srgb_curve_joins_at_the_standards_threshold() -> None:
    # IEC 61966-2-1: code 0.04045 is 0.0031308 in light, seven decimals; the branches meet to rounding.
    below, above = srgb_decode([0.04045, np.nextafter(0.04045, 1)])
    assert below == pytest.approx(0.0031308, abs=5e-8)
    assert above == pytest.approx(below, abs=2e-8)


@given(st.floats(0, 1))
def test_srgb_curve_and_its_inverse_cancel(code: float) -> None:
    # Algebra; the standard's rounded thresholds leave less than 1e-7.
    assert srgb_encode(srgb_decode(code)) == pytest.approx(code, abs=1e-7)


@pytest.mark.parametrize("curve", [srgb_decode, srgb_encode])
def test_srgb_curves_take_any_shape_and_keep_nan(curve: Any) -> None:
    # Convention of this room; below black the straight part goes on.
    assert curve(np.zeros((2, 1, 3))).shape == (2, 1, 3)
    assert np.isnan(curve(np.nan))
    assert curve(-0.001) == pytest.approx(-curve(0.001))


def test_bradford_from_d65_to_d50_is_the_published_matrix() -> None:
    # Lindbloom's table of Bradford matrices (ASTM E308 whites), seven decimals, from memory.
    D65, D50 = np.array([0.95047, 1.0, 1.08883]), np.array([0.96422, 1.0, 0.82521])
    published = [
        [1.0478112, 0.0228866, -0.0501270],
        [0.0295424, 0.9904844, -0.0170491],
        [-0.0092345, 0.0150436, 0.7521316],
    ]
    np.testing.assert_allclose(bradford_adaptation(D65, D50), published, atol=1e-6)


def test_bradford_agrees_with_colour_science(colour_science: Any) -> None:
    whites = D65_XYZ, xyY_to_XYZ([*WHITE_POINTS_XY["A"], 1.0])
    expected = colour_science.adaptation.matrix_chromatic_adaptation_VonKries(*whites, transform="Bradford")
    # Its inverse matrix is stored rounded, hence the tolerance.
    np.testing.assert_allclose(bradford_adaptation(*whites), expected, atol=1e-6)
    np.testing.assert_allclose(bradford_adaptation(*whites) @ whites[0], whites[1], rtol=1e-12)


@given(st.tuples(*[st.floats(0, 1)] * 3))
def test_a_colour_of_the_screen_is_shown_as_it_is(code: tuple[float, float, float]) -> None:
    # Round trip through the space's own definition.
    shown, in_gamut = XYZ_to_srgb_display(RGB_TO_XYZ["sRGB"] @ srgb_decode(code))
    assert in_gamut
    np.testing.assert_allclose(shown, code, atol=2e-7)


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0.01, 3))
def test_what_the_screen_cannot_show_is_paled_towards_white_or_dimmed(x: float, y: float, Y: float) -> None:
    # Geometry of mixing: what is shown lies between the white and the colour asked for.
    xy = np.array([0.05 + 0.65 * x, 0.05 + 0.75 * y])
    xy[1] = min(xy[1], 0.98 - xy[0])
    shown, in_gamut = XYZ_to_srgb_display(xyY_to_XYZ([*xy, Y]))
    assert np.all((shown >= 0) & (shown <= 1))
    XYZ = RGB_TO_XYZ["sRGB"] @ srgb_decode(shown)
    assert XYZ[1] <= Y + 1e-6
    white = np.array(WHITE_POINTS_XY["D65"])
    asked, got = xy - white, XYZ_to_xy(XYZ) - white
    assert asked[0] * got[1] - asked[1] * got[0] == pytest.approx(0, abs=1e-5)
    assert -1e-6 <= asked @ got <= asked @ asked + 1e-5
    assert bool(in_gamut) == bool(np.allclose(XYZ, xyY_to_XYZ([*xy, Y]), atol=1e-6))


def test_a_spectral_green_keeps_its_luminance_and_dominant_wavelength() -> None:
    # Same geometry, figures: BT.2020's green primary, 532 nm (ITU-R BT.2020), at a fifth of the white.
    green = xyY_to_XYZ([0.170, 0.797, 0.2])
    shown, in_gamut = XYZ_to_srgb_display(green)
    XYZ = RGB_TO_XYZ["sRGB"] @ srgb_decode(shown)
    assert not in_gamut
    assert XYZ[1] == pytest.approx(0.2, abs=1e-6)
    nm = dominant(XYZ_to_xy(XYZ), WHITE_POINTS_XY["D65"]).dominant_wavelength_nm
    assert nm == pytest.approx(532, abs=0.5)


def test_too_bright_a_light_keeps_its_chromaticity() -> None:
    # Dimming is a common factor, which a chromaticity does not see (CIE S 017).
    orange = RGB_TO_XYZ["sRGB"] @ [4.0, 2.0, 0.4]
    shown, in_gamut = XYZ_to_srgb_display(orange)
    assert not in_gamut
    XYZ = RGB_TO_XYZ["sRGB"] @ srgb_decode(shown)
    np.testing.assert_allclose(XYZ_to_uv_prime(XYZ), XYZ_to_uv_prime(orange), atol=1e-7)
    assert shown.max() == pytest.approx(1.0)


def test_swatches_of_many_of_none_and_of_nan() -> None:
    # Convention of this room; black is a colour of the screen.
    shown, in_gamut = XYZ_to_srgb_display(np.zeros((2, 3, 3)))
    assert shown.shape == (2, 3, 3)
    assert in_gamut.all()
    shown, in_gamut = XYZ_to_srgb_display([np.nan] * 3)
    assert np.isnan(shown).all()
    assert not in_gamut
