from __future__ import annotations

import numpy as np
import pytest

from glowkin.base.uncertainty import CHI2_95_2D, cross_covariance, difference
from glowkin.camera.emission import Camera, camera_of
from glowkin.camera.generic import GenericError
from glowkin.camera.ten_degree import ObserverStep
from glowkin.colour.chromaticity import XYZ_to_uv_prime, jacobian_uv_prime_XYZ
from glowkin.light.decode import open_photo
from glowkin.light.region import region_means
from glowkin.scene.cameras import LUTHER, default_camera, luther_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import light_mosaic, noiseless, photograph
from glowkin.scene.shot import Exposure, Shot
from glowkin.scene.spectra import emitters
from glowkin.scene.stage import plain_scene

EXACT = Camera("Luther", "sensitivities", (np.linalg.inv(LUTHER),))
NO_NOISE = np.zeros((1, 3, 3))
KINDS = ("raw", "rendered", "rendered-auto")
COLOURS = [(0.45, 0.52), (0.10, 0.57), (0.20, 0.47), (0.17, 0.25), (0.06, 0.45)]


@pytest.fixture(scope="module")
def noiseless_shots(tmp_path_factory):
    """Scenes of all emitters by the Luther camera, without noise, at two exposures: photograph and truths."""
    folder, camera, out = tmp_path_factory.mktemp("luther"), luther_camera(), []
    for scale in (1.0, 0.25):
        scene = plain_scene((1000, 120), list(emitters().values()))
        shot = photograph(scene, camera, np.random.default_rng(0), brightest=0.8)
        full = noiseless(
            scale * light_mosaic(scene, camera) * camera.throughput_e * shot.exposure.relative, camera
        )
        codes = np.rint(full).astype(np.uint16)
        path = write_dng(Shot(codes, camera, shot.exposure, shot.truths), folder / f"{scale}.dng")
        out.append((open_photo(path), shot.truths))
    return out


def inner(truth, share=0.7):
    return share * (np.array(truth.outline_px) - truth.centre_px) + truth.centre_px


def test_without_noise_the_scene_comes_back_to_1e_4(noiseless_shots):
    photo, truths = noiseless_shots[0]
    signals = region_means(photo, [inner(t) for t in truths])
    found = EXACT.infer(signals.mean, signals.covariance).uv_prime
    assert found == pytest.approx(np.array([(t.u_prime, t.v_prime) for t in truths]), abs=1e-4)


def test_exposure_scales_away(noiseless_shots):
    (bright, truths), (dark, _) = noiseless_shots
    outlines = [inner(t) for t in truths]
    a, b = (EXACT.infer(s.mean, s.covariance) for s in (region_means(p, outlines) for p in (bright, dark)))
    assert b.uv_prime == pytest.approx(a.uv_prime, abs=2e-4)  # a quarter of the light: codes rounded coarser
    assert b.luminance / a.luminance == pytest.approx(np.full(len(truths), 0.25), rel=2e-3)


@pytest.mark.parametrize("matrices", [1, 2])
def test_scaling_all_channels_changes_no_chromaticity(matrices):
    camera = Camera(
        "two", "generic", tuple(np.linalg.inv(m) for m in default_camera().color_matrices)[:matrices]
    )
    rgb = np.array([[0.3, 0.2, 0.1], [0.1, 0.4, 0.05], [0.4, 0.1, 0.01]])
    assert camera.infer(7 * rgb, np.zeros((3, 3, 3))).uv_prime == pytest.approx(
        camera.infer(rgb, np.zeros((3, 3, 3))).uv_prime, rel=1e-9
    )


def test_the_jacobian_is_that_of_the_colour_room():
    rgb = np.array([[0.3, 0.2, 0.1], [0.02, 0.5, 0.2], [1e-4, 3e-4, 2e-4]])
    M = EXACT.to_xyz[0]
    expected = jacobian_uv_prime_XYZ(rgb @ M.T) @ M
    assert EXACT.jacobian(rgb) == pytest.approx(expected, rel=1e-5, abs=1e-6)


def test_the_covariance_of_the_channels_is_carried_through():
    rng = np.random.default_rng(1)
    mean, A = np.array([0.3, 0.25, 0.1]), 1e-3 * rng.normal(size=(3, 3))
    found = EXACT.infer(mean[None], (A @ A.T)[None])
    drawn = EXACT.infer(mean + rng.standard_normal((40_000, 3)) @ A.T, np.zeros((40_000, 3, 3))).uv_prime
    scale = np.sqrt(np.outer(*[np.diag(found.own[0])] * 2))
    assert np.cov(drawn.T) / scale == pytest.approx(found.own[0] / scale, abs=0.03)


def test_what_is_not_a_number_stays_so_without_a_warning():
    camera = Camera("c", "generic", EXACT.to_xyz, GenericError.load("raw"))
    found = camera.infer(np.array([[np.nan] * 3, [0.3, 0.2, 0.1]]), np.full((2, 3, 3), np.nan), observer=10)
    assert np.isnan(found.uv_prime[0]).all()
    assert np.isfinite(found.uv_prime[1]).all()
    assert found.shared[0] == {}


def test_no_samples_no_colours():
    camera = Camera("c", "generic", EXACT.to_xyz, GenericError.load("raw"))
    for observer in (2, 10):
        assert camera.infer(np.zeros((0, 3)), np.zeros((0, 3, 3)), observer).uv_prime.shape == (0, 2)


@pytest.mark.parametrize("kind", KINDS)
def test_the_generic_tables_hold_sound_covariances(kind):
    table = GenericError.load(kind)
    assert len(table.nodes) > 50
    assert (np.linalg.eigvalsh(table.moments) > 0).all()
    assert 0 <= table.unshared < 1
    assert table.nodes.min() > -0.1
    assert table.nodes.max() < 0.75


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("uv", COLOURS)
def test_the_loadings_squares_add_up_to_the_interpolated_moments(kind, uv):
    table = GenericError.load(kind)
    weight = table.weights(np.array(uv))
    assert np.square(weight).sum() == pytest.approx(1)
    own, shared = table.at(np.array(uv), "camera")
    total = own + sum(S @ S.T for S in shared.values())
    mean = weight**2 @ table.mean
    expected = np.einsum("k,kij->ij", weight**2, table.moments) + np.outer(mean, mean)
    assert total == pytest.approx(expected, rel=0.02, abs=1e-9)
    assert all(name.startswith("camera, ") for name in shared)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("uv", COLOURS)
def test_colours_near_each_other_are_wrong_alike_and_cameras_apart(kind, uv):
    def colour(at, name):
        rgb = np.linalg.solve(np.eye(3), [9 * at[0] / (4 * at[1]), 1.0, 0.0])
        rgb[2] = (12 - 3 * at[0] - 20 * at[1]) / (4 * at[1])
        camera = Camera(name, "generic", (np.eye(3),), GenericError.load(kind))
        return camera.infer(rgb[None], NO_NOISE).uncertain(0)

    here, near = colour(uv, "one"), colour((uv[0] + 0.002, uv[1] + 0.001), "one")
    assert here.value == pytest.approx(uv)
    other = colour(uv, "two")
    shared_left = difference(here, near).covariance - here.own - near.own
    assert 0 <= np.trace(shared_left) < 0.1 * np.trace(here.covariance - here.own)
    assert cross_covariance(here, other) == pytest.approx(np.zeros((2, 2)))
    there, back = difference(here, near), difference(near, here)
    assert there.covariance == pytest.approx(back.covariance)
    assert there.value == pytest.approx(-back.value)


# Bands and line emitters: the 10 degree chromaticity straight from the spectrum, CIE 1964 observer.
@pytest.mark.parametrize("name", ["blue", "green", "yellow", "orange", "red", "two-band", "terbium"])
def test_the_step_to_ten_degrees_is_within_its_own_error(name, ten_degree_XYZ, oracle_XYZ):
    spectrum = emitters()[name]
    uv_2, uv_10 = (XYZ_to_uv_prime(oracle(spectrum)) for oracle in (oracle_XYZ, ten_degree_XYZ))
    moved, covariance = ObserverStep.load().at(uv_2[None])
    axis = np.sqrt(CHI2_95_2D * np.linalg.eigvalsh(covariance[0])[1])
    assert np.linalg.norm(moved[0] - uv_10) <= axis
    assert axis < 0.05


def test_ten_degrees_add_their_error_and_move_the_colour():
    rgb = np.array([[0.3, 0.25, 0.1]])
    two, ten = EXACT.infer(rgb, NO_NOISE, 2), EXACT.infer(rgb, NO_NOISE, 10)
    assert np.linalg.norm(ten.uv_prime - two.uv_prime) > 1e-4
    assert (np.linalg.eigvalsh(ten.own[0]) > 0).all()


@pytest.mark.parametrize("automatic", [True, False])
def test_a_balance_found_automatically_is_shared_with_no_other_file(tmp_path, automatic):
    scene, names = plain_scene((120, 80), [emitters()["green"]]), []
    for seed in (1, 2):
        exposure = Exposure(automatic_white_balance=automatic)
        shot = photograph(scene, default_camera(), np.random.default_rng(seed), exposure, brightest=0.5)
        names.append(camera_of(open_photo(write_jpeg(shot, tmp_path / "a.jpg"))).name)
    assert (names[0] != names[1]) is automatic
    raw = camera_of(open_photo(write_dng(shot, tmp_path / "a.dng")))
    assert raw.name == "Invented Scene Camera 1"
    assert raw.basis == "generic"


def test_two_matrices_meet_in_the_warm_range_without_a_step():
    camera = Camera("two", "generic", tuple(np.linalg.inv(m) for m in default_camera().color_matrices))
    t = np.linspace(0, 1, 400)[:, None]
    rgb = (1 - t) * np.array([0.05, 0.4, 0.1]) + t * np.array([0.5, 0.1, 0.01])
    steps = np.linalg.norm(np.diff(camera.infer(rgb, np.zeros((400, 3, 3))).uv_prime, axis=0), axis=1)
    assert steps.max() < 0.01
