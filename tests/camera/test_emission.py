from __future__ import annotations

import numpy as np
import pytest

from cameras import exact_camera
from glowkin.base.uncertainty import CHI2_95_2D, cross_covariance, difference
from glowkin.camera.emission import Camera, camera_of
from glowkin.colour.chromaticity import XYZ_to_uv_prime, jacobian_uv_prime_XYZ
from glowkin.light.decode import open_photo
from glowkin.light.region import region_means
from glowkin.scene.cameras import LUTHER, default_camera, luther_camera
from glowkin.scene.develop import write_jpeg
from glowkin.scene.dng import write_dng
from glowkin.scene.render import light_mosaic, noiseless, photograph
from glowkin.scene.shot import Exposure, Shot
from glowkin.scene.spectra import WAVELENGTH_NM as SCENE_NM
from glowkin.scene.spectra import band, emitters
from glowkin.scene.stage import plain_scene

EXACT = exact_camera(np.linalg.inv(LUTHER))
NO_NOISE = np.zeros((1, 3, 3))


def invented(name="invented"):
    """The scene's camera with its true sensitivities, by way of their table."""
    camera = default_camera()
    return Camera.from_sensitivities(SCENE_NM, camera.sensitivities, name=name)


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


def test_without_noise_the_scene_comes_back_to_3e_4(noiseless_shots):
    photo, truths = noiseless_shots[0]
    signals = region_means(photo, [inner(t) for t in truths])
    found = EXACT.infer(signals.mean, signals.covariance).uv_prime
    assert found == pytest.approx(np.array([(t.u_prime, t.v_prime) for t in truths]), abs=3e-4)


def test_exposure_scales_away(noiseless_shots):
    (bright, truths), (dark, _) = noiseless_shots
    outlines = [inner(t) for t in truths]
    a, b = (EXACT.infer(s.mean, s.covariance) for s in (region_means(p, outlines) for p in (bright, dark)))
    assert b.uv_prime == pytest.approx(a.uv_prime, abs=2e-4)  # a quarter of the light: codes rounded coarser
    assert b.luminance / a.luminance == pytest.approx(np.full(len(truths), 0.25), rel=2e-3)


@pytest.mark.parametrize("observer", [2, 10])
def test_scaling_all_channels_changes_no_chromaticity(observer):
    rgb = np.array([[0.3, 0.2, 0.1], [0.1, 0.4, 0.05], [0.4, 0.1, 0.01]])
    found = [EXACT.infer(scale * rgb, np.zeros((3, 3, 3)), observer).uv_prime for scale in (1, 7)]
    assert found[1] == pytest.approx(found[0], rel=1e-9)


# Independent: the 2 and 10 degree chromaticity straight from each spectrum, by colour-science's own tables.
@pytest.mark.parametrize("name", sorted(emitters()))
def test_the_colour_of_an_emission_lies_in_its_region(name, oracle_XYZ, ten_degree_XYZ):
    camera, spectrum = invented(), emitters()[name]
    rgb = default_camera().response(spectrum)[None]
    for observer, oracle in ((2, oracle_XYZ), (10, ten_degree_XYZ)):
        found = camera.infer(rgb, NO_NOISE, observer).uncertain(0)
        error = XYZ_to_uv_prime(oracle(spectrum)) - found.value
        assert error @ np.linalg.solve(found.covariance, error) <= CHI2_95_2D * 1.5
        assert np.sqrt(CHI2_95_2D * np.linalg.eigvalsh(found.covariance)[1]) < 0.06


def test_the_jacobian_is_that_of_the_colour_room():
    rgb = np.array([[0.3, 0.2, 0.1], [0.02, 0.5, 0.2], [1e-4, 3e-4, 2e-4]])
    M = np.linalg.inv(LUTHER)
    assert EXACT.jacobian(rgb) == pytest.approx(jacobian_uv_prime_XYZ(rgb @ M.T) @ M, rel=1e-3, abs=1e-4)


def test_the_covariance_of_the_channels_is_carried_through():
    rng = np.random.default_rng(1)
    mean, A = np.array([0.3, 0.25, 0.1]), 1e-3 * rng.normal(size=(3, 3))
    found = EXACT.infer(mean[None], (A @ A.T)[None])
    drawn = EXACT.infer(mean + rng.standard_normal((2000, 3)) @ A.T, np.zeros((2000, 3, 3))).uv_prime
    assert np.trace(found.own[0]) == pytest.approx(np.trace(np.cov(drawn.T)), rel=0.25)


def test_what_is_not_a_number_stays_so_without_a_warning():
    rgb = np.array([[np.nan] * 3, [0.3, 0.2, 0.1], [0.3, 0.2, 0.1]])
    covariance = np.stack([np.zeros((3, 3)), np.full((3, 3), np.nan), np.zeros((3, 3))])
    found = EXACT.infer(rgb, covariance, observer=10)
    assert np.isnan(found.uv_prime[:2]).all()
    assert np.isfinite(found.uv_prime[2]).all()
    assert found.shared[0] == found.shared[1] == {}


def test_no_samples_no_colours():
    for observer in (2, 10):
        found = EXACT.infer(np.zeros((0, 3)), np.zeros((0, 3, 3)), observer)
        assert found.uv_prime.shape == (0, 2)
        assert found.band.shape == (0, 2, 3)


def test_the_bands_of_single_bands_lie_within_their_intervals():
    """Peak and full width at half height of bands made from them, per nm; of a dozen 95 % intervals one may
    miss.
    """
    bands = np.array([(455, 60), (500, 70), (520, 52), (560, 90), (600, 90), (640, 85)])
    rgb = np.stack([default_camera().response(band(*b)) for b in bands])
    found = invented().infer(rgb, np.zeros((6, 3, 3))).band
    assert ((found[..., 1] <= bands) & (bands <= found[..., 2])).sum() >= 11
    assert (found[:, 0, 2] - found[:, 0, 1]).max() < 120


@pytest.mark.parametrize("observer", [2, 10])
def test_band_intervals_are_skew_where_colours_crowd(observer):
    """Towards the end of the spectrum colours differ ever less (CIE 15), so a red band may lie far beyond; a
    broad blue-green one may lie far on the blue side, where its light is seen as little.
    """
    rgb = np.stack([default_camera().response(band(*b)) for b in ((660, 60), (500, 100))])
    found = invented().infer(rgb, np.zeros((2, 3, 3)), observer).band[:, 0]
    value, low, high = found.T
    assert high[0] - value[0] > 1.15 * (value[0] - low[0])
    assert value[1] - low[1] > 1.15 * (high[1] - value[1])


def test_no_band_is_named_where_no_single_one_explains_the_channels():
    magenta = band(460, 40) + band(640, 60)
    assert np.isnan(invented().infer(default_camera().response(magenta)[None], NO_NOISE).band).all()


@pytest.mark.parametrize("peak", [460, 520, 590, 640])
def test_colours_near_each_other_are_wrong_alike_and_cameras_apart(peak):
    here, near = (default_camera().response(band(p, 70))[None] for p in (peak, peak + 1))
    a, b = (invented("one").infer(rgb, NO_NOISE).uncertain(0) for rgb in (here, near))
    other = invented("two").infer(here, NO_NOISE).uncertain(0)
    assert np.trace(difference(a, b).covariance) < 0.6 * np.trace(a.covariance + b.covariance)
    assert cross_covariance(a, other) == pytest.approx(np.zeros((2, 2)))
    assert difference(a, b).covariance == pytest.approx(difference(b, a).covariance)


def test_ten_degrees_move_the_colour():
    rgb = np.array([[0.3, 0.25, 0.1]])
    two, ten = EXACT.infer(rgb, NO_NOISE, 2), EXACT.infer(rgb, NO_NOISE, 10)
    assert np.linalg.norm(ten.uv_prime - two.uv_prime) > 1e-4


def test_luminance_is_that_of_the_observer(oracle_XYZ):
    spectra = [emitters()[name] for name in ("green", "orange", "red")]
    found = invented().infer(np.array([default_camera().response(s) for s in spectra]), np.zeros((3, 3, 3)))
    true = np.array([oracle_XYZ(s)[1] for s in spectra])
    assert found.luminance / found.luminance[0] == pytest.approx(true / true[0], rel=0.15)


@pytest.mark.parametrize("automatic", [True, False])
def test_a_balance_found_automatically_is_shared_with_no_other_file(tmp_path, automatic):
    scene, names = plain_scene((120, 80), [emitters()["green"]]), []
    for seed in (1, 2):
        exposure = Exposure(automatic_white_balance=automatic)
        shot = photograph(scene, default_camera(), np.random.default_rng(seed), exposure, brightest=0.5)
        names.append(camera_of(open_photo(write_jpeg(shot, tmp_path / "a.jpg")))[0].name)
    assert (names[0] != names[1]) is automatic
    raw, _ = camera_of(open_photo(write_dng(shot, tmp_path / "a.dng")))
    assert raw.name == "Invented Scene Camera 1"
    assert raw.basis == "generic"


@pytest.mark.parametrize("made", [luther_camera, default_camera])
def test_white_of_a_raw_file_is_what_its_camera_answers_to_daylight(made, tmp_path):
    """CIE illuminant D65 as colour-science tabulates it; the matrix that serves emissions may miss it."""
    import colour

    shape = colour.SpectralShape(SCENE_NM[0], SCENE_NM[-1], 1)
    truly = made().response(colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values)
    shot = photograph(
        plain_scene((90, 60), [emitters()["green"]]), made(), np.random.default_rng(1), Exposure()
    )
    white = camera_of(open_photo(write_dng(shot, tmp_path / "a.dng")))[0].white
    assert white / white[1] == pytest.approx(truly / truly[1], rel=0.15)
