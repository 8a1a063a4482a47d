from __future__ import annotations

import io
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np
import pytest
import rawpy
from PIL import Image, ImageCms

from glowkin.base.errors import WrongUseError
from glowkin.scene import cameras, develop, dng, render, spectra, stage
from glowkin.scene.shot import Exposure

if TYPE_CHECKING:
    from pathlib import Path

TAKEN = Exposure(
    exposure_s=1 / 8,
    f_number=5.6,
    iso=200,
    taken_at=datetime(2026, 5, 4, 9, 30, 15),
    utc_offset="+02:00",
    position=(52.5125, -13.25),
)


def shot_of(camera: cameras.SceneCamera, exposure: Exposure = TAKEN, size: tuple[int, int] = (96, 64)):  # type: ignore[no-untyped-def]
    return render.photograph(stage.two_reds_and_green(size), camera, np.random.default_rng(2), exposure)


@pytest.mark.parametrize(("bits", "black"), [(12, 256), (14, 512), (16, 0)])
@pytest.mark.parametrize("cfa", [("RG", "GB"), ("BG", "GR"), ("GR", "BG"), ("GB", "RG")])
def test_rawpy_returns_every_pixel_and_the_levels(
    tmp_path: Path, bits: int, black: int, cfa: tuple[str, ...]
) -> None:
    camera = cameras.default_camera().with_(bits=bits, black=black, cfa=cfa)
    shot = shot_of(camera)
    noise = np.random.default_rng(1).integers(0, 2**bits, shot.codes.shape).astype(np.uint16)
    shot.codes[:] = noise
    with rawpy.imread(str(dng.write_dng(shot, tmp_path / "a.dng"))) as raw:
        assert np.array_equal(raw.raw_image_visible, noise)
        assert raw.black_level_per_channel == [black] * 4
        assert raw.white_level == camera.white
        pattern = ["".join("RGBG"[c] for c in row) for row in raw.raw_pattern]
    assert tuple(pattern) == cfa


def test_a_twelve_bit_raw_takes_a_byte_and_a_half_a_pixel() -> None:
    data = dng.dng_bytes(shot_of(cameras.default_camera().with_(bits=12)))
    assert 96 * 64 * 3 // 2 < len(data) < 96 * 64 * 3 // 2 + 1500


def test_an_odd_width_is_not_packed() -> None:
    with pytest.raises(WrongUseError, match="take an even width"):
        dng.pack12(np.zeros((2, 3), np.uint16))


def test_raw_metadata_read_back_true(tmp_path: Path) -> None:
    camera = cameras.default_camera()
    path = dng.write_dng(shot_of(camera), tmp_path / "a.dng")
    exif = Image.Exif()
    with path.open("rb") as file:
        exif.load_from_fp(file)
        tags, ifd, gps = dict(exif), dict(exif.get_ifd(0x8769)), dict(exif.get_ifd(0x8825))
    assert (tags[271], tags[272], tags[274]) == ("Invented", "Scene Camera 1", 1)
    assert np.array(tags[50722], dtype=float) == pytest.approx(camera.color_matrices[1].ravel(), abs=1e-5)
    assert np.array(tags[50721], dtype=float) == pytest.approx(camera.color_matrices[0].ravel(), abs=1e-5)
    assert (tags[50778], tags[50779]) == (17, 21)
    assert np.array(tags[50728], dtype=float) == pytest.approx(
        camera.neutral(cameras.daylight(5500.0)), abs=1e-5
    )
    check_capture(ifd, gps)


def check_capture(ifd: dict[int, object], gps: dict[int, object]) -> None:
    assert (ifd[0x9003], ifd[0x9011]) == ("2026:05:04 09:30:15", "+02:00")
    assert float(ifd[0x829A]) == pytest.approx(0.125)  # type: ignore[arg-type]
    assert float(ifd[0x829D]) == pytest.approx(5.6)  # type: ignore[arg-type]
    assert (ifd[0x8827], ifd[0xA403]) == (200, 1)
    assert (gps[1], gps[3]) == ("N", "W")
    assert [float(v) for v in gps[2]] == pytest.approx([52.0, 30.0, 45.0])  # type: ignore[attr-defined]


def test_no_position_leaves_no_gps_block() -> None:
    shot = shot_of(cameras.default_camera(), Exposure(exposure_s=0.1))
    jpeg = Image.open(io.BytesIO(develop.jpeg_bytes(shot)))
    assert not dict(jpeg.getexif().get_ifd(0x8825))


def test_jpeg_metadata_read_back_true() -> None:
    jpeg = Image.open(io.BytesIO(develop.jpeg_bytes(shot_of(cameras.default_camera()))))
    exif = jpeg.getexif()
    assert (exif[271], exif[272]) == ("Invented", "Scene Camera 1")
    check_capture(dict(exif.get_ifd(0x8769)), dict(exif.get_ifd(0x8825)))


@pytest.mark.parametrize("table", [False, True])
def test_the_srgb_profile_changes_nothing_against_pillows_own(table: bool) -> None:
    # Pillow's ImageCms (LittleCMS) as independent reading of the profile
    ramp = np.random.default_rng(0).integers(0, 256, (40, 40, 3)).astype(np.uint8)
    ours = ImageCms.ImageCmsProfile(io.BytesIO(develop.profile_bytes("sRGB", table=table)))
    out = ImageCms.profileToProfile(Image.fromarray(ramp), ours, ImageCms.createProfile("sRGB"))
    assert np.abs(np.asarray(out, dtype=int) - ramp).max() <= 2


def test_a_p3_green_reads_as_the_standard_says() -> None:
    # P3 primaries (SMPTE EG 432-1): Lab of sRGB red seen in P3 agrees through both profiles
    srgb = ImageCms.createProfile("sRGB")
    p3 = ImageCms.ImageCmsProfile(io.BytesIO(develop.profile_bytes("Display P3")))
    red = Image.fromarray(np.full((2, 2, 3), (255, 0, 0), np.uint8))
    out = np.asarray(ImageCms.profileToProfile(red, srgb, p3, renderingIntent=1))[0, 0]
    # CSS Color 4 example: color(srgb 1 0 0) = color(display-p3 0.9175 0.2003 0.1386)
    assert out == pytest.approx((234.0, 51.0, 35.0), abs=1.5)


def test_a_grey_surface_in_the_set_daylight_comes_out_grey() -> None:
    camera = cameras.default_camera()
    light = cameras.daylight(5500.0)
    scene = stage.plain_scene((64, 64), [light / light.sum()])
    shot = render.photograph(scene, camera, np.random.default_rng(3), brightest=0.4)
    rgb = develop.linear_rgb(shot)[26:38, 26:38].mean(axis=(0, 1))
    assert rgb / rgb.mean() == pytest.approx(1.0, abs=0.01)


def test_white_balance_error_shifts_the_grey_by_its_factors() -> None:
    camera = cameras.default_camera()
    right, wrong = (develop.white_balance_gains(camera, 5500.0, e) for e in ((1.0, 1.0), (1.1, 0.9)))
    assert (wrong / right) / (wrong / right)[1] == pytest.approx((1.1, 1.0, 0.9))


def test_a_clipped_channel_bends_the_others_because_the_matrix_comes_after() -> None:
    camera = cameras.default_camera()
    scene = stage.plain_scene((64, 64), [spectra.band(530.0, 60.0)])
    ratios = []
    for level in (0.3, 1.8):
        shot = render.photograph(scene, camera, np.random.default_rng(3), brightest=level)
        rgb = develop.linear_rgb(shot)[26:38, 26:38].mean(axis=(0, 1))
        ratios.append(rgb[0] / rgb[1])
    assert abs(ratios[1] - ratios[0]) > 0.1


@pytest.mark.parametrize("cfa", [("RG", "GB"), ("GB", "RG"), ("GRG", "BGB", "RGR")])
def test_demosaicing_keeps_even_colours(cfa: tuple[str, ...]) -> None:
    camera = cameras.default_camera().with_(cfa=cfa)
    mosaic = render.mosaic_of(np.array([0.2, 0.5, 0.8]), camera.cfa_index, (slice(0, 30), slice(0, 33)))
    rgb = develop.demosaiced(mosaic, camera.cfa_index)
    assert rgb.shape == (30, 33, 3)
    assert np.abs(rgb - np.array([0.2, 0.5, 0.8])).max() < 1e-6


def test_the_tone_curve_keeps_black_and_white_and_raises_contrast() -> None:
    shot = shot_of(cameras.default_camera())
    flat, toned = (develop.developed(shot, develop.Development(tone=t)).astype(int) for t in (0.0, 0.8))
    assert toned[flat == 0].max() == 0
    assert np.all(toned[flat < 120] <= flat[flat < 120])


def test_the_same_shot_gives_the_same_bytes() -> None:
    shot = shot_of(cameras.default_camera())
    assert dng.dng_bytes(shot) == dng.dng_bytes(shot)
    assert develop.jpeg_bytes(shot) == develop.jpeg_bytes(shot)


def test_an_unknown_space_is_refused() -> None:
    with pytest.raises(WrongUseError, match="take one of sRGB"):
        develop.space_matrix("ProPhoto")  # type: ignore[arg-type]


def test_a_merged_picture_says_so_as_phones_do() -> None:
    shot = shot_of(cameras.default_camera(), Exposure(merged=True, automatic_white_balance=True))
    exif = Image.open(io.BytesIO(develop.jpeg_bytes(shot))).getexif().get_ifd(0x8769)
    assert exif[0xA401] > 1
    assert exif[0xA403] == 0
