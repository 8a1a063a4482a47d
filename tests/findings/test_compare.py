from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from glowkin.base.errors import WrongUseError
from glowkin.base.records import CameraUsed, MeasuredPhoto, Sample, measure_document, photos_from_json
from glowkin.findings import compare
from glowkin.findings.compare import Lab, all_pairs, compare_samples, find_sample, uncertain_colour, verdict

S = 0.002


def matrix(array):
    return tuple(tuple(float(v) for v in row) for row in np.asarray(array))


def sample(name, uv, own=S**2, shared=None, **more):
    shared = {k: matrix(v) for k, v in (shared or {}).items()}
    own = own * np.eye(2) if np.isscalar(own) else np.asarray(own)
    total = own + sum((np.array(v) @ np.array(v).T for v in shared.values()), np.zeros((2, 2)))
    return Sample(
        name, (0.0, 0.0), 1.0, (), float(uv[0]), float(uv[1]), matrix(total), shared, x=0.4, y=0.4,
        luminance_relative=1.0, **more,
    )  # fmt: skip


def photo(*samples, path="shots/evening.dng"):
    return MeasuredPhoto(
        path, "", None, None, None, None, "raw", (600, 400), CameraUsed("c", "generic"), "E", (1 / 3, 1 / 3),
        2, (), samples,
    )  # fmt: skip


def compared(a, b, **options):
    return compare_samples((photo(a), a), (photo(b), b), **options)


@pytest.mark.parametrize(
    ("within", "least", "answer"),
    [
        (1.0, 0.0, "no difference above tolerance"),
        (0.95, 0.0, "no difference above tolerance"),
        (0.949, 0.0, "cannot tell"),
        (0.051, 0.01, "cannot tell"),
        (0.05, 0.01, "different"),
        (0.0, 0.01, "different"),
        (0.0, 0.0, "cannot tell"),
    ],
)
def test_the_verdict_changes_at_95_and_5_percent(within, least, answer):
    assert verdict(within, least) == answer


def test_a_clear_difference_a_clear_sameness_and_a_blur():
    here = sample("a", (0.30, 0.50), own=1e-8)
    assert compared(here, sample("b", (0.32, 0.50), own=1e-8)).verdict == "different"
    assert compared(here, sample("b", (0.3005, 0.50), own=1e-8)).verdict == "no difference above tolerance"
    assert compared(here, sample("b", (0.3033, 0.50), own=1e-6)).verdict == "cannot tell"


def test_two_readings_blurred_far_beyond_the_tolerance_are_not_called_different():
    assert (
        compared(sample("a", (0.3, 0.5), own=4e-4), sample("b", (0.31, 0.5), own=4e-4)).verdict
        == "cannot tell"
    )


def test_steps_are_of_0_0011():
    # CIE TN 001:2014, from memory
    found = compared(sample("a", (0.30, 0.50)), sample("b", (0.30, 0.511)))
    assert found.delta_u_prime_v_prime == pytest.approx(0.011)
    assert found.n_step == pytest.approx(10.0)


@pytest.mark.parametrize(
    "own", [S**2 / 2 * np.eye(2), S**2 / 2 * np.diag([1.0, 1 / 16])], ids=["round", "long"]
)
@pytest.mark.parametrize("sigmas", [0.0, 0.5, 2.0, 10.0])
def test_the_interval_of_a_distance_holds_the_true_one(monkeypatch, own, sigmas):
    """95 % asked for; 0.90-0.97 measured: a distance comparable with its error is the hard case."""
    monkeypatch.setattr(compare, "DRAWS", 800)
    rng, held, n = np.random.default_rng(3), 0, 300
    R = np.linalg.cholesky(own)
    for _ in range(n):
        a, b = (
            sample(m, np.array([u, 0.5]) + R @ rng.standard_normal(2), own)
            for m, u in (("a", 0.3), ("b", 0.3 + sigmas * S))
        )
        low, high = compared(a, b).delta_u_prime_v_prime_interval
        held += low <= sigmas * S <= high
    assert 0.87 <= held / n <= 0.995


def test_the_interval_begins_at_none_where_none_is_possible():
    low, high = compared(sample("a", (0.3, 0.5)), sample("b", (0.3005, 0.5))).delta_u_prime_v_prime_interval
    assert low == 0.0
    # two-dimensional normal error of sd S sqrt 2 in each direction: 95 % within sqrt(5.99) of it (Rayleigh)
    assert high == pytest.approx(S * np.sqrt(2 * 5.991), rel=0.05)


CAMERA = {"camera": ((0.02, 0.0), (0.0, 0.015))}


def test_what_two_samples_share_cancels():
    apart = compared(sample("a", (0.3, 0.5), 1e-8, CAMERA), sample("b", (0.304, 0.5), 1e-8, CAMERA))
    low, high = apart.delta_u_prime_v_prime_interval
    assert (low, high) == (pytest.approx(0.0037, abs=2e-4), pytest.approx(0.0043, abs=2e-4))
    other = {"another camera": CAMERA["camera"]}
    assert (
        compared(sample("a", (0.3, 0.5), 1e-8, CAMERA), sample("b", (0.304, 0.5), 1e-8, other)).verdict
        == "cannot tell"
    )


def test_what_is_shared_cancels_from_a_file_as_well():
    a, b = sample("a", (0.3, 0.5), 1e-8, CAMERA), sample("b", (0.304, 0.5), 1e-8, CAMERA)
    text = json.dumps(measure_document([photo(a, b)], [], "glowkin"))
    (again,) = photos_from_json(json.loads(text))
    direct, from_file = compared(a, b), compared(*again.samples)
    assert from_file.delta_u_prime_v_prime_interval == pytest.approx(
        direct.delta_u_prime_v_prime_interval, rel=1e-3
    )


def test_a_record_gives_back_its_own_and_shared_parts():
    colour = uncertain_colour(sample("a", (0.3, 0.5), 3e-6, CAMERA))
    assert colour.own == pytest.approx(3e-6 * np.eye(2), abs=1e-12)
    assert colour.shared["camera"] == pytest.approx(np.array(CAMERA["camera"]))


def test_swapping_the_samples_keeps_everything_but_the_sign():
    camera = {"camera": ((0.002, 0.0), (0.0, 0.001))}
    a = sample("a", (0.45, 0.52), 4e-6, camera, dominant_wavelength_nm=609.0)
    b = sample("b", (0.43, 0.525), 1e-6, camera, dominant_wavelength_nm=604.0)
    there, back = compared(a, b), compared(b, a)
    assert there.delta_u_prime_v_prime == pytest.approx(back.delta_u_prime_v_prime, rel=1e-12)
    assert there.verdict == back.verdict
    assert there.delta_u_prime_v_prime_interval == pytest.approx(
        back.delta_u_prime_v_prime_interval, rel=0.03
    )
    assert there.probability_within_tolerance == pytest.approx(back.probability_within_tolerance, abs=0.02)
    assert there.delta_dominant_wavelength_nm == pytest.approx(-back.delta_dominant_wavelength_nm)
    low, high = there.delta_dominant_wavelength_interval_nm
    assert (-high, -low) == pytest.approx(back.delta_dominant_wavelength_interval_nm, abs=0.3)


def test_a_shift_in_wavelength_is_b_minus_a_and_absent_on_the_purple_side():
    a = sample("a", (0.45, 0.52), 1e-8, dominant_wavelength_nm=609.0)
    b = sample("b", (0.43, 0.525), 1e-8, dominant_wavelength_nm=604.0)
    assert compared(a, b).delta_dominant_wavelength_nm == pytest.approx(-5.0)
    purple = sample("b", (0.35, 0.40), 1e-8)
    assert compared(a, purple).delta_dominant_wavelength_nm is None
    assert compared(a, purple).delta_dominant_wavelength_interval_nm is None


def test_delta_e_2000_comes_only_with_a_white():
    a, b = sample("a", (0.45, 0.52)), replace(sample("b", (0.43, 0.525)), x=0.45)
    assert compared(a, b).delta_e_2000 is None
    found = compared(a, b, lab=Lab("D65", (0.3127, 0.3290)))
    assert found.delta_e_2000_white == "D65"
    # skimage's Lab and CIEDE2000 as the reference, luminance 100 for both
    from skimage.color import deltaE_ciede2000, xyz2lab

    XYZ = [np.array([[[s.x / s.y, 1.0, (1 - s.x - s.y) / s.y]]]) for s in (a, b)]
    expected = deltaE_ciede2000(*(xyz2lab(v, illuminant="D65", observer="2") for v in XYZ))
    assert found.delta_e_2000 == pytest.approx(float(expected.squeeze()), rel=2e-3)


def test_a_sample_without_colour_is_not_compared():
    dark = replace(sample("b", (0.3, 0.5)), u_prime=None, v_prime=None, u_prime_v_prime_covariance=None)
    assert compared(sample("a", (0.3, 0.5)), dark) is None


FIRST = photo(sample("red", (0.45, 0.52)), sample("green", (0.1, 0.57)), path="one/a.dng")
SECOND = photo(sample("red", (0.45, 0.52)), sample("blue", (0.15, 0.3)), path="two/b.dng")
THIRD = photo(sample("red", (0.45, 0.52)), path="three/a.dng")


@pytest.mark.parametrize(
    ("address", "path"),
    [
        ("green", "one/a.dng"),
        ("blue", "two/b.dng"),
        ("b.dng:red", "two/b.dng"),
        ("one/a.dng:red", "one/a.dng"),
    ],
)
def test_samples_are_found_by_name_by_file_and_by_path(address, path):
    assert find_sample([FIRST, SECOND], address)[0].path == path


@pytest.mark.parametrize(
    ("photos", "address", "words"),
    [
        ((FIRST, SECOND), "pink", r"--pair pink: no such sample; there are red, green, blue"),
        ((), "pink", "there are none"),
        ((FIRST, SECOND), "red", r"--pair red: is in several photographs; write a\.dng:red or b\.dng:red"),
        ((FIRST, THIRD), "a.dng:red", r"is in several photographs; write one/a\.dng:red or three/a\.dng:red"),
    ],
)
def test_an_address_that_fits_none_or_several_is_refused_with_the_mend(photos, address, words):
    with pytest.raises(WrongUseError, match=words):
        find_sample(photos, address)


def test_all_pairs_are_those_within_a_photograph():
    pairs = [(a[1].name, b[1].name) for a, b in all_pairs([FIRST, SECOND, THIRD])]
    assert pairs == [("red", "green"), ("red", "blue")]
