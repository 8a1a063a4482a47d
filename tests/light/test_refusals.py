"""What cannot be measured is said in one sentence with the file, what is wrong and the mend."""

from __future__ import annotations

import io
import struct
import zlib
from functools import partial
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from chart import chart, exif_block
from glowkin.base.errors import CannotReadError
from glowkin.light.decode import open_photo
from glowkin.light.photo import Limits
from glowkin.run.many import map_photos

DATA = Path(__file__).parent / "data"
RGB = chart(8)


def saved(kind, codes=RGB, mode=None, **options):
    image = Image.fromarray(codes)
    out = io.BytesIO()
    (image.convert(mode) if mode else image).save(out, kind, **options)
    return out.getvalue()


def tiff(codes=RGB, pages=1, **options):
    out = io.BytesIO()
    with tifffile.TiffWriter(out) as file:
        for _ in range(pages):
            file.write(codes, **{"photometric": "rgb", "metadata": None, **options})
    return out.getvalue()


def heic(name):
    return (DATA / f"{name}.heic").read_bytes()


def png_with(data, kind, body):
    """The PNG with a chunk put before its pixels."""
    at = data.index(b"IDAT") - 4
    chunk = struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
    return data[:at] + chunk + data[at:]


def png_sized(width, height):
    data = bytearray(saved("PNG"))
    data[16:24] = struct.pack(">II", width, height)
    data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
    return bytes(data)


def tiff_sized(width, height):
    data = bytearray(tiff())
    with tifffile.TiffFile(io.BytesIO(data)) as file:
        for code, value in ((256, width), (257, height)):
            tag = file.pages[0].tags[code]
            size = "<I" if tag.dtype == 4 else "<H"
            struct.pack_into(size, data, tag.valueoffset, value)
    return bytes(data)


def compressed_as(number):
    """A TIFF that says its pixels are compressed so: 32909 is a way of the TIFF 6.0 registry for film."""
    data = bytearray(tiff())
    with tifffile.TiffFile(io.BytesIO(data)) as file:
        struct.pack_into("<H", data, file.pages[0].tags[259].valueoffset, number)
    return bytes(data)


def still_sized(data, width, height):
    bent = bytearray(data)
    at = bent.index(b"ispe") + 8
    while at > 7:
        struct.pack_into(">II", bent, at, width, height)
        at = bent.find(b"ispe", at) + 8
    return bytes(bent)


ALPHA = np.concatenate([RGB, np.full((64, 96, 1), 255, np.uint8)], axis=2)
HALF = ALPHA.copy()
HALF[5, 5, 3] = 254
GREYS = RGB[..., :1].repeat(3, axis=2)
MESSAGES = {
    "greyscale JPEG": (lambda: saved("JPEG", mode="L"), "greyscale JPEG has no red, green and blue"),
    "greyscale PNG": (lambda: saved("PNG", mode="L"), "greyscale PNG has no red"),
    "greyscale PNG with alpha": (lambda: saved("PNG", mode="LA"), "greyscale PNG has no red"),
    "palette PNG": (lambda: saved("PNG", mode="P"), "PNG with a palette has no red"),
    "black and white PNG": (lambda: saved("PNG", mode="1"), "greyscale PNG has no red"),
    "greyscale TIFF": (lambda: saved("TIFF", mode="L"), "greyscale TIFF has no red"),
    "palette TIFF": (lambda: saved("TIFF", mode="P"), "TIFF with a palette has no red"),
    "greyscale HEIC": (lambda: heic("grey"), "greyscale picture has no red"),
    "greyscale AVIF": (lambda: saved("AVIF", mode="L"), "has no red, green and blue"),
    "greys in a JPEG": (lambda: saved("JPEG", GREYS), "holds greys only, .* taken in colour"),
    "greys in a PNG": (lambda: saved("PNG", GREYS), "holds greys only, red, green and blue are equal"),
    "greys in a TIFF": (lambda: tiff(GREYS.astype(np.uint16) * 255), "holds greys only"),
    "CMYK JPEG": (lambda: saved("JPEG", mode="CMYK"), "CMYK JPEG has no red"),
    "CMYK TIFF": (lambda: saved("TIFF", mode="CMYK"), "CMYK TIFF has no red"),
    "one pixel": (lambda: saved("PNG", RGB[:1, :1]), "1 x 1 pixels is too small to hold a sample"),
    "one pixel TIFF": (lambda: tiff(RGB[:1, :1]), "1 x 1 pixels is too small"),
    "animated PNG": (lambda: saved("PNG", save_all=True, append_images=[Image.fromarray(255 - RGB)]),
                     "an animated PNG; save the one picture"),
    "animated AVIF": (lambda: saved("AVIF", save_all=True, append_images=[Image.fromarray(255 - RGB)]),
                      "an animated picture; save the one"),
    "picture sequence": (lambda: heic("8bit")[:8] + b"hevc" + heic("8bit")[12:], "an animated picture"),
    "two pages": (lambda: tiff(pages=2), "holds 2 pictures; save the one to be measured"),
    "compressed for film": (lambda: compressed_as(32909), "in a way that is not read; save it with LZW"),
    "JPEG XL as DNG has it": (lambda: tiff(compression="jpegxl_dng"), "in a way that is not read; save it"),
    "JPEG of 12 bits": (lambda: tiff(chart(16) >> 4, compression="jpeg"), "12 bits a channel; save it"),
    "floats": (lambda: tiff(RGB.astype(np.float32)), "floating-point numbers, .* save it with 16 bits"),
    "32 bits": (lambda: tiff(RGB.astype(np.uint32)), "32 bits a channel; save it with 8 or 16"),
    "signed": (lambda: tiff(RGB.astype(np.int16)), "save it with 8 or 16 whole ones"),
    "five channels": (lambda: tiff(RGB[..., [0, 1, 2, 0, 1]]), "TIFF with 5 channels has no"),
    "transparent PNG": (lambda: saved("PNG", HALF), "is transparent in places; save it without"),
    "transparent TIFF": (lambda: tiff(HALF, extrasamples=["unassalpha"]), "is transparent in places"),
    "transparent HEIC": (lambda: heic("transparent"), "is transparent in places"),
    "transparent AVIF": (lambda: saved("AVIF", HALF, quality=100), "is transparent in places"),
    "HDR levels in HEIC": (lambda: heic("code_points_pq"), r"HDR screens \(PQ\); save it as SDR"),
    "HDR levels in PNG": (lambda: png_with(saved("PNG"), b"cICP", bytes([9, 18, 0, 1])),
                          r"HDR screens \(HLG\); save it as SDR"),
    "large PNG": (lambda: png_sized(60_000, 50_000), "60000 x 50000 pixels is too large; crop it"),
    "large TIFF": (lambda: tiff_sized(60_000, 50_000), "60000 x 50000 pixels is too large; crop it"),
    "large HEIC": (lambda: still_sized(heic("8bit"), 60_000, 50_000), "60000 x 50000 pixels is too large"),
    "large AVIF": (lambda: still_sized(saved("AVIF"), 60_000, 50_000), "60000 x 50000 pixels is too large"),
    "PDF": (lambda: b"%PDF-1.7\n" + bytes(200), "a PDF document; save the photograph itself"),
    "MP4": (lambda: b"\0\0\0\x20ftypisom\0\0\0\0isom" + bytes(200), "a video; photograph single pictures"),
    "QuickTime": (lambda: b"\0\0\0\x14ftypqt  " + bytes(200), "a video; photograph"),
    "Matroska": (lambda: b"\x1a\x45\xdf\xa3" + bytes(200), "a video; photograph"),
    "AVI": (lambda: b"RIFF\0\0\0\0AVI LIST" + bytes(200), "a video; photograph"),
    "text": ("wavelength_nm,intensity\n500,1\nµ\n".encode, "holds text, no picture; name the photographs"),
    "GIF": (lambda: saved("GIF"), "a GIF picture, .* send the camera's own file"),
    "WebP": (lambda: saved("WEBP"), "a WebP picture, .* send the camera's own file"),
    "BMP": (lambda: saved("BMP"), "a BMP picture; save it as PNG"),
    "zip": (lambda: b"PK\x03\x04" + bytes(50), "a zip archive; unpack it"),
    "bytes": (lambda: bytes(range(256)), "not a JPEG, PNG, TIFF, HEIC, AVIF or camera raw .* export it"),
}  # fmt: skip


@pytest.mark.parametrize("name", MESSAGES)
def test_what_cannot_be_measured_is_said(tmp_path, name):
    data, words = MESSAGES[name]
    path = tmp_path / "shot.jpg"
    path.write_bytes(data())
    with pytest.raises(CannotReadError, match=words) as error:
        open_photo(path)
    assert str(error.value).startswith(f"{path}: ")
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    "data",
    [saved("PNG", ALPHA), tiff(ALPHA, extrasamples=["unassalpha"]), heic("opaque")],
    ids=["PNG", "TIFF", "HEIC"],
)
def test_a_channel_that_says_all_is_opaque_is_passed_over(tmp_path, data):
    path = tmp_path / "a"
    path.write_bytes(data)
    assert np.array_equal(open_photo(path).codes, RGB)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_a_dark_frame_and_a_blank_sheet_may_be_grey(tmp_path, kind):
    for level in (0, 3, 128, 255):
        codes = np.full_like(RGB, level)
        codes[::7, ::5] = min(level + 4, 255)
        (tmp_path / "a").write_bytes(saved(kind, codes))
        assert open_photo(tmp_path / "a").codes.shape == RGB.shape


def test_a_small_version_within_a_tiff_is_no_second_picture(tmp_path):
    with tifffile.TiffWriter(tmp_path / "a.tif") as file:
        file.write(RGB, photometric="rgb", metadata=None)
        file.write(RGB[::4, ::4], photometric="rgb", subfiletype=1, metadata=None)
    assert np.array_equal(open_photo(tmp_path / "a.tif").codes, RGB)


WHOLE = {
    "JPEG": saved("JPEG", quality=95, exif=exif_block()),
    "PNG": saved("PNG", exif=exif_block()),
    "TIFF": tiff(),
    "TIFF, LZW": tiff(compression="lzw", tile=(16, 32)),
    "TIFF, deflate": tiff(compression="zlib", predictor=True),
    "TIFF, zstd": tiff(chart(16), compression="zstd"),
    "TIFF, JPEG": tiff(compression="jpeg"),
    "TIFF, LERC": tiff(compression="lerc"),
    "TIFF, PNG": tiff(compression="png"),
    "TIFF, WebP": tiff(compression="webp"),
    "TIFF, JPEG 2000": tiff(compression="jpeg2000"),
    "TIFF, JPEG XL": tiff(compression="jpegxl"),
    "TIFF, JPEG XR": tiff(compression="jpegxr"),
    "HEIC": heic("turned_6"),
    "HEIC, 10 bits": heic("10bit"),
    "AVIF": saved("AVIF", exif=exif_block(6)),
}


@pytest.mark.parametrize("share", [0.05, 0.3, 0.6, 0.9, 0.99])
@pytest.mark.parametrize("name", WHOLE)
def test_a_file_that_lost_its_end_is_refused_not_filled_in(tmp_path, name, share):
    path = tmp_path / "cut"
    path.write_bytes(WHOLE[name][: int(share * len(WHOLE[name]))])
    with pytest.raises(CannotReadError, match=r"broken|copy it|not a") as error:
        open_photo(path)
    assert str(error.value).startswith(f"{path}: ")


@pytest.mark.parametrize("name", WHOLE)
def test_flipped_bytes_give_a_photograph_or_a_sentence(tmp_path, name):
    # in a worker: what the decoder of HEIC makes of some such files ends its process
    data, rng = WHOLE[name], np.random.default_rng(7)
    paths = [tmp_path / f"{turn}" for turn in range(40)]
    for turn, path in enumerate(paths):
        bent = bytearray(data)
        span = len(data) if turn % 2 else min(len(data), 600)
        for at in rng.integers(0, span, 1 + turn % 5):
            bent[at] ^= 1 << int(rng.integers(8))
        path.write_bytes(bent)
    outcomes = list(map_photos(partial(open_photo, limits=Limits(max_pixels=1_000_000)), paths))
    messages = [o.message for o in outcomes if o.result is None]
    assert len(outcomes) == 40
    assert messages
    for outcome in outcomes:
        assert outcome.result is not None or outcome.message.startswith(f"{outcome.path}: ")
        assert "could not be measured" not in (outcome.message or "")
