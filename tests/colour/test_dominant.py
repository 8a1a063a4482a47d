from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from glowkin.base.errors import WrongUseError
from glowkin.colour.dominant import dominant
from glowkin.colour.observer import inside_locus, locus_xy, spectrum_to_XYZ, white_point_xy

WHITES = ["E", "D50", "D65", "A", "FL2", "FL11"]
RIM = tuple(locus_xy()[1][150:152].mean(axis=0))
NAMES = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}


@pytest.mark.parametrize("white", WHITES)
@pytest.mark.parametrize(
    ("xy", "nm"), [((0.708, 0.292), 630), ((0.170, 0.797), 532), ((0.131, 0.046), 467)], ids=["R", "G", "B"]
)
def test_primaries_of_bt2020_are_monochromatic(xy: tuple[float, float], nm: float, white: str) -> None:
    # ITU-R BT.2020; its xy is rounded to three decimals, worth up to 0.15 nm and 0.001 of purity.
    answer = dominant(xy, white_point_xy(white))
    assert answer.dominant_wavelength_nm == pytest.approx(nm, abs=0.3)
    assert answer.excitation_purity == pytest.approx(1, abs=2e-3)
    assert np.isnan(answer.complementary_wavelength_nm)
    assert not answer.open_bound


@given(st.integers(400, 695), st.sampled_from(WHITES), st.sampled_from([2, 10]), st.floats(0, 0.6), st.data())
def test_a_locus_point_is_its_own_dominant_wavelength(
    nm: int, white: str, degrees: int, off: float, data: st.DataObject
) -> None:
    # Definition, CIE S 017, for any white inside: here between a named one and any point of the locus.
    wavelength_nm, locus = locus_xy(degrees)
    named = white_point_xy(white, degrees)
    white_xy = named + off * (locus[data.draw(st.integers(0, 470))] - named)
    answer = dominant(locus[wavelength_nm == nm][0], white_xy, degrees)
    assert answer.dominant_wavelength_nm == pytest.approx(nm, abs=1e-6)
    assert answer.excitation_purity == pytest.approx(1, abs=1e-9)


@pytest.mark.parametrize("white", WHITES)
def test_beyond_400_and_695_nm_the_bound_stands_and_is_open(white: str) -> None:
    # CIE 018:2019 tables: beyond, the locus points coincide to 1e-3 and 1e-4 in xy.
    wavelength_nm, locus = locus_xy(2)
    answer = dominant(locus, white_point_xy(white))
    beyond = (wavelength_nm < 400) | (wavelength_nm > 695)
    np.testing.assert_array_equal(answer.open_bound[beyond], True)
    np.testing.assert_array_equal(answer.open_bound[(wavelength_nm > 400) & (wavelength_nm < 695)], False)
    expected = np.clip(wavelength_nm, 400, 695)
    np.testing.assert_allclose(answer.dominant_wavelength_nm, expected, atol=1e-6)
    np.testing.assert_allclose(answer.excitation_purity, 1, atol=1e-9)


@pytest.mark.parametrize("degrees", [2, 10])
def test_the_white_itself_has_no_hue_and_no_purity(degrees: int) -> None:
    # Definition, CIE S 017.
    for white in WHITES:
        xy = white_point_xy(white, degrees)
        answer = dominant([xy, xy * (1 + 1e-16), xy + 1e-14], xy, degrees)
        np.testing.assert_array_equal(answer.excitation_purity, 0.0)
        assert np.all(np.isnan(answer.dominant_wavelength_nm))
        assert np.all(np.isnan(answer.complementary_wavelength_nm))
        assert not answer.open_bound.any()


def rays(degrees: int, white: Any) -> Any:
    """Points on rays from the white to the locus, 0.37 nm past each nanometre, and on the rays opposite."""
    _, locus = locus_xy(degrees)
    at = np.arange(40, 335)
    target = locus[at] + 0.37 * (locus[at + 1] - locus[at])
    shares = np.array([0.02, 0.3, 0.6, 0.95, -0.05, -0.3])
    points = (white + shares[:, None, None] * (target - white)).reshape(-1, 2)
    return points[[inside_locus(point, degrees) for point in points]]


@pytest.mark.parametrize("degrees", [2, 10])
@pytest.mark.parametrize("name", ["E", "D65", "A"])
def test_whole_diagram_agrees_with_colour_science(name: str, degrees: int, colour_science: Any) -> None:
    # colour-science answers in whole nanometres, minus for complementary. It closes the 10 degree locus
    # at 830 nm, where that has turned back inside the diagram: cut at 700 nm both describe one figure.
    white = white_point_xy(name, degrees)
    points = rays(degrees, white)
    table = colour_science.MSDS_CMFS[NAMES[degrees]].copy()
    table = table.trim(colour_science.SpectralShape(360, 700 if degrees == 10 else 830, 1))
    theirs = colour_science.dominant_wavelength(points, white, table)[0]
    answer = dominant(points, white, degrees)
    complementary = np.isnan(answer.dominant_wavelength_nm)
    assert 0.05 < complementary.mean() < 0.5
    np.testing.assert_array_equal(complementary, theirs < 0)
    ours = np.where(complementary, answer.complementary_wavelength_nm, answer.dominant_wavelength_nm)
    np.testing.assert_allclose(ours, np.clip(np.abs(theirs), 400, 695), atol=0.501, rtol=0)
    purity = colour_science.excitation_purity(points, white, table)
    np.testing.assert_allclose(answer.excitation_purity, purity, atol=2e-5)


def walk(white: Any, radius: float, angle: Any) -> Any:
    """Dominant and complementary wavelength (2, n) on a circle round the white."""
    answer = dominant(white + radius * np.column_stack([np.cos(angle), np.sin(angle)]), white)
    return np.stack([answer.dominant_wavelength_nm, answer.complementary_wavelength_nm])


@pytest.mark.parametrize("name", ["E", "A"])
@pytest.mark.parametrize("degrees", [2, 10])
@pytest.mark.parametrize("radius", [1e-4, 0.2])
def test_walking_round_the_white_the_wavelength_has_no_jump(name: str, degrees: int, radius: float) -> None:
    # Geometry: the locus is a curve, so the change is in proportion to the step, however small.
    white = white_point_xy(name, degrees)

    def steps(n: int) -> Any:
        nm = walk(white, radius, np.linspace(-np.pi, np.pi, n))
        return np.abs(np.diff(nm)), nm[:, 1:]

    (coarse, _), (fine, nm) = steps(100_001), steps(400_001)
    assert np.nanmax(fine) < 0.3 * np.nanmax(coarse)
    assert np.nanmax(fine[(nm > 450) & (nm < 620)]) < 0.01


@pytest.mark.parametrize("name", ["E", "A"])
@pytest.mark.parametrize("degrees", [2, 10])
def test_the_steepest_places_are_slopes_and_not_jumps(name: str, degrees: int) -> None:
    # Geometry: magnified 10 000 times, each of the hundred largest steps falls apart into small ones.
    white = white_point_xy(name, degrees)
    angle = np.linspace(-np.pi, np.pi, 20_001)
    change = np.nan_to_num(np.abs(np.diff(walk(white, 0.2, angle)))).max(axis=0)
    steepest = np.argsort(change)[-100:]
    assert change[steepest[-1]] > 0.1
    for at in steepest:
        near = walk(white, 0.2, np.linspace(angle[at], angle[at + 1], 10_001))
        assert np.nanmax(np.abs(np.diff(near))) < 0.01


def test_walking_along_a_ray_changes_purity_only() -> None:
    # Definition of excitation purity, CIE S 017: a ratio of lengths along the ray.
    white = white_point_xy("E")
    shares = np.linspace(0.05, 1.2, 24)
    answer = dominant(white + shares[:, None] * (locus_xy()[1][150] - white), white)
    np.testing.assert_allclose(answer.excitation_purity, shares, rtol=1e-9)
    np.testing.assert_allclose(answer.dominant_wavelength_nm, 510, atol=1e-6)


def test_midway_along_a_chord_lies_half_a_nanometre() -> None:
    # Arithmetic on the table: the locus is straight between its nanometres.
    wavelength_nm, locus = locus_xy()
    middle = (locus[60:300] + locus[61:301]) / 2
    answer = dominant(middle, white_point_xy("D65"))
    np.testing.assert_allclose(answer.dominant_wavelength_nm, wavelength_nm[60:300] + 0.5, atol=1e-6)


def test_purple_line_has_purity_one_and_a_complementary_wavelength() -> None:
    # Definition, CIE S 017; the complement of a purple lies on the line through the white.
    locus, white = locus_xy()[1], white_point_xy("E")
    purple = locus[0] + np.linspace(0.05, 0.95, 19)[:, None] * (locus[-1] - locus[0])
    answer = dominant(purple, white)
    assert np.all(np.isnan(answer.dominant_wavelength_nm))
    np.testing.assert_allclose(answer.excitation_purity, 1, atol=1e-5)
    x, y = (np.interp(answer.complementary_wavelength_nm, locus_xy()[0], locus[:, i]) for i in (0, 1))
    to_purple, to_green = purple - white, np.column_stack([x, y]) - white
    np.testing.assert_allclose(to_purple[:, 0] * to_green[:, 1], to_purple[:, 1] * to_green[:, 0], atol=1e-9)
    assert np.all((to_purple * to_green).sum(axis=1) < 0)


@pytest.mark.parametrize(("centre_nm", "colour"), [(450, (440, 480)), (515, (490, 545))])
def test_glow_of_quinine_and_of_fluorescein(centre_nm: float, colour: tuple[float, float]) -> None:
    # Quinine sulfate in acid near 450 nm, fluorescein in base near 515 nm: common practice, no source.
    nm = np.arange(380.0, 780.0)
    XYZ = spectrum_to_XYZ(nm, np.exp(-0.5 * ((nm - centre_nm) / 25) ** 2))
    answer = dominant(XYZ[:2] / XYZ.sum(), white_point_xy("E"))
    assert colour[0] < answer.dominant_wavelength_nm < colour[1]


def test_any_leading_shape_nan_and_nothing() -> None:
    # Convention of this room, also across the blocks that long inputs are worked on in.
    white = white_point_xy("E")
    points = np.random.default_rng(2).uniform(0.1, 0.6, (3, 20_000, 2))
    many = dominant(points, white)
    one = dominant(points[2, 11_111], white)
    for field in ("dominant_wavelength_nm", "complementary_wavelength_nm", "excitation_purity", "open_bound"):
        assert getattr(many, field).shape == (3, 20_000)
        assert getattr(one, field).shape == ()
        np.testing.assert_array_equal(getattr(many, field)[2, 11_111], getattr(one, field))
        assert getattr(dominant(np.empty((0, 2)), white), field).shape == (0,)
    lost = dominant([[np.nan, 0.3], [0.3, np.inf], [np.nan, np.nan]], white)
    assert np.all(np.isnan([lost.dominant_wavelength_nm, lost.complementary_wavelength_nm]))
    assert np.all(np.isnan(lost.excitation_purity))
    assert not lost.open_bound.any()


@pytest.mark.parametrize(
    "white", [(0.7, 0.1), (0.0, 0.0), (np.nan, 0.3), (0.73469, 0.26531), RIM, (0.9, 0.9)]
)
def test_a_white_outside_the_locus_is_refused(white: tuple[float, float]) -> None:
    with pytest.raises(WrongUseError, match="not inside the spectrum locus"):
        dominant([0.3, 0.3], white)
