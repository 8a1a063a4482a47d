from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from glowkin.base.errors import WrongUseError
from glowkin.colour.observer import (
    WHITE_POINTS_XY,
    WHITE_POINTS_XY_10,
    cmfs,
    inside_locus,
    locus_xy,
    spectrum_to_XYZ,
    white_point_xy,
)

NAMES = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}

LOCUS_CIE_15 = {
    480: (0.0913, 0.1327),
    500: (0.0082, 0.5384),
    520: (0.0743, 0.8338),
    550: (0.3016, 0.6923),
    580: (0.5125, 0.4866),
    600: (0.6270, 0.3725),
    620: (0.6915, 0.3083),
}
"""Spectrum locus of the CIE 1931 observer, CIE 15 (CIE 018:2019 tables), four decimals."""


@pytest.mark.parametrize(("nm", "xy"), LOCUS_CIE_15.items())
def test_locus_points_are_those_of_cie_15(nm: int, xy: tuple[float, float]) -> None:
    wavelength_nm, locus = locus_xy(2)
    np.testing.assert_allclose(locus[wavelength_nm == nm][0], xy, atol=5.1e-5)


@pytest.mark.parametrize("degrees", [2, 10])
def test_tables_are_those_of_colour_science(degrees: int, colour_science: Any) -> None:
    table = colour_science.MSDS_CMFS[NAMES[degrees]]
    wavelength_nm, xyz_bar = cmfs(degrees)
    np.testing.assert_array_equal(wavelength_nm, table.wavelengths)
    np.testing.assert_allclose(xyz_bar, table.values, rtol=1e-11)


@pytest.mark.parametrize("degrees", [2, 10])
def test_equal_energy_light_is_at_one_third(degrees: int) -> None:
    # CIE 15: illuminant E is at (0.3333, 0.3333) for both observers, four decimals.
    XYZ = cmfs(degrees)[1].sum(axis=0)
    np.testing.assert_allclose(XYZ[:2] / XYZ.sum(), 0.3333, atol=5.1e-5)


def test_tables_cannot_be_changed_by_a_caller() -> None:
    with pytest.raises(ValueError, match="read-only"):
        cmfs(2)[1][0, 0] = 1.0


def test_an_unknown_observer_is_refused() -> None:
    with pytest.raises(WrongUseError, match=r"no 4 degree observer: give 2 .* or 10"):
        cmfs(4)


@pytest.mark.parametrize("step", [1, 5])
def test_spectrum_of_illuminant_a_is_at_its_white_point(step: int) -> None:
    # Illuminant A by its formula, CIE 15; the white point by its table there, met to 5e-5.
    nm = np.arange(360.0, 831.0, step)
    power = 100 * (560 / nm) ** 5 * np.expm1(1.435e7 / (2848 * 560)) / np.expm1(1.435e7 / (2848 * nm))
    XYZ = spectrum_to_XYZ(nm, power)
    np.testing.assert_allclose(XYZ[:2] / XYZ.sum(), WHITE_POINTS_XY["A"], atol=5e-5)
    XYZ_10 = spectrum_to_XYZ(nm, power, degrees=10)
    np.testing.assert_allclose(XYZ_10[:2] / XYZ_10.sum(), WHITE_POINTS_XY_10["A"], atol=5e-5)


def test_many_spectra_on_whole_nanometres_are_summed_one_by_one() -> None:
    # Independent route: numpy.interp onto the table's nanometres, then the sum of CIE 15, 7.1.
    rng = np.random.default_rng(3)
    grid = np.sort(rng.choice(np.arange(390.0, 720.0), 57, replace=False))
    power = rng.uniform(0, 1, (2, 4, grid.size))
    nm, xyz_bar = cmfs(2)
    one_by_one = [[np.interp(nm, grid, row, left=0, right=0) @ xyz_bar for row in block] for block in power]
    np.testing.assert_allclose(spectrum_to_XYZ(grid, power), one_by_one, rtol=1e-12)


def test_an_uneven_grid_agrees_with_fine_integration() -> None:
    # Independent route: the trapezium rule on both curves drawn out to 0.002 nm.
    rng = np.random.default_rng(4)
    grid = np.sort(rng.uniform(350, 850, 90))
    power = rng.uniform(0, 1, grid.size)
    power[[0, -1]] = 0.0
    nm, xyz_bar = cmfs(2)
    fine = np.linspace(360, 830, 235_001)
    at_fine = np.interp(fine, grid, power, left=0, right=0)
    expected = [np.trapezoid(at_fine * np.interp(fine, nm, bar), fine) for bar in xyz_bar.T]
    np.testing.assert_allclose(spectrum_to_XYZ(grid, power), expected, rtol=1e-4)


@pytest.mark.parametrize("degrees", [2, 10])
def test_a_laser_line_between_two_nanometres_is_seen(degrees: int) -> None:
    # Definition of the locus, CIE S 017: light of one wavelength lies on it, here a line 0.1 nm wide.
    grid = np.arange(400.0, 700.0, 0.02) + 0.003
    line = np.exp(-0.5 * ((grid - 546.47) / 0.04) ** 2)
    XYZ = spectrum_to_XYZ(grid, line, degrees)
    wavelength_nm, locus = locus_xy(degrees)
    between = [np.interp(546.47, wavelength_nm, locus[:, i]) for i in (0, 1)]
    np.testing.assert_allclose(XYZ[:2] / XYZ.sum(), between, atol=5e-5)
    y_bar = np.interp(546.47, wavelength_nm, cmfs(degrees)[1][:, 1])
    assert XYZ[1] == pytest.approx(y_bar * 0.04 * np.sqrt(2 * np.pi), rel=1e-3)


def test_a_spectrum_out_of_sight_gives_no_light() -> None:
    np.testing.assert_array_equal(spectrum_to_XYZ([900.0, 950.0, 1000.0], [1.0, 2.0, 1.0]), 0.0)


def test_a_spectrum_with_a_gap_gives_nan() -> None:
    assert np.all(np.isnan(spectrum_to_XYZ([500.0, 510.0, 520.0], [1.0, np.nan, 1.0])))


@pytest.mark.parametrize("grid", [[500.0], [510.0, 500.0], [500.0, 500.0], [500.0, np.nan]])
def test_a_grid_that_does_not_ascend_is_refused(grid: list[float]) -> None:
    with pytest.raises(WrongUseError, match="each larger than the last"):
        spectrum_to_XYZ(grid, np.ones(len(grid)))


@pytest.mark.parametrize("power", [1.0, [1.0, 2.0, 3.0]])
def test_a_spectrum_that_does_not_fit_its_grid_is_refused(power: Any) -> None:
    with pytest.raises(WrongUseError, match=r"2 wavelengths but . values"):
        spectrum_to_XYZ([500.0, 510.0], power)


@pytest.mark.parametrize("degrees", [2, 10])
@pytest.mark.parametrize("name", list(WHITE_POINTS_XY))
def test_white_points_are_those_of_cie_15(name: str, degrees: int, colour_science: Any) -> None:
    # The table of CIE 15 as carried by colour-science.
    expected = colour_science.CCS_ILLUMINANTS[NAMES[degrees]][name]
    np.testing.assert_allclose(white_point_xy(name.lower(), degrees), expected, rtol=0, atol=1e-12)


def test_a_white_point_can_be_given_as_numbers() -> None:
    np.testing.assert_array_equal(white_point_xy(" 0.31 , 0.32 "), [0.31, 0.32])


@pytest.mark.parametrize("text", ["D66", "", "0.3", "0.3,0.3,0.4", "a,b"])
def test_an_unknown_white_point_is_refused_with_the_allowed_names(text: str) -> None:
    with pytest.raises(WrongUseError, match="not known: give one of E, D50, D55, D65, A, FL2, FL11, or x,y"):
        white_point_xy(text)


@pytest.mark.parametrize("text", ["0.8,0.3", "0,0", "nan,0.3", "0.3,inf", "0.4,0.05", "-0.3,0.3"])
def test_a_white_point_that_no_light_has_is_refused(text: str) -> None:
    with pytest.raises(WrongUseError, match="not inside the spectrum locus"):
        white_point_xy(text)


@pytest.mark.parametrize("degrees", [2, 10])
def test_inside_is_inside_the_closed_curve(degrees: int) -> None:
    # Oracle: the even-odd rule of matplotlib's path, an independent implementation.
    path = pytest.importorskip("matplotlib.path").Path(locus_xy(degrees)[1])
    points = np.random.default_rng(5).uniform((0, 0), (0.75, 0.85), (500, 2))
    inside = [inside_locus(point, degrees) for point in points]
    np.testing.assert_array_equal(inside, path.contains_points(points))
    assert 0 < sum(inside) < 500
