"""What a measured spectrum says, against colour-science and published figures."""

from __future__ import annotations

import numpy as np
import pytest

from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.base.uncertainty import CHI2_95_2D
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.emission_shape import measured, shape_of, whole_nm
from glowkin.colour.observer import cmfs
from glowkin.colour.spectrum_file import MeasuredSpectrum
from glowkin.findings.spectrum import Told, form_of, published_form, read_out

NM = np.arange(380.0, 781.0)


def band(peak, width_cm, nm=NM):
    """A band Gaussian in 1/cm, in power per nm."""
    return np.exp(-4 * np.log(2) * ((1e7 / nm - 1e7 / peak) / width_cm) ** 2)


def read(nm, value, told=None, **how):
    return read_out("s.csv", "0", MeasuredSpectrum(np.asarray(nm), np.asarray(value)), told or Told(), **how)


OBSERVERS = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}


# Independent: colour-science integrates the spectrum with its own tables and finds its own wavelength (it
# answers 360 nm on exact-nanometre rays: peaks are off whole nanometres).
@pytest.mark.parametrize("degrees", [2, 10])
@pytest.mark.parametrize(
    ("peak", "width"), [(451.37, 2500), (488.2, 1500), (521.6, 900), (573.9, 3000), (640.3, 2000)]
)
def test_colour_and_dominant_wavelength_agree_with_colour_science(colour_science, peak, width, degrees):
    nm = np.arange(360.0, 831.0)
    power = band(peak, width, nm)
    found = read(nm, power, Told("D65", degrees))
    sd = colour_science.SpectralDistribution(power, nm)
    XYZ = colour_science.sd_to_XYZ(
        sd, cmfs=colour_science.MSDS_CMFS[OBSERVERS[degrees]], method="Integration", k=1.0
    )
    xy = np.asarray(XYZ)[:2] / np.sum(XYZ)
    assert (found.x, found.y) == pytest.approx(tuple(xy), abs=2e-5)
    assert (found.u_prime, found.v_prime) == pytest.approx(tuple(XYZ_to_uv_prime(XYZ)), abs=2e-5)
    cmf = colour_science.MSDS_CMFS[OBSERVERS[degrees]]
    theirs, *_ = colour_science.dominant_wavelength(xy, found.white_point_xy, cmf)
    assert found.dominant_wavelength_nm == pytest.approx(float(theirs), abs=0.5)


# CIE 15: the spectrum locus at these wavelengths; ITU-R BT.2020: its primaries are monochromatic at 630, 532
# and 467 nm.
@pytest.mark.parametrize(
    ("nm", "xy", "white"),
    [
        (480, (0.0913, 0.1327), "E"), (520, (0.0743, 0.8338), "E"), (600, (0.6270, 0.3725), "E"),
        (630, (0.708, 0.292), "D65"), (532, (0.170, 0.797), "D65"), (467, (0.131, 0.046), "D65"),
    ],
)  # fmt: skip
def test_a_line_lies_on_the_locus(nm, xy, white):
    wavelengths = nm + np.arange(-2.0, 2.01, 0.1)
    found = read(wavelengths, np.maximum(0.0, 1 - np.abs(wavelengths - nm) / 0.4), Told(white))
    assert (found.x, found.y) == pytest.approx(xy, abs=6e-4)
    assert found.dominant_wavelength_nm == pytest.approx(nm, abs=0.3)
    assert found.excitation_purity == pytest.approx(1.0, abs=2e-3)
    assert found.peak_nm == pytest.approx(nm, abs=0.05)


# A photon carries 1239.842 eV nm / wavelength (CODATA, exact constants of the SI).
def test_photons_become_power_by_their_energy():
    photons = band(600, 2500)
    found, power = read(NM, photons, photons=True), read(NM, photons * 1239.842 / NM)
    assert (found.u_prime, found.v_prime) == pytest.approx((power.u_prime, power.v_prime), abs=1e-12)
    assert found.photons
    assert not power.photons


# By calculus: the top of exp(-x^2/2s^2) / wavelength lies about sigma^2 / peak to the blue, sigma in nm.
@pytest.mark.parametrize(("peak", "sigma"), [(450, 20), (520, 30), (620, 40), (700, 50)])
def test_both_peaks_are_given_and_lie_as_far_apart_as_the_photon_energy_makes_them(peak, sigma):
    photons = np.exp(-0.5 * ((NM - peak) / sigma) ** 2)
    found = read(NM, photons, photons=True)
    assert found.photon_peak_nm == pytest.approx(peak, abs=0.1)
    assert found.photon_peak_nm - found.peak_nm == pytest.approx(sigma**2 / peak, rel=0.1)
    assert 0.5 < found.photon_peak_nm - found.peak_nm < 9


@pytest.mark.parametrize("step", [1.0, 2.0, 5.0, 10.0])
def test_peak_width_and_middle_hold_on_any_step(step):
    nm = np.arange(383.0, 780.0, step)
    shape = shape_of(nm, np.exp(-4 * np.log(2) * ((nm - 541.3) / 60.0) ** 2))
    assert shape.peak_nm == pytest.approx(541.3, abs=0.3)
    assert shape.centroid_nm == pytest.approx(541.3, abs=0.05)
    left, right = shape.half_height_nm
    assert right - left == pytest.approx(60.0, abs=0.03 * step**2 + 0.05)


def test_noise_moves_the_peak_little():
    noise = 0.01 * np.random.default_rng(0).standard_normal((20, NM.size))
    peaks = [shape_of(NM, band(541.3, 2000) + one).peak_nm for one in noise]
    assert peaks == pytest.approx([541.3] * 20, abs=2.5)


def test_a_width_is_not_told_where_the_range_ends_above_half():
    nm = np.arange(500.0, 560.0)
    found = read(nm, band(500, 2000, nm))
    assert found.width_nm is None
    assert found.half_height_nm[0] is None
    assert found.half_height_nm[1] is not None
    assert found.flags == ("spectrum-cut-off",)


@pytest.mark.parametrize(
    ("nm", "value", "flags"),
    [
        (NM, band(520, 2000), ()),
        (np.arange(450.0, 700.0), band(520, 3000, np.arange(450.0, 700.0)), ("spectrum-cut-off",)),
        (np.arange(450.0, 700.0), band(570, 1200, np.arange(450.0, 700.0)), ()),
        (NM, band(520, 2000) - 0.04, ("spectrum-below-zero",)),
        (np.arange(380.0, 781.0, 20.0), band(520, 5000, np.arange(380.0, 781.0, 20.0)), ("spectrum-coarse",)),
        (np.append(NM, 900.0), np.append(band(520, 2000), 0.0), ()),
    ],
)
def test_what_is_wrong_with_a_spectrum_is_flagged(nm, value, flags):
    assert read(nm, value).flags == flags


def test_no_light_and_no_visible_light_are_told():
    with pytest.raises(CannotMeasureError, match="no light above zero"):
        read(NM, -band(520, 2000))
    ultraviolet = np.arange(250.0, 350.0)
    with pytest.raises(CannotMeasureError, match="no light from 380 to 780"):
        read(ultraviolet, band(300, 2000, ultraviolet))


# The stated errors drawn anew by other means: a shift by interpolation, a tilted and bowed sensitivity.
def test_the_error_of_the_colour_is_that_of_a_spectrometer_off_by_its_usual_errors():
    rng, uv = np.random.default_rng(1), []
    nm, bar = cmfs()
    for _ in range(400):
        shift, tilt, bow = rng.standard_normal(3) * (1.0, 0.05, 0.03)
        power = np.interp(nm - shift, NM, band(530, 2200), left=0, right=0)
        away = (nm - 530) / 100
        uv.append(XYZ_to_uv_prime((power * (1 + tilt * away + bow * away**2)) @ bar))
    found = np.array(read(NM, band(530, 2200)).u_prime_v_prime_covariance)
    assert np.linalg.eigvalsh(found)[1] == pytest.approx(
        np.linalg.eigvalsh(np.cov(np.array(uv).T))[1], rel=0.25
    )


# Cut anywhere in its wings, the whole spectrum's colour stays within what is said (95 %).
@pytest.mark.parametrize("first", [450, 470, 480, 490])
def test_a_cut_off_spectrum_says_how_much_it_may_miss(first):
    whole, nm = read(NM, band(500, 2600)), np.arange(float(first), 781.0)
    cut = read(nm, band(500, 2600, nm))
    error = np.array([cut.u_prime - whole.u_prime, cut.v_prime - whole.v_prime])
    C = np.array(cut.u_prime_v_prime_covariance)
    assert error @ np.linalg.solve(C, error) < CHI2_95_2D
    assert np.trace(C) > np.trace(np.array(whole.u_prime_v_prime_covariance))


def test_a_fine_grid_keeps_its_light_on_whole_nanometres():
    nm = np.arange(500.0, 520.0, 0.05)
    line = np.exp(-0.5 * ((nm - 510.43) / 0.1) ** 2)
    assert whole_nm(nm, line).sum() == pytest.approx(np.trapezoid(line, nm), rel=1e-9)
    found = measured(nm, line).uv_prime()[0]
    one = read(nm, line)
    assert found == pytest.approx([one.u_prime, one.v_prime], abs=1e-3)


def test_a_form_keeps_the_spectrum_in_power():
    spectrum = MeasuredSpectrum(NM, band(520, 2000))
    told = Told(source="doi:10.0/none", excitation="365 nm")
    form = form_of("green", read_out("s.csv", "0", spectrum, told, photons=True), spectrum, told)
    assert form.basis == "measured-spectrum"
    assert (form.source, form.excitation) == ("doi:10.0/none", "365 nm")
    assert np.interp(540, form.wavelength_nm, form.power) / np.interp(
        500, form.wavelength_nm, form.power
    ) == (
        pytest.approx(
            band(520, 2000, np.array(540.0)) / band(520, 2000, np.array(500.0)) * 500 / 540, rel=1e-3
        )
    )


def test_published_figures_carry_the_error_of_their_digits():
    told = Told(source="a table")
    few, many = (published_form("a", xy, told) for xy in (["0.3", "0.6"], ["0.3000", "0.6000"]))
    assert few.u_prime == many.u_prime == pytest.approx(4 * 0.3 / (-2 * 0.3 + 12 * 0.6 + 3))
    few_sd, many_sd = (np.sqrt(np.linalg.eigvalsh(f.u_prime_v_prime_covariance)[1]) for f in (few, many))
    assert few_sd > 5 * many_sd
    own = published_form("a", ["0.2", "0.5"], told, uv=True, error=0.004)
    assert np.array(own.u_prime_v_prime_covariance) == pytest.approx(0.004**2 * np.eye(2))


@pytest.mark.parametrize(
    ("figures", "source", "words"),
    [
        (["0.8", "0.8"], "x", "no light has this"),
        (["0.3", "a"], "x", "two figures between 0 and 1"),
        (["0.3", "1.6"], "x", "two figures between 0 and 1"),
        (["0.3", "0.6"], "", "--source"),
    ],
)
def test_figures_no_light_has_are_refused(figures, source, words):
    with pytest.raises(WrongUseError, match=words):
        published_form("a", figures, Told(source=source))
