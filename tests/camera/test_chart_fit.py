"""A camera from a photographed chart: the reflectances are ISO 17321-1's, by colour-science."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowkin.base.errors import CannotMeasureError, CannotReadError, WrongUseError
from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.camera.calibrate import ChartSeen, calibrate
from glowkin.camera.chart import fitted, seen_chart
from glowkin.camera.chart_file import iso_17321, read_chart
from glowkin.camera.daylight import chart_light, planck
from glowkin.camera.emission import Camera
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.light.decode import open_photo
from glowkin.scene.cameras import default_camera
from glowkin.scene.chart import ChartStand, photograph_chart
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.spectra import emitters

NO_NOISE = np.zeros((1, 3, 3))


def chart_photo(folder, name="chart.dng", brightest=0.7, **stand):
    shot = photograph_chart(
        default_camera(), np.random.default_rng(3), ChartStand(**stand), brightest=brightest
    )
    write = write_jpeg if name.endswith("jpg") else write_dng
    return open_photo(write(shot, folder / name)), np.array(shot.chart.corners_px), shot


@pytest.fixture(scope="module")
def calibrated(tmp_path_factory):
    photo, corners, _ = chart_photo(tmp_path_factory.mktemp("chart"), cct_kelvin=5600.0, flare=0.015)
    return fitted(photo, corners, iso_17321(), chart_light("daylight"))


def test_light_flare_and_fit_are_told(calibrated):
    assert calibrated.basis == "chart"
    assert calibrated.obtained["light_kelvin"] == pytest.approx(5600, abs=900)
    assert calibrated.obtained["flare"] == pytest.approx(0.015, abs=0.008)
    assert calibrated.obtained["residual_rms"] < 0.03
    assert not calibrated.unlike


@pytest.mark.parametrize("kelvin", [5100.0, 7200.0])
def test_the_files_own_matrices_tell_the_light(tmp_path, kelvin):
    """Daylight of known temperature by colour-science; without them the chart leaves 2000 K open."""
    photo, corners, _ = chart_photo(tmp_path, cct_kelvin=kelvin, flare=0.015)
    chart, _ = seen_chart(photo, corners, iso_17321())
    daylight = chart_light("daylight")
    with_them, without = (calibrate(replace(chart, to_xyz=M), daylight) for M in (photo.to_xyz, ()))
    low, high = with_them.temperature_interval_kelvin
    assert with_them.described
    assert not without.described
    assert low < kelvin < high
    assert high - low < 0.7 * np.subtract(*without.temperature_interval_kelvin[::-1])


@pytest.mark.parametrize("turned", [(2, 1, 0), (0, 2, 1)])
def test_matrices_that_the_chart_contradicts_do_not_count(tmp_path, turned):
    photo, corners, _ = chart_photo(tmp_path)
    chart, _ = seen_chart(photo, corners, iso_17321())
    others = tuple(np.linalg.inv(np.linalg.inv(M)[list(turned)]) for M in photo.to_xyz)
    daylight = chart_light("daylight")
    with_them, without = (calibrate(replace(chart, to_xyz=M), daylight) for M in (others, ()))
    assert not with_them.described
    assert with_them.sensitivities.mean == pytest.approx(without.sensitivities.mean)


@pytest.mark.parametrize("name", sorted(emitters()))
def test_emissions_lie_in_their_regions(calibrated, name, oracle_XYZ):
    spectrum = emitters()[name]
    found = (
        Camera.from_file(calibrated).infer(default_camera().response(spectrum)[None], NO_NOISE).uncertain(0)
    )
    error = XYZ_to_uv_prime(oracle_XYZ(spectrum)) - found.value
    assert error @ np.linalg.solve(found.covariance, error) <= 1.5 * CHI2_95_2D


def test_a_chart_brings_narrower_regions_than_none(calibrated, tmp_path):
    from glowkin.camera.emission import camera_of

    photo, _, _ = chart_photo(tmp_path)
    rgb = np.array([default_camera().response(s) for s in emitters().values()])
    none = np.zeros((len(rgb), 3, 3))
    sizes = [
        np.median([np.trace(e.uncertain(i).covariance) for i in range(len(rgb))])
        for e in (camera.infer(rgb, none) for camera in (Camera.from_file(calibrated), camera_of(photo)[0]))
    ]
    assert sizes[0] < 0.8 * sizes[1]


def test_clipped_patches_are_left_out_and_said(tmp_path):
    photo, corners, _ = chart_photo(tmp_path, brightest=1.25)
    chart, left_out = seen_chart(photo, corners, iso_17321())
    assert 19 in left_out["patches_left_out"]  # the white patch
    assert len(chart.rgb) == 24 - len(left_out["patches_left_out"])


@pytest.mark.parametrize(
    ("brightest", "what"), [(6.0, "clipped; give 3 stops less exposure"), (0.005, "too dark")]
)
def test_a_chart_exposed_badly_is_refused_with_the_mend(tmp_path, brightest, what):
    photo, corners, _ = chart_photo(tmp_path, brightest=brightest)
    with pytest.raises(CannotMeasureError, match=what):
        seen_chart(photo, corners, iso_17321())


def test_a_developed_chart_is_refused(tmp_path):
    photo, corners, _ = chart_photo(tmp_path, "chart.jpg")
    with pytest.raises(CannotMeasureError, match="as raw"):
        seen_chart(photo, corners, iso_17321())


@pytest.mark.parametrize(
    ("turn", "what"),
    [(lambda c: c[::-1], "clockwise"), (lambda c: c * 3, "within"), (lambda c: c / 40, "small")],
)
def test_corners_that_are_no_charts_are_refused(tmp_path, turn, what):
    photo, corners, _ = chart_photo(tmp_path)
    with pytest.raises(WrongUseError, match=what):
        seen_chart(photo, turn(corners), iso_17321())


def test_a_chart_the_wrong_way_round_does_not_fit(tmp_path):
    photo, corners, _ = chart_photo(tmp_path)
    with pytest.raises(CannotMeasureError, match="do not fit a chart"):
        fitted(photo, np.roll(corners, 2, axis=0), iso_17321(), chart_light("daylight"))


# Independent: colour-science's illuminants. Whatever light was given, its colour is that light's.
@pytest.mark.parametrize(("text", "name"), [("D65", "D65"), ("5503K", "D55")])
def test_daylight_is_that_of_the_cie(text, name, colour_science):
    light = chart_light(text)
    sd = colour_science.SDS_ILLUMINANTS[name].copy().align(colour_science.SpectralShape(380, 780, 2))
    mine, theirs = light.spectrum(light.mired), sd.values
    assert mine / mine.mean() == pytest.approx(theirs / theirs.mean(), abs=0.02)


def test_incandescent_light_is_that_of_the_cie(colour_science):
    sd = colour_science.SDS_ILLUMINANTS["A"].copy().align(colour_science.SpectralShape(380, 780, 2))
    assert planck(2855.5) / planck(2855.5).mean() == pytest.approx(sd.values / sd.values.mean(), rel=0.002)


@pytest.mark.parametrize("text", ["candle", "500K", "99999K", "nothing.csv"])
def test_a_light_that_is_not_known_is_refused(text):
    with pytest.raises(WrongUseError, match="chart-light"):
        chart_light(text)


@pytest.mark.parametrize("percent", [False, True])
def test_reflectances_come_from_csv_and_from_cgats_text(tmp_path, percent):
    nm, table = np.arange(380, 781, 10), iso_17321()[:, ::5] * (100 if percent else 1)
    plain = tmp_path / "chart.csv"
    rows = [",".join([f"p{i}", *(f"{v:.6f}" for v in row)]) for i, row in enumerate(table)]
    plain.write_text("\n".join([",".join(["patch", *map(str, nm)]), *rows]), encoding="utf-8")
    fields = " ".join(["SAMPLE_ID", *(f"SPECTRAL_NM{w}" for w in nm)])
    body = "\n".join(" ".join([f"A{i}", *(f"{v:.6f}" for v in row)]) for i, row in enumerate(table))
    cgats = tmp_path / "chart.txt"
    cgats.write_text(
        f"CGATS.17\nBEGIN_DATA_FORMAT\n{fields}\nEND_DATA_FORMAT\nBEGIN_DATA\n{body}\nEND_DATA\n",
        encoding="utf-8",
    )
    for path in (plain, cgats):
        assert read_chart(path)[:, ::5] == pytest.approx(iso_17321()[:, ::5], abs=1e-5)


@pytest.mark.parametrize(
    "text",
    ["", "patch,400,700\na,1,1\n", "BEGIN_DATA_FORMAT\nX\nEND_DATA_FORMAT\n", "a,b\nc,d", "1" * 140_000],
)
def test_what_is_no_chart_file_is_said(tmp_path, text):
    (tmp_path / "chart.csv").write_text(text, encoding="utf-8")
    with pytest.raises(CannotReadError, match=r"chart\.csv"):
        read_chart(tmp_path / "chart.csv")


def test_measured_cameras_come_back_nearer_than_the_prior(shared_data):
    """Sensitivities of three cameras: the fit's error against that of the prior's mean."""
    from glowkin.camera.sensitivities import camera_prior
    from glowkin.camera.sensitivity_file import read_sensitivities

    place = np.array([((c - 2.5) / 5, (r - 1.5) / 3) for r in range(4) for c in range(6)])
    light = chart_light("5600K").spectrum(1e6 / 5600)
    for file in sorted((shared_data / "cameras").glob("*.json"))[::9]:
        true = read_sensitivities(file).sensitivities.mean
        rgb = (iso_17321() * light) @ true.T
        found = calibrate(ChartSeen(rgb, iso_17321(), place), chart_light("daylight")).sensitivities.mean
        shapes = [S / S.sum(axis=1, keepdims=True) for S in (true, found, camera_prior().mean)]
        assert np.abs(shapes[1] - shapes[0]).sum() < np.abs(shapes[2] - shapes[0]).sum()
