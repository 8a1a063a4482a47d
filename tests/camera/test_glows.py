"""Glows of known emission."""

from __future__ import annotations

import json
import os

import numpy as np
import pytest

from glowkin.base.errors import CannotReadError, WrongUseError
from glowkin.base.spectra import forms_document
from glowkin.camera.glows import TEMPLATES, known_glow
from glowkin.camera.grid import WAVELENGTH_NM
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.observer import spectrum_to_XYZ
from glowkin.findings.spectrum import Told, published_form

NM = np.arange(380.0, 781.0)
GREEN = np.exp(-0.5 * ((NM - 530) / 25) ** 2)


@pytest.fixture
def files(tmp_path):
    spectrum = tmp_path / "green.csv"
    spectrum.write_text("".join(f"{w:g},{p:.6f}\n" for w, p in zip(NM, GREEN, strict=True)), "utf-8")
    form = published_form("warm", ["0.45", "0.45"], Told(source="a table"))
    (tmp_path / "forms.json").write_text(json.dumps(forms_document([form], "glowkin")), "utf-8")
    return tmp_path


# Quinine sulfate in acid emits near 450 nm, fluorescein in base near 515 nm: common practice, no source.
@pytest.mark.parametrize(("name", "near"), [("quinine-sulfate", 450), ("fluorescein", 515)])
def test_the_templates_peak_where_they_are_said_to(name, near):
    glow = known_glow(name)
    assert WAVELENGTH_NM[glow.mean.argmax()] == pytest.approx(near, abs=8)
    shifted = [WAVELENGTH_NM[(glow.mean + s * glow.modes[0]).argmax()] for s in (-1, 1)]
    assert shifted[1] - shifted[0] >= 8
    assert glow.mean.min() >= 0


def test_every_template_is_known():
    assert [known_glow(name).name for name in TEMPLATES] == list(TEMPLATES)


def test_a_file_and_a_form_are_known_too(files):
    glow = known_glow(str(files / "green.csv"))
    assert glow.mean / glow.mean.max() == pytest.approx(np.interp(WAVELENGTH_NM, NM, GREEN), abs=2e-3)
    assert glow.uv_prime[2][0] == pytest.approx(XYZ_to_uv_prime(spectrum_to_XYZ(NM, GREEN)), abs=1e-4)
    warm = known_glow(f"{files / 'forms.json'}:warm")
    colour = XYZ_to_uv_prime(spectrum_to_XYZ(WAVELENGTH_NM, warm.mean))
    away = colour - warm.uv_prime[2][0]
    assert np.hypot(*away) < 0.004
    assert warm.uv_prime[2][0] == pytest.approx([4 * 0.45 / (-0.9 + 5.4 + 3), 9 * 0.45 / (-0.9 + 5.4 + 3)])


def test_a_file_written_anew_is_read_anew(files):
    path = files / "green.csv"
    first = known_glow(str(path))
    path.write_text(path.read_text("utf-8").replace("0.0", "0.1"), "utf-8")
    os.utime(path, ns=(1, 1))
    assert not np.array_equal(known_glow(str(path)).mean, first.mean)


# Three spectra of one colour that are made apart from the prior: x, y 0.45, 0.45 from two bands each.
@pytest.mark.parametrize("bands", [(520, 60, 610, 60), (545, 90, 600, 90), (500, 40, 595, 70)])
def test_other_spectra_of_a_form_s_colour_lie_within_what_is_known_of_it(files, bands):
    warm = known_glow(f"{files / 'forms.json'}:warm")
    first, second = (
        np.exp(-4 * np.log(2) * ((WAVELENGTH_NM - bands[k]) / bands[k + 1]) ** 2) for k in (0, 2)
    )
    shares = np.linspace(0, 1, 2001)[:, None]
    mixtures = shares * first + (1 - shares) * second
    colours = XYZ_to_uv_prime(spectrum_to_XYZ(WAVELENGTH_NM, mixtures))
    away = np.hypot(*(colours - warm.uv_prime[2][0]).T)
    assert away.min() < 0.03
    other = mixtures[away.argmin()]
    sensor = np.exp(-0.5 * ((WAVELENGTH_NM - np.array([[600.0], [540.0]])) / 35) ** 2)
    seen, spread = sensor @ warm.mean, warm.modes @ sensor.T
    sd = np.sqrt(np.square(spread[:, 0] / seen[0] - spread[:, 1] / seen[1]).sum())
    red, green = sensor @ other
    assert 0.012 < sd < 0.5
    assert abs(np.log(red / green) - np.log(seen[0] / seen[1])) < 3 * sd


@pytest.mark.parametrize(
    ("kind", "error", "words"),
    [
        ("rhodamine", WrongUseError, "is not known; give quinine-sulfate, fluorescein"),
        ("none.csv", CannotReadError, "there is no such file"),
        ("none.json:a", CannotReadError, "there is no such file"),
        ("FORMS:cold", WrongUseError, "no such form; there are warm"),
        ("FORMS", WrongUseError, "name a form of the file too"),
    ],
)
def test_what_is_no_glow_is_told(files, kind, error, words):
    with pytest.raises(error, match=words):
        known_glow(kind.replace("FORMS", str(files / "forms.json")))
