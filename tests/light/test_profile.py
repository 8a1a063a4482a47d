from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from PIL import Image, ImageCms

from glowkin.base.errors import CannotReadError
from glowkin.colour.chromaticity import XYZ_to_uv_prime
from glowkin.colour.spaces import RGB_TO_XYZ, bradford_adaptation
from glowkin.light.decode import open_photo
from glowkin.light.profile import D50_XYZ, named_space, read_profile
from glowkin.scene.develop import profile_bytes
from glowkin.scene.icc import _assemble, _fixed, _text, _xyz

D65_UV = (0.19783, 0.46834)  # CIE 15: u'v' of D65
D65_XYZ = np.array([0.95047, 1.0, 1.08883])
PATCHES = np.array([(200, 40, 40), (40, 200, 40), (40, 40, 200), (250, 250, 250), (3, 9, 90), (128, 60, 7)])


def profile(space, curve, *, version=4):
    """A matrix profile; version 2 has no chad tag and tells its own white in wtpt."""
    M = RGB_TO_XYZ[space]
    adapt = bradford_adaptation(M.sum(axis=1), D50_XYZ)
    colorants = adapt @ M
    tags = {b"cprt": _text("none"), b"wtpt": _xyz(D50_XYZ if version == 4 else D65_XYZ)}
    name = space.encode()
    tags[b"desc"] = (
        _text(space) if version == 4 else b"desc" + struct.pack(">4xI", len(name) + 1) + name + bytes(79)
    )
    if version == 4:
        tags[b"chad"] = b"sf32" + bytes(4) + _fixed(adapt.ravel())
    for i, letter in enumerate(b"rgb"):
        tags[bytes([letter]) + b"XYZ"] = _xyz(colorants[:, i])
        tags[bytes([letter]) + b"TRC"] = curve
    data = bytearray(_assemble(tags))
    data[8] = version
    return bytes(data)


def para(kind, *values):
    return b"para" + bytes(4) + struct.pack(">HH", kind, 0) + _fixed(np.array(values))


def curv(*values):
    return b"curv" + bytes(4) + struct.pack(f">I{len(values)}H", len(values), *values)


SRGB = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
TABLE = np.rint(65535 * np.linspace(0, 1, 300) ** 2.1).astype(int)
CURVES = {  # all reach 1: Little CMS bends what it makes of others near white
    "gamma 2.2 as para 0": para(0, 2.2),
    "para 1": para(1, 2.2, 0.95, 0.05),
    "para 2": para(2, 2.2, 0.94086, 0.05, 0.02),
    "sRGB as para 3": para(3, *SRGB),
    "para 4": para(4, 2.2, 0.94086, 0.05, 0.3, 0.08, 0.02, 0.005),
    "linear curv": curv(),
    "gamma curv": curv(563),
    "table curv": curv(*TABLE),
}


def lcms_Lab(data, codes):
    """Lab (D50) of codes by Little CMS, in 8 bits."""
    source = ImageCms.ImageCmsProfile(io.BytesIO(data))
    transform = ImageCms.buildTransform(
        source,
        ImageCms.createProfile("LAB"),
        "RGB",
        "LAB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    image = Image.fromarray(codes[None].astype(np.uint8))
    lab = np.asarray(ImageCms.applyTransform(image, transform))[0].astype(float)
    L, a, b = lab[:, 0] * 100 / 255, lab[:, 1].astype(np.uint8), lab[:, 2].astype(np.uint8)
    return np.stack([L, a.view(np.int8).astype(float), b.view(np.int8).astype(float)], axis=1)


def to_Lab(XYZ):
    ratio = XYZ / D50_XYZ
    f = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1)


@pytest.mark.parametrize("name", CURVES)
@pytest.mark.parametrize(("space", "version"), [("sRGB", 4), ("Display P3", 4), ("sRGB", 2)])
def test_curves_and_colorants_are_read_as_little_cms_reads_them(name, space, version):
    # Little CMS through Pillow's ImageCms gives Lab (D50) in steps of 1 and 100/255: tolerance 1.2 in Lab
    data = profile(space, CURVES[name], version=version)
    ours = read_profile(data)
    linear = np.stack([ours.curves()[PATCHES[:, c], c] for c in range(3)], axis=1)
    adapted = linear @ ours.rgb_to_xyz.T @ bradford_adaptation(D65_XYZ, D50_XYZ).T
    assert to_Lab(adapted) == pytest.approx(lcms_Lab(data, PATCHES), abs=1.2)


@pytest.mark.parametrize(("space", "version"), [("sRGB", 4), ("Display P3", 4), ("Display P3", 2)])
def test_white_is_the_spaces_own_not_d50(space, version):
    ours = read_profile(profile(space, CURVES["sRGB as para 3"], version=version))
    assert XYZ_to_uv_prime(ours.rgb_to_xyz @ np.ones(3)) == pytest.approx(D65_UV, abs=2e-4)
    assert ours.rgb_to_xyz == pytest.approx(RGB_TO_XYZ[space], abs=3e-4)
    assert ours.name == space


def test_little_cms_own_srgb_profile_is_srgb():
    data = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    ours = read_profile(data)
    assert ours.rgb_to_xyz == pytest.approx(RGB_TO_XYZ["sRGB"], abs=6e-4)
    assert ours.curves() == pytest.approx(named_space("sRGB").curves(), abs=1e-4)
    assert "sRGB" in ours.name


def test_adobe_rgb_has_the_exponent_of_its_specification():
    # Adobe RGB (1998) Color Image Encoding, 4.3.4.2: 2.19921875
    assert named_space("Adobe RGB (1998)").curves()[128, 0] == pytest.approx((128 / 255) ** 2.19921875)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: d.replace(b"rTRC", b"A2B0"), r"lookup table \(LUT\); export it with an sRGB profile"),
        (lambda d: d.replace(b"RGB XYZ ", b"GRAYXYZ "), "not an RGB profile; export it as sRGB"),
        (lambda d: d[:300], "colour profile is broken; export it with an sRGB profile"),
        (lambda d: d.replace(b"para\0\0\0\0\0\3", b"para\0\0\0\0\0\11"), "profile is broken"),
        (lambda d: d.replace(para(3, *SRGB), para(3, 3000.0, 2.0, 0.0, 0.0, 0.0)), "profile is broken"),
        (lambda d: d[: d.find(b"sf32") + 4] + bytes(40) + d[d.find(b"sf32") + 44 :], "profile is broken"),
    ],
    ids=["lut", "grey", "cut", "unknown curve", "overflow", "singular chad"],
)  # fmt: skip
def test_a_profile_that_cannot_be_used_is_refused_in_words(jpeg_of, change, words):
    data = change(profile("sRGB", CURVES["sRGB as para 3"]))
    with pytest.raises(CannotReadError, match=words) as error:
        open_photo(jpeg_of(np.zeros((40, 40, 3), np.uint8), icc_profile=data))
    assert "a.jpg: its colour profile" in str(error.value)


def test_a_profile_wins_over_the_tag_and_no_word_at_all_is_flagged(jpeg_of):
    codes = np.zeros((40, 40, 3), np.uint8)
    p3 = profile_bytes("Display P3")
    cases = [
        (jpeg_of(codes, "1.jpg", icc_profile=p3, taken={0xA001: 1}), "Display P3", False),
        (jpeg_of(codes, "2.jpg", taken={0xA001: 1}), "sRGB", False),
        (jpeg_of(codes, "3.jpg", taken={0xA001: 65535}), "sRGB", True),
        (jpeg_of(codes, "4.jpg"), "sRGB", True),
    ]
    for path, space, flagged in cases:
        photo = open_photo(path)
        assert (photo.colour_space, "no-profile" in photo.flags) == (space, flagged)
        assert photo.to_xyz[0] == pytest.approx(RGB_TO_XYZ[space], abs=3e-4)
