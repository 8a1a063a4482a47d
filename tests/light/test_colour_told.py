"""Which colour space a file is taken to be in, by whatever way it tells."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from chart import chart, profile, srgb_light
from glowkin.base.errors import CannotReadError
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.spaces import RGB_TO_XYZ
from glowkin.light.cicp import coded_space, gamma_space
from glowkin.light.decode import open_photo
from glowkin.light.linear import Window, linear_cells
from glowkin.light.profile import read_profile
from glowkin.scene import icc
from glowkin.scene.icc import matrix_profile

DATA = Path(__file__).parent / "data"
ROMM = np.array([[0.7977, 0.1352, 0.0313], [0.2880, 0.7119, 0.0001], [0.0, 0.0, 0.8249]])
# ANSI/I3A IT10.7666 (ProPhoto): from linear RGB to XYZ of white D50 (from memory, four digits)
D50_UV = (0.2092, 0.4881)  # CIE 15
D65_UV = (0.1978, 0.4683)  # CIE 15


def chunk(kind, body):
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png_with(*chunks):
    """A PNG of the chart with these chunks before its pixels."""
    out = io.BytesIO()
    Image.fromarray(chart(8)).save(out, "PNG")
    data = out.getvalue()
    at = data.index(b"IDAT") - 4
    return data[:at] + b"".join(chunks) + data[at:]


def code_points(primaries, transfer):
    return chunk(b"cICP", bytes([primaries, transfer, 0, 1]))


def embedded(data):
    return chunk(b"iCCP", b"name\x00\x00" + zlib.compress(data))


def corners(*xy):
    """White, red, green, blue."""
    return chunk(b"cHRM", struct.pack(">8I", *(round(100_000 * v) for v in xy)))


SRGB = chunk(b"sRGB", b"\x00")
GAMMA_1, GAMMA_22 = (chunk(b"gAMA", struct.pack(">I", v)) for v in (100_000, 45_455))
P3 = (0.3127, 0.3290, 0.680, 0.320, 0.265, 0.690, 0.150, 0.060)
ADOBE = profile("Adobe RGB (1998)")


@pytest.fixture
def opened(tmp_path):
    def write(data):
        (tmp_path / "a").write_bytes(data)
        return open_photo(tmp_path / "a")

    return write


@pytest.mark.parametrize(
    ("chunks", "space"),
    [
        ((code_points(12, 13), embedded(ADOBE), SRGB, GAMMA_1), "Display P3"),
        ((code_points(9, 1), SRGB), "BT.2020"),
        ((code_points(2, 2), embedded(ADOBE)), "Adobe RGB (1998)"),
        ((embedded(ADOBE), SRGB, corners(*P3)), "Adobe RGB (1998)"),
        ((SRGB, GAMMA_1, corners(*P3)), "sRGB"),
        ((GAMMA_22, corners(*P3)), "its own primaries and gamma"),
    ],
    ids=["code points", "wide code points", "unspecified", "profile", "sRGB chunk", "gamma and primaries"],
)
def test_what_stands_first_in_a_png_holds(opened, chunks, space):
    # PNG specification, third edition, 4.3: cICP, iCCP, sRGB, gAMA and cHRM, in this order
    photo = opened(png_with(*chunks))
    assert photo.colour_space == space
    assert "no-profile" not in photo.flags


def test_a_png_that_tells_nothing_is_taken_for_srgb_and_flagged(opened):
    photo = opened(png_with())
    assert photo.colour_space == "sRGB"
    assert "no-profile" in photo.flags


def test_gamma_and_primaries_of_a_png_are_used(opened):
    photo = opened(png_with(GAMMA_22, corners(*P3)))
    assert photo.to_xyz[0] == pytest.approx(RGB_TO_XYZ["Display P3"], abs=1e-4)
    assert photo.curves[128, 0] == pytest.approx((128 / 255) ** (1 / 0.45455), rel=1e-5)
    linear = opened(png_with(GAMMA_1))
    light = linear_cells(linear, Window(0, 0, *linear.size_cells))
    assert light == pytest.approx(chart(8) / 255, abs=1e-6)
    assert linear.to_xyz[0] == pytest.approx(RGB_TO_XYZ["sRGB"])


@pytest.mark.parametrize(
    "flat", [(0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3), (0.3, 0.3, 0.1, 0.1, 0.2, 0.2, 0.3, 0.3)]
)
def test_primaries_that_are_no_colours_are_refused(opened, flat):
    with pytest.raises(CannotReadError, match="its primaries are no colours; save it as sRGB"):
        opened(png_with(GAMMA_22, corners(*flat)))


def test_a_gamma_of_nothing_is_refused(opened):
    with pytest.raises(CannotReadError, match="a broken file"):
        opened(png_with(chunk(b"gAMA", bytes(4))))


def test_code_points_of_a_still_picture_are_used():
    photo = open_photo(DATA / "code_points_p3.heic")
    assert photo.colour_space == "Display P3"
    assert photo.to_xyz[0] == pytest.approx(RGB_TO_XYZ["Display P3"])


def test_the_camera_curve_is_undone():
    # ITU-R BT.709: V = 4.5 L below 0.018, else 1.099 L^0.45 - 0.099
    L = np.linspace(0, 1, 101)
    V = np.where(L < 0.018, 4.5 * L, 1.099 * np.maximum(L, 1e-9) ** 0.45 - 0.099)
    curve = coded_space(1, 1).channel_curves[0]
    assert curve(V) == pytest.approx(L, abs=2e-4)  # the published constants leave a small step at 0.018


@pytest.mark.parametrize(("transfer", "word"), [(16, "PQ"), (18, "HLG")])
def test_levels_for_hdr_screens_are_refused(transfer, word):
    with pytest.raises(CannotReadError, match=rf"HDR screens \({word}\); save it as SDR"):
        coded_space(9, transfer)


@pytest.mark.parametrize("points", [(5, 13), (1, 11), (0, 0)])
def test_code_points_no_camera_writes_are_refused(points):
    with pytest.raises(CannotReadError, match="is unknown here; save it as sRGB"):
        coded_space(*points)


def test_gamma_without_primaries_keeps_those_of_srgb():
    assert gamma_space(0.5, None).curves()[51, 1] == pytest.approx(0.04)


def romm_profile(*, chad=True):
    """ProPhoto: linear below 1/512, else exponent 1.8; its white is D50, so nothing was adapted."""
    data = matrix_profile("ProPhoto", ROMM)
    curve = b"curv" + bytes(4) + struct.pack(">IH", 1, round(1.8 * 256))
    tags = {
        b"desc": icc._text("ProPhoto"), b"wtpt": icc._xyz(icc.D50),
        **({b"chad": b"sf32" + bytes(4) + icc._fixed(np.eye(3).ravel())} if chad else {}),
        **{bytes([c]) + b"XYZ": icc._xyz(ROMM[:, i]) for i, c in enumerate(b"rgb")},
        **{bytes([c]) + b"TRC": curve for c in b"rgb"},
    }  # fmt: skip
    assert len(data) > 300
    return icc._assemble(tags)


@pytest.mark.parametrize("chad", [True, False])
def test_prophotos_own_white_is_d50(chad):
    space = read_profile(romm_profile(chad=chad))
    assert space.rgb_to_xyz == pytest.approx(ROMM, abs=3e-4)
    assert XYZ_to_uv_prime(space.rgb_to_xyz @ np.ones(3)) == pytest.approx(D50_UV, abs=3e-4)
    assert space.curves(16)[32768, 1] == pytest.approx((32768 / 65535) ** 1.8, rel=2e-3)


@pytest.mark.parametrize("name", ["sRGB", "Display P3", "Adobe RGB (1998)", "BT.2020"])
def test_a_d65_space_is_known_though_its_profile_calls_d50_its_white(name):
    # as small profiles do that leave chad out (common practice, no source)
    from glowkin.colour.spaces import bradford_adaptation

    M = RGB_TO_XYZ[name]
    colorants = bradford_adaptation(M.sum(axis=1), icc.D50) @ M
    tags = {
        b"desc": icc._text(name), b"wtpt": icc._xyz(icc.D50),
        **{bytes([c]) + b"XYZ": icc._xyz(colorants[:, i]) for i, c in enumerate(b"rgb")},
        **{bytes([c]) + b"TRC": icc._parametric_curve() for c in b"rgb"},
    }  # fmt: skip
    space = read_profile(icc._assemble(tags))
    assert space.rgb_to_xyz == pytest.approx(M, abs=3e-4)
    assert XYZ_to_uv_prime(space.rgb_to_xyz @ np.ones(3)) == pytest.approx(D65_UV, abs=3e-4)


def test_sixteen_bits_are_looked_up_on_the_profiles_own_curve(opened):
    import cv2

    codes = chart(16)
    _, data = cv2.imencode(".png", codes[..., ::-1])
    data = data.tobytes()
    at = data.index(b"IDAT") - 4
    photo = opened(data[:at] + embedded(profile("Display P3")) + data[at:])
    light = linear_cells(photo, Window(0, 0, *photo.size_cells))
    # the curve's constants stand in the profile as multiples of 1/65536
    assert light == pytest.approx(srgb_light(codes, 16), abs=3e-5)
