"""Known lights: their list, their templates, and what they add to a chart."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from glowkin.base.errors import CannotReadError
from glowkin.camera.calibrate import ChartSeen, calibrate
from glowkin.camera.chart_file import iso_17321
from glowkin.camera.daylight import chart_light
from glowkin.camera.grid import WAVELENGTH_NM
from glowkin.camera.lights import KnownLight, diode, lights_seen, peak_of, read_lights

PLACE = np.array([((c - 2.5) / 5, (r - 1.5) / 3) for r in range(4) for c in range(6)])


def listed(tmp_path, text):
    path = tmp_path / "lights.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_lights_are_read_in_order(tmp_path):
    path = listed(tmp_path, '[[light]]\npeak_nm = 470\nfwhm_nm = 22\n[[light]]\nspectrum = "a.csv"\n')
    first, second = read_lights(path)
    assert (first.peak_nm, first.peak_sd_nm) == (470, 3)
    assert second.spectrum == str(tmp_path / "a.csv")


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("[[light]]\npeak_nm = 470\n", r"light\[1\]: give fwhm_nm"),
        ("[[light]]\nfwhm_nm = 20\n", "give one of peak_nm, dominant_nm and spectrum"),
        (
            "[[light]]\npeak_nm = 470\nfwhm_nm = 20\ncolour = 'blue'\n",
            r"light\[1\].colour: there is no such key",
        ),
        ("[[light]]\npeak_nm = 4700\nfwhm_nm = 0\n", r"light\[1\].peak_nm.*light\[1\].fwhm_nm"),
        ("", "light"),
        ("[[light", "no TOML"),
    ],
)
def test_everything_wrong_is_said_by_its_key(tmp_path, text, what):
    with pytest.raises(CannotReadError, match=what):
        read_lights(listed(tmp_path, text))


def test_a_diode_has_its_peak_and_width_and_feet():
    shape = diode(530.0, 30.0)
    assert WAVELENGTH_NM[shape.argmax()] == 530
    above = WAVELENGTH_NM[shape >= 0.5]
    assert above[-1] - above[0] == pytest.approx(30, abs=3)
    assert shape[np.searchsorted(WAVELENGTH_NM, 600)] > 1e-4  # a Gaussian would have 1e-7


# Independent: colour-science's dominant wavelength, in whole nanometres.
@pytest.mark.parametrize("nm", [460, 505, 530, 590, 625])
def test_a_dominant_wavelength_as_sellers_quote_it_is_that_of_the_template(nm, colour_science):
    shape = diode(peak_of(nm, 25.0), 25.0)
    fine = np.arange(380.0, 781.0)
    sd = colour_science.SpectralDistribution(np.interp(fine, WAVELENGTH_NM, shape), fine)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        XYZ = colour_science.sd_to_XYZ(sd)
    found, _, _ = colour_science.dominant_wavelength(colour_science.XYZ_to_xy(XYZ), np.full(2, 1 / 3))
    assert float(found) == pytest.approx(nm, abs=1.0)


def cameras_of(folder):
    from glowkin.camera.sensitivity_file import read_sensitivities

    return [read_sensitivities(f).sensitivities.mean for f in sorted(folder.glob("*.json"))[::7]]


def test_known_lights_bring_a_poor_chart_nearer_to_the_camera(shared_data):
    """Lights 3 nm off their stated peaks, patches 10 % off: error of the sensitivities with and without."""
    rng, errors = np.random.default_rng(5), []
    stated = [KnownLight(peak_nm=p, fwhm_nm=22) for p in (410, 450, 475, 505, 530, 570, 600, 635, 660)]
    for true in cameras_of(shared_data / "cameras"):
        lit = iso_17321() * chart_light("5600K").spectrum(1e6 / 5600)
        rgb = lit @ true.T * np.exp(0.1 * rng.standard_normal((24, 3)))
        chart = ChartSeen(rgb, iso_17321(), PLACE, patch_sd=0.1)
        really = np.array([diode(light.peak_nm + rng.normal(0, 3), 22) for light in stated])
        with_them = calibrate(chart, chart_light("daylight"), lights_seen(stated, really @ true.T))
        fits = (calibrate(chart, chart_light("daylight")), with_them)
        shapes = [S / S.sum(axis=1, keepdims=True) for S in (true, *(f.sensitivities.mean for f in fits))]
        errors.append([np.abs(S - shapes[0]).sum() for S in shapes[1:]])
    alone, with_lights = np.mean(errors, axis=0)
    assert with_lights < 0.9 * alone
