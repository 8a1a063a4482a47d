from __future__ import annotations

from dataclasses import asdict

import numpy as np
import pytest
from matplotlib.path import Path

from glowkin.base.uncertainty import Uncertain
from glowkin.colour.chromaticity import uv_prime_to_xy, xy_to_uv_prime
from glowkin.colour.observer import locus_xy, white_point_xy
from glowkin.findings.describe import describe

E = np.array([1 / 3, 1 / 3])


def described(uv, sd=1e-4, white=E, observer=2):
    return describe([Uncertain(np.asarray(uv, dtype=float), sd**2 * np.eye(2))], white, observer)[0]


@pytest.mark.parametrize(
    ("primary", "nm"), [((0.708, 0.292), 630), ((0.170, 0.797), 532), ((0.131, 0.046), 467)]
)
def test_the_primaries_of_bt_2020_have_their_wavelengths_and_purity_1(primary, nm):
    # ITU-R BT.2020, D65
    found = described(xy_to_uv_prime(np.array(primary)), white=white_point_xy("D65", 2))
    assert found.dominant_wavelength_nm == pytest.approx(nm, abs=0.5)
    assert found.excitation_purity == pytest.approx(1, abs=0.002)
    assert found.complementary_wavelength_nm is None
    assert found.complementary_wavelength_interval_nm is None
    assert (found.x, found.y) == pytest.approx(primary)


@pytest.mark.parametrize("observer", [2, 10])
@pytest.mark.parametrize("nm", [450, 500, 560, 600, 640])
def test_an_interval_of_a_pure_colour_holds_its_wavelength_and_narrows_with_the_error(nm, observer):
    wavelengths, locus = locus_xy(observer)
    at = xy_to_uv_prime(0.8 * locus[wavelengths == nm][0] + 0.2 * E)
    widths = []
    for sd in (4e-3, 1e-3):
        found = described(at, sd, observer=observer)
        low, high = found.dominant_wavelength_interval_nm
        assert low < found.dominant_wavelength_nm < high
        assert found.dominant_wavelength_nm == pytest.approx(nm, abs=0.2)
        widths.append(high - low)
        low, high = found.excitation_purity_interval
        assert 0 <= low < 0.8 < high <= 1
    assert widths[1] < 0.5 * widths[0]


def test_the_interval_of_the_wavelength_holds_the_true_one_in_95_of_100():
    """Readings scattered by their stated error around a colour of known dominant wavelength."""
    wavelengths, locus = locus_xy(2)
    true = xy_to_uv_prime(0.8 * locus[wavelengths == 520][0] + 0.2 * E)
    rng, sd = np.random.default_rng(1), 3e-3
    readings = [Uncertain(true + sd * rng.standard_normal(2), sd**2 * np.eye(2)) for _ in range(400)]
    held = [
        low <= 520 <= high
        for low, high in (d.dominant_wavelength_interval_nm for d in describe(readings, E, 2))
    ]
    assert 0.92 <= np.mean(held) <= 0.98


@pytest.mark.parametrize("uv", [(0.35, 0.40), (0.28, 0.42), (0.45, 0.48), (0.25, 0.30)])
def test_a_purple_has_a_complementary_wavelength_within_those_there_are(uv):
    """Against E they run from about 494 nm (of deep red) to 568 nm (of violet): CIE 15."""
    found = described(uv, sd=0.03)
    assert found.dominant_wavelength_nm is None
    assert found.dominant_wavelength_interval_nm is None
    low, high = found.complementary_wavelength_interval_nm
    assert 492 <= low <= found.complementary_wavelength_nm <= high <= 571


def test_a_red_blurred_over_the_purple_line_ends_at_the_end_of_the_spectrum():
    low, high = described((0.52, 0.515), sd=0.02).dominant_wavelength_interval_nm
    assert high == 695.0
    assert low > 590


OBSERVERS = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}
SKEW = {
    # nm, share of it over white, sd in u'v': what is longer, and how many times at least
    "a red that the end of the spectrum cuts off": (640, 0.93, 0.02, "high", 2.5),
    "an orange beside the purple line": (610, 0.97, 0.03, "high", 5.0),
    "a violet whose wavelengths lie close": (460, 0.95, 0.02, "low", 2.0),
    "a green near white": (550, 0.15, 0.012, "low", 2.0),
}


@pytest.mark.parametrize("observer", [2, 10])
@pytest.mark.parametrize("case", SKEW)
def test_wavelength_intervals_are_as_skew_as_the_possible_colours(colour_science, observer, case):
    """Independent: colour-science's dominant wavelengths of other draws, those outside the locus left out."""
    nm, share, sd, longer, times = SKEW[case]
    wavelengths, locus = locus_xy(observer)
    at = xy_to_uv_prime(share * locus[wavelengths == nm][0] + (1 - share) * E)
    found = described(at, sd, observer=observer)
    low, high = found.dominant_wavelength_interval_nm
    below, above = found.dominant_wavelength_nm - low, high - found.dominant_wavelength_nm
    assert (above if longer == "high" else below) > times * (below if longer == "high" else above)
    xy = uv_prime_to_xy(at + sd * np.random.default_rng(9).standard_normal((1200, 2)))
    xy = xy[Path(locus).contains_points(xy)]
    theirs, *_ = colour_science.dominant_wavelength(xy, E, colour_science.MSDS_CMFS[OBSERVERS[observer]])
    # it tells complementary wavelengths below zero; beyond 400 and 695 nm all locus points coincide (CIE 15)
    theirs = np.clip(np.where(theirs < 0, 695 if nm > 550 else 400, theirs), 400, 695)
    assert (low, high) == pytest.approx(tuple(np.quantile(theirs, [0.025, 0.975])), abs=4)


def test_hue_and_saturation_are_those_of_cie_1976():
    # CIE 15: h_uv and s_uv = 13 sqrt(du'^2 + dv'^2)
    white = xy_to_uv_prime(E)
    found = described(white + np.array([0.03, 0.04]))
    assert found.hue_angle_uv_deg == pytest.approx(np.degrees(np.arctan2(0.04, 0.03)))
    assert found.saturation_uv == pytest.approx(13 * 0.05)


def test_outside_the_diagram_purity_stays_at_one():
    found = described((0.0, 0.60), sd=1e-3)
    assert found.excitation_purity == 1.0
    assert max(found.excitation_purity_interval) <= 1.0


@pytest.mark.parametrize("uv", [(0.3, 0.5), (0.0, 0.6), (-0.1, 0.4), (0.7, 0.2), tuple(xy_to_uv_prime(E))])
def test_every_figure_is_a_number_or_none(uv):
    for value in asdict(described(uv, sd=0.01)).values():
        for number in value if isinstance(value, tuple) else (value,):
            assert number is None or np.isfinite(number)


def test_colours_are_described_apart_and_none_gives_none():
    colours = [Uncertain(np.array(uv), 1e-6 * np.eye(2)) for uv in ((0.3, 0.5), (0.1, 0.5))]
    both = describe(colours, E, 2)
    assert both == [describe([c], E, 2)[0] for c in colours]
    assert describe([], E, 2) == []
