from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from glowkin.base.errors import WrongUseError
from glowkin.scene import cameras, spectra

OracleXYZ = Callable[[np.ndarray], np.ndarray]

colour = pytest.importorskip("colour")


def test_a_luther_camera_tells_the_colour_of_any_emission_exactly(oracle_XYZ: OracleXYZ) -> None:
    # Luther condition: sensitivities are linear in the CIE 1931 functions; XYZ from colour-science.
    camera = cameras.luther_camera()
    for name, power in spectra.emitters().items():
        expected = oracle_XYZ(power)
        XYZ = np.linalg.solve(cameras.LUTHER, camera.response(power))
        assert pytest.approx(expected, rel=1e-5) == XYZ, name


def test_its_colour_matrix_is_the_mixture_itself_for_both_lights() -> None:
    for matrix in cameras.luther_camera().color_matrices:
        assert matrix / matrix[1, 1] == pytest.approx(cameras.LUTHER / cameras.LUTHER[1, 1], abs=1e-9)


@pytest.mark.parametrize("cct", [4500.0, 5600.0, 7500.0])
def test_daylight_follows_the_cie_series(oracle_XYZ: OracleXYZ, cct: float) -> None:
    # chromaticity of the series: colour-science's CCT_to_xy_CIE_D (CIE 15), integrated by its own tables
    xy = colour.XYZ_to_xy(oracle_XYZ(cameras.daylight(cct)))
    assert xy == pytest.approx(colour.temperature.CCT_to_xy_CIE_D(cct), abs=5e-4)


@pytest.mark.parametrize(("name", "xy"), [("A", (0.44758, 0.40745)), ("D65", (0.3127, 0.3290))])
def test_the_two_calibration_lights_have_the_published_white_points(
    oracle_XYZ: OracleXYZ, name: str, xy: tuple[float, float]
) -> None:
    # CIE 15
    assert colour.XYZ_to_xy(oracle_XYZ(cameras.illuminant(name))) == pytest.approx(xy, abs=2e-4)


def test_the_invented_camera_is_like_a_real_one_but_not_luther() -> None:
    # common practice, no source: consumer sensors peak near 600, 530 and 460 nm
    camera = cameras.default_camera()
    peaks = spectra.WAVELENGTH_NM[camera.sensitivities.argmax(axis=0)]
    assert peaks == pytest.approx((600.0, 530.0, 460.0), abs=15.0)
    A, D65 = camera.color_matrices
    assert np.abs(A - D65).max() > 0.02


def test_measured_sensitivities_land_on_the_grid() -> None:
    wl = np.arange(380.0, 781.0, 5.0)
    S = np.stack([np.exp(-0.5 * ((wl - c) / 35.0) ** 2) for c in (600.0, 530.0, 460.0)], axis=1)
    camera = cameras.camera_from_arrays("bench", wl, 3.0 * S, bits=12, black=256)
    assert camera.sensitivities[240] == pytest.approx(S[44])
    assert camera.sensitivities[-1] == pytest.approx(0.0)
    assert camera.white == 4095


def test_sensitivities_of_another_shape_are_refused() -> None:
    with pytest.raises(WrongUseError, match="must be n x 3"):
        cameras.camera_from_arrays("bench", np.arange(4.0), np.ones((4, 4)))
