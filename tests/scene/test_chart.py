from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from glowkin.scene import cameras, chart, lights
from glowkin.scene.render import photograph
from glowkin.scene.spectra import WAVELENGTH_NM

OracleXYZ = Callable[[np.ndarray], np.ndarray]
QUIET = {"full_well_e": 3e8, "read_noise_e": 0.0, "throughput_e": 5e9, "bits": 16, "black": 0}


def patch_means(shot) -> np.ndarray:  # type: ignore[no-untyped-def]
    codes = shot.codes.astype(float) - shot.camera.black
    means = []
    for x, y in chart.patch_centres(shot.chart.corners_px):
        i, j = 2 * round(y / 2), 2 * round(x / 2)
        box = codes[i - 10 : i + 10, j - 10 : j + 10]
        means.append((box[0::2, 0::2].mean(), box[0::2, 1::2].mean(), box[1::2, 1::2].mean()))
    return np.array(means)


def test_patches_photographed_by_a_luther_camera_have_the_published_colours(
    oracle_XYZ: OracleXYZ,
) -> None:
    # ISO 17321-1 patches under D65: colour-science's own data, interpolation and integration
    colour = pytest.importorskip("colour")
    camera = cameras.luther_camera().with_(**QUIET)
    stand = chart.ChartStand(
        flare=0.0, gradient=(0.0, 0.0), patch_sd=0.0, light=cameras.illuminant("D65"), size_px=(600, 400)
    )
    shot = chart.photograph_chart(camera, np.random.default_rng(0), stand)
    XYZ = patch_means(shot) @ np.linalg.inv(cameras.LUTHER).T
    xy = XYZ[:, :2] / XYZ.sum(axis=1, keepdims=True)
    shape = colour.SpectralShape(360, 830, 1)
    D65 = colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values
    for (name, sd), measured in zip(colour.SDS_COLOURCHECKERS["ISO 17321-1"].items(), xy, strict=True):
        expected = colour.XYZ_to_xy(oracle_XYZ(sd.copy().align(shape).values * D65))
        assert measured == pytest.approx(expected, abs=1.5e-3), name


def test_flare_and_gradient_are_as_stated() -> None:
    camera = cameras.default_camera().with_(**QUIET)
    stand = chart.ChartStand(flare=0.02, gradient=(0.2, -0.1), patch_sd=0.0)
    shot = chart.photograph_chart(camera, np.random.default_rng(0), stand)
    assert shot.chart is not None
    ideal = camera.response((shot.chart.reflectances + 0.02) * shot.chart.illuminant)
    light = (patch_means(shot) / ideal).mean(axis=1)
    column, row = np.meshgrid((np.arange(6) + 0.5) / 6 - 0.5, (np.arange(4) + 0.5) / 4 - 0.5)
    plane = 1.0 + 0.2 * column.ravel() - 0.1 * row.ravel()
    assert light / light.mean() == pytest.approx(plane / plane.mean(), abs=0.004)


def test_the_corners_run_clockwise_from_the_first_patch() -> None:
    shot = chart.photograph_chart(cameras.default_camera(), np.random.default_rng(1))
    assert shot.chart is not None
    corners = np.array(shot.chart.corners_px)
    edges = np.roll(corners, -1, axis=0) - corners
    turns = edges[:, 0] * np.roll(edges, -1, axis=0)[:, 1] - edges[:, 1] * np.roll(edges, -1, axis=0)[:, 0]
    assert np.all(turns > 0.0)
    assert np.linalg.norm(edges[0]) / np.linalg.norm(edges[1]) == pytest.approx(1.5, abs=0.05)


def test_printed_patches_deviate_by_about_what_was_asked() -> None:
    shot = chart.photograph_chart(
        cameras.default_camera(), np.random.default_rng(2), chart.ChartStand(patch_sd=0.02)
    )
    assert shot.chart is not None
    inner = slice(40, 341)
    ratio = shot.chart.reflectances[:, inner] / cameras.patch_reflectances()[:, inner]
    assert ratio.std() == pytest.approx(0.02, rel=0.5)


def test_known_lights_peak_near_where_their_file_says() -> None:
    import tomllib

    known = lights.known_lights(np.random.default_rng(3))
    stated = [row["peak_nm"] for row in tomllib.loads(lights.known_toml(known))["light"]]
    scene = lights.lights_scene(known)
    peaks = [WAVELENGTH_NM[s.radiance.argmax()] for s in scene.samples]
    assert np.array(peaks) == pytest.approx(np.array(stated), abs=10.0)
    shot = photograph(scene, cameras.default_camera(), np.random.default_rng(3))
    assert [t.name for t in shot.truths] == [f"{p:.0f} nm" for p in stated]
