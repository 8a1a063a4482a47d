from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from glowkin.base.errors import WrongUseError
from glowkin.scene import cameras, clutter, render, spectra, stage
from glowkin.scene.shot import Exposure, shown

OracleXYZ = Callable[[np.ndarray], np.ndarray]


def test_noise_follows_photon_transfer() -> None:
    # EMVA 1288: variance = K (mean - dark) + K^2 read^2 + 1/12
    camera = cameras.default_camera()
    K = camera.codes_per_electron()
    for electrons in (0.0, 40.0, 900.0, 20_000.0):
        codes = render.expose(np.full((400, 500), electrons), camera, np.random.default_rng(3)).astype(float)
        expected = K * K * (electrons + camera.read_noise_e**2) + 1.0 / 12.0
        assert codes.mean() == pytest.approx(
            camera.black + K * electrons, abs=4 * np.sqrt(expected / 2e5) + 0.01
        )
        assert codes.var() == pytest.approx(expected, rel=0.02)


def test_iso_multiplies_codes_and_their_noise() -> None:
    camera = cameras.default_camera()
    codes = render.expose(np.full((300, 400), 2000.0), camera, np.random.default_rng(4), iso=400.0).astype(
        float
    )
    K = camera.codes_per_electron(400.0)
    assert codes.mean() == pytest.approx(camera.black + K * 2000.0, rel=1e-3)
    assert codes.var() == pytest.approx(K * K * (2000.0 + 9.0), rel=0.03)


def test_too_much_light_ends_at_the_full_well() -> None:
    camera = cameras.default_camera().with_(read_noise_e=0.0)
    codes = render.expose(np.full((20, 20), 1e6), camera, np.random.default_rng(5))
    assert np.all(codes == camera.white)


@pytest.mark.parametrize("cfa", [("RG", "GB"), ("BG", "GR"), ("GRG", "BGB", "RGR")])
def test_a_plain_scene_carries_exactly_the_channel_responses(cfa: tuple[str, ...]) -> None:
    camera = cameras.default_camera().with_(cfa=cfa)
    power = spectra.band(560.0, 80.0)
    scene = stage.plain_scene((240, 120), [power, 0.3 * power])
    mosaic = render.light_mosaic(scene, camera)
    for truth, level in zip(scene.truths(), (1.0, 0.3), strict=True):
        x, y = (round(v) for v in truth.centre_px)
        for dy in range(4):
            for dx in range(4):
                channel = "RGB".index(cfa[(y + dy) % len(cfa)][(x + dx) % len(cfa[0])])
                expected = level * camera.response(power)[channel]
                assert mosaic[y + dy, x + dx] == pytest.approx(expected, rel=1e-6)


def test_a_luther_cameras_noiseless_picture_holds_the_true_chromaticity(oracle_XYZ: OracleXYZ) -> None:
    camera = cameras.luther_camera()
    power = spectra.lines(spectra.TERBIUM)
    codes = render.noiseless(render.light_mosaic(stage.plain_scene((64, 64), [power]), camera) * 1e5, camera)
    patch = codes[28:36, 28:36] - camera.black
    rgb = np.array([patch[0::2, 0::2].mean(), patch[0::2, 1::2].mean(), patch[1::2, 1::2].mean()])
    expected = oracle_XYZ(power)
    XYZ = np.linalg.solve(cameras.LUTHER, rgb)
    assert XYZ / XYZ.sum() == pytest.approx(expected / expected.sum(), abs=2e-6)


def test_halo_moves_light_but_makes_none() -> None:
    camera, power = cameras.default_camera(), spectra.band(530.0, 60.0)
    scene = stage.plain_scene((800, 800), [power])
    scene = replace(
        scene, samples=(replace(scene.samples[0], shape=stage.Shape("spot", (400.0, 400.0), 60.0)),)
    )
    plain = render.light_mosaic(scene, camera)
    hazy = render.light_mosaic(replace(scene, halo=0.05), camera)
    assert hazy.sum() == pytest.approx(plain.sum(), rel=0.01)
    assert hazy[400, 500] > 10.0 * plain[400, 500] + 1e-6
    assert hazy[400, 400] < plain[400, 400]


def test_a_neighbour_lights_powder_more_than_cloth() -> None:
    camera, power = cameras.default_camera(), spectra.band(530.0, 60.0)
    scene = stage.plain_scene((600, 300), [power, np.zeros(471)])
    lit = render.light_mosaic(replace(scene, crosslight=0.01), camera)
    x, y = (round(v) for v in scene.truths()[1].centre_px)
    powder, cloth = lit[y - 8 : y + 8, x - 8 : x + 8].mean(), lit[2:18, x - 8 : x + 8].mean()
    assert powder > 5.0 * cloth > 0.0


def test_violet_on_powder_is_independent_of_that_on_the_surroundings() -> None:
    camera, dark = cameras.default_camera(), np.zeros(471)
    plain = stage.plain_scene((200, 200), [dark])
    powder = replace(plain, samples=(replace(plain.samples[0], violet=0.05),))
    violet = camera.response(spectra.lamp_violet())
    for surroundings in (0.0, 0.02):
        mosaic = render.light_mosaic(replace(powder, surroundings_violet=surroundings), camera)
        assert mosaic[101, 101] == pytest.approx(0.05 * violet[2], rel=1e-5)
        assert mosaic[1:40:2, 1:40:2].mean() == pytest.approx(surroundings * violet[2], rel=0.1, abs=1e-12)


def test_room_light_stays_when_the_lamp_goes_off() -> None:
    camera = cameras.default_camera()
    scene = replace(stage.plain_scene((100, 100), [spectra.band(600.0, 80.0)]), room=0.1)
    off = render.light_mosaic(scene.lamp_off(), camera)
    expected = 0.1 * stage.POWDER_ALBEDO * camera.response(spectra.room_light())[0]
    assert off[50, 50] == pytest.approx(expected, rel=1e-5)


def test_the_outline_is_where_half_the_light_is() -> None:
    camera = cameras.default_camera()
    scene = stage.plain_scene((200, 200), [spectra.band(530.0, 60.0)])
    mosaic = render.light_mosaic(scene, camera)
    top = mosaic[100, 100]
    lit = np.flatnonzero(mosaic[100, ::2] > 0.5 * top) * 2
    outline = np.array(scene.truths()[0].outline_px)
    assert lit[0] == pytest.approx(outline[:, 0].min(), abs=2.0)
    assert lit[-1] == pytest.approx(outline[:, 0].max(), abs=2.0)


def test_the_meter_sets_the_brightest_sample_where_asked() -> None:
    camera = cameras.default_camera()
    scene = stage.plain_scene((300, 200), [spectra.band(530.0, 60.0), 0.2 * spectra.band(640.0, 80.0)])
    shot = render.photograph(scene, camera, np.random.default_rng(6), brightest=0.5)
    x, y = (round(v) for v in shot.truths[0].centre_px)
    patch = shot.codes[y - 10 : y + 10, x - 10 : x + 10].astype(float) - camera.black
    highest = max(patch[i::2, j::2].mean() for i in (0, 1) for j in (0, 1))
    assert highest / (camera.white - camera.black) == pytest.approx(0.5, rel=0.01)


def test_a_meter_reading_beyond_reason_is_refused() -> None:
    with pytest.raises(WrongUseError, match="share of the full well"):
        render.photograph(
            stage.two_reds_and_green(), cameras.default_camera(), np.random.default_rng(0), brightest=7.0
        )


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_shown_points_follow_the_orientation_tag(orientation: int) -> None:
    from PIL import Image, ImageOps

    # Pillow's exif_transpose as the independent reading of the tag
    stored = np.zeros((40, 60), np.uint8)
    stored[7, 50] = 255
    picture, exif = Image.fromarray(stored), Image.Exif()
    exif[274] = orientation
    picture.getexif()[274] = orientation
    turned = np.asarray(ImageOps.exif_transpose(picture))
    y, x = np.argwhere(turned == 255)[0]
    assert shown(np.array([[50.0, 7.0]]), orientation, (60, 40))[0] == pytest.approx((x, y))


def test_truths_come_in_shown_pixels() -> None:
    scene, camera = stage.two_reds_and_green((300, 200)), cameras.default_camera()
    shot = render.photograph(scene, camera, np.random.default_rng(1), Exposure(orientation=6))
    assert shot.size_px == (200, 300)
    assert shot.truths[0].centre_px[1] < shot.truths[2].centre_px[1]
    assert max(x for t in shot.truths for x, _ in t.outline_px) < 200


def test_paper_in_place_of_cloth_glows_blue_with_the_lamp_and_not_without() -> None:
    camera = cameras.default_camera()
    scene = replace(
        stage.plain_scene((120, 120), [spectra.band(600.0, 80.0)]), surroundings_glow=clutter.brightener(0.1)
    )
    on, off = render.light_mosaic(scene, camera), render.light_mosaic(scene.lamp_off(), camera)
    assert on[1:20:2, 1:20:2].mean() == pytest.approx(
        0.1 * camera.response(clutter.brightener(1.0))[2], rel=0.1
    )
    assert off.max() == 0.0


def test_a_touching_pair_touches() -> None:
    camera = cameras.default_camera()
    power = spectra.band(530.0, 60.0)
    scene = replace(stage.touching_pair((300, 200), (power, power)), halo=0.0, crosslight=0.0)
    one, two = (np.array(t.outline_px) for t in scene.truths())
    assert one[:, 0].max() - two[:, 0].min() == pytest.approx(3.0, abs=0.1)
    row = render.light_mosaic(scene, camera)[100, 110:190:2]
    assert row.min() > 0.3 * row.max()
