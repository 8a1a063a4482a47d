"""Round trips: pictures written by independent libraries decode to the right linear values.

One table: who wrote the file, bits a channel, and how far a code may be off. Linear values follow IEC
61966-2-1 as written out in ``chart.py``; the tolerance in linear light is that of the codes through the
curve's steepest slope, 2.4 / 1.055 (near white), plus the rounding of 32-bit floats.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import cv2
import imageio.v3 as imageio
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageOps

from chart import HEIGHT, WIDTH, chart, exif_block, profile, srgb_light
from glowkin.colour.spaces import RGB_TO_XYZ
from glowkin.light.decode import open_photo
from glowkin.light.linear import Window, linear_cells, reduced
from glowkin.light.photo import RENDERED_SUFFIXES
from glowkin.light.region import region_means

DATA = Path(__file__).parent / "data"


def pillow(kind, **options):
    def write(codes):
        out = io.BytesIO()
        Image.fromarray(codes).save(out, kind, **options)
        return out.getvalue()

    return write


def opencv(suffix, *options):
    def write(codes):
        done, out = cv2.imencode(suffix, codes[..., ::-1], options)
        assert done
        return out.tobytes()

    return write


def tiff(*, planar=False, big=False, **options):
    def write(codes):
        out = io.BytesIO()
        pixels = np.moveaxis(codes, 2, 0) if planar else codes
        tifffile.imwrite(
            out, pixels, photometric="rgb", byteorder=">" if big else "<",
            planarconfig="separate" if planar else "contig", **options,
        )  # fmt: skip
        return out.getvalue()

    return write


def kept(name):
    return lambda _codes: (DATA / f"{name}.heic").read_bytes()


@dataclass(frozen=True)
class Case:
    """Who writes a picture of so many bits, and by how many codes each may be off."""

    name: str
    write: object
    bits: int
    off: int = 0


AVIF_10 = (cv2.IMWRITE_AVIF_QUALITY, 100, cv2.IMWRITE_AVIF_DEPTH, 10)
AVIF_12 = (cv2.IMWRITE_AVIF_QUALITY, 100, cv2.IMWRITE_AVIF_DEPTH, 12)
CASES = (
    Case("JPEG by Pillow, quality 100", pillow("JPEG", quality=100, subsampling=0), 8, off=3),
    Case("JPEG by OpenCV, quality 95", opencv(".jpg", cv2.IMWRITE_JPEG_QUALITY, 95), 8, off=14),
    Case("PNG by Pillow", pillow("PNG"), 8),
    Case("PNG by imageio, optimised", lambda codes: imageio.imwrite("<bytes>", codes, extension=".png"), 8),
    Case("PNG by OpenCV", opencv(".png"), 16),
    Case("TIFF by Pillow", pillow("TIFF"), 8),
    Case("TIFF by Pillow, LZW", pillow("TIFF", compression="tiff_lzw"), 8),
    Case("TIFF by OpenCV", opencv(".tif"), 16),
    Case("TIFF, planar", tiff(planar=True), 16),
    Case("TIFF, big-endian", tiff(big=True), 16),
    Case("TIFF, big-endian planar deflate", tiff(big=True, planar=True, compression="zlib"), 16),
    Case("TIFF, tiled", tiff(tile=(16, 32)), 16),
    Case("TIFF, tiled planar", tiff(tile=(16, 32), planar=True), 8),
    Case("TIFF, many strips", tiff(rowsperstrip=7), 8),
    Case("TIFF, LZW", tiff(compression="lzw"), 16),
    Case("TIFF, LZW with predictor", tiff(compression="lzw", predictor=True), 16),
    Case("TIFF, deflate with predictor", tiff(compression="zlib", predictor=True), 16),
    Case("TIFF, packbits", tiff(compression="packbits"), 8),
    Case("TIFF, zstd", tiff(compression="zstd"), 16),
    Case("TIFF, lzma", tiff(compression="lzma"), 8),
    Case(
        "TIFF, JPEG inside", tiff(compression="jpeg", compressionargs={"level": 98}, tile=(16, 32)), 8, off=10
    ),
    Case("TIFF by Pillow, JPEG inside", pillow("TIFF", compression="jpeg", quality=98), 8, off=10),
    Case("TIFF by Pillow, zstd", pillow("TIFF", compression="zstd"), 8),
    Case("TIFF by Pillow, lzma", pillow("TIFF", compression="lzma"), 8),
    Case("TIFF by Pillow, deflate", pillow("TIFF", compression="tiff_deflate"), 8),
    Case("TIFF by Pillow, packbits", pillow("TIFF", compression="packbits"), 8),
    Case("TIFF, LERC", tiff(compression="lerc"), 8),
    Case("TIFF, LERC, tiled", tiff(compression="lerc", tile=(16, 32)), 16),
    Case("TIFF, LERC and deflate", tiff(compression="lerc", compressionargs={"compression": "deflate"}), 16),
    Case("TIFF, PNG inside", tiff(compression="png"), 8),
    Case("TIFF, PNG inside", tiff(compression="png"), 16),
    Case("TIFF, WebP inside", tiff(compression="webp", compressionargs={"lossless": True}), 8),
    Case(
        "TIFF, WebP inside, quality 95",
        tiff(compression="webp", compressionargs={"level": 95, "lossless": False}),
        8,
        off=10,
    ),
    Case("TIFF, JPEG 2000 inside", tiff(compression="jpeg2000", tile=(16, 32)), 8),
    Case("TIFF, JPEG 2000 inside", tiff(compression="jpeg2000"), 16),
    Case(
        "TIFF, JPEG 2000 inside, 50 dB",
        tiff(compression="jpeg2000", compressionargs={"level": 50}),
        8,
        off=25,
    ),
    Case("TIFF, JPEG XL inside", tiff(compression="jpegxl", tile=(16, 32)), 8),
    Case("TIFF, JPEG XL inside", tiff(compression="jpegxl"), 16),
    Case(
        "TIFF, JPEG XL inside, distance 0.5",
        tiff(compression="jpegxl", compressionargs={"distance": 0.5, "lossless": False}),
        16,
        off=1200,
    ),
    Case("TIFF, JPEG XR inside", tiff(compression="jpegxr"), 8),
    Case("TIFF, JPEG XR inside", tiff(compression="jpegxr"), 16),
    Case("BigTIFF", tiff(bigtiff=True), 16),
    Case("HEIC by pillow-heif, lossless", kept("8bit"), 8),
    Case("HEIC by pillow-heif, lossless", kept("10bit"), 10),
    Case("HEIC by pillow-heif, lossless", kept("12bit"), 12),
    Case("HEIC by pillow-heif, quality 95", kept("10bit_lossy"), 10, off=16),
    Case("AVIF by Pillow, quality 100", pillow("AVIF", quality=100, subsampling="4:4:4"), 8, off=3),
    Case("AVIF by OpenCV, quality 100", opencv(".avif", *AVIF_10), 10, off=4),
    Case("AVIF by OpenCV, quality 100", opencv(".avif", *AVIF_12), 12, off=16),
)


def light(photo):
    return linear_cells(photo, Window(0, 0, *photo.size_cells))


@pytest.fixture
def opened(tmp_path):
    """The photograph of some bytes, under a name that says nothing."""

    def write(data, name="photo"):
        path = tmp_path / name
        path.write_bytes(data)
        return open_photo(path)

    return write


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.name}, {case.bits}")
def test_linear_light_comes_back(opened, case):
    codes = chart(case.bits)
    photo = opened(case.write(codes))
    assert photo.kind == "rendered"
    assert np.abs(photo.codes.astype(int) - codes).max() <= case.off
    tolerance = case.off * 2.4 / 1.055 / ((1 << case.bits) - 1) + 2e-7
    assert light(photo) == pytest.approx(srgb_light(codes, case.bits), abs=tolerance)


@pytest.mark.parametrize("case", [c for c in CASES if c.bits > 8], ids=lambda c: f"{c.name}, {c.bits}")
def test_more_than_eight_bits_are_kept(opened, case):
    ramp = np.repeat(np.linspace(0.2, 0.21, WIDTH)[None], HEIGHT, axis=0)
    codes = np.rint(ramp * ((1 << case.bits) - 1)).astype(np.uint16)[..., None].repeat(3, axis=2)
    levels = len(np.unique(opened(case.write(codes)).codes[..., 1]))
    assert levels > 8  # of the about 3 that eight bits have there


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.name}, {case.bits}")
def test_a_region_means_what_was_written(opened, case):
    # every room below sees a photograph of any depth alike
    top = (1 << case.bits) - 1
    level = np.rint(top * np.array([0.3, 0.6, 0.15]))
    codes = np.broadcast_to(level, (HEIGHT, WIDTH, 3)).astype(chart(case.bits).dtype)
    if "heif" in case.name:
        pytest.skip("kept as a file of the chart only")
    photo = opened(case.write(codes))
    outline = np.array([[20.0, 12], [76, 12], [76, 52], [20, 52]])
    signals = region_means(photo, [outline])
    sd = np.sqrt(np.diagonal(signals.covariance[0]))
    truth = srgb_light(level, case.bits)
    assert np.abs(signals.mean[0] - truth) == pytest.approx(0, abs=max(case.off, 0.6) * 2.3 / top)
    assert signals.clipped[0] == 0
    assert signals.at_zero[0] == pytest.approx(0)
    assert (sd < 0.4 * 2.3 / 255 * 1.2).all()
    assert reduced(photo, 32).linear.mean(axis=(0, 1)) == pytest.approx(truth, rel=0.1)


def test_rounding_of_sixteen_bits_is_not_taken_for_that_of_eight(opened):
    flat = np.full((HEIGHT, WIDTH, 3), 30_001, np.uint16)
    flat[::2, ::2] += 1
    outline = [np.array([[20.0, 12], [76, 12], [76, 52], [20, 52]])]
    sixteen = region_means(opened(opencv(".png")(flat)), outline).covariance[0, 1, 1]
    padded = region_means(opened(opencv(".png")(flat // 257 * 257)), outline).covariance[0, 1, 1]
    eight = region_means(opened(opencv(".png")((flat // 257).astype(np.uint8))), outline).covariance[0, 1, 1]
    assert padded == pytest.approx(eight, rel=1e-3)
    assert sixteen < eight / 10_000


def test_a_flat_top_of_every_depth_is_clipped(opened):
    outline = [np.array([[20.0, 12], [76, 12], [76, 52], [20, 52]])]
    for case in CASES:
        if "heif" not in case.name:
            codes = np.full((HEIGHT, WIDTH, 3), (1 << case.bits) - 1, chart(case.bits).dtype)
            assert region_means(opened(case.write(codes)), outline).clipped[0] == 1, case.name


def sixteen(write):
    return lambda codes: write(codes.astype(np.uint16) * 257)


AGAIN = {
    "PNG": pillow("PNG"),
    "TIFF": tiff(compression="lzw"),
    "PNG of 16 bits": sixteen(opencv(".png")),
    "TIFF of 16 bits": sixteen(tiff()),
}
"""Ways to save a JPEG's pixels again without loss."""


def grainy(middle, sd, seed=1):
    """A patch of light on black, its grain normal; what lies beyond the top is cut off, as cameras do."""
    codes = np.zeros((96, 96, 3))
    grain = sd * np.random.default_rng(seed).standard_normal((64, 64, 1))
    codes[16:80, 16:80] = np.array(middle) + grain
    return np.clip(np.round(codes), 0, 255).astype(np.uint8)


PATCH = [np.array([[20.0, 20.0], [76.0, 20.0], [76.0, 76.0], [20.0, 76.0]])]


@pytest.mark.parametrize("container", AGAIN)
@pytest.mark.parametrize("middle", [(80.0, 262.0, 60.0), (251.0, 90.0, 120.0), (250.0, 255.0, 30.0)])
def test_what_a_jpeg_clipped_is_clipped_in_whatever_it_is_saved_again(opened, container, middle):
    """Compressed (ITU-T T.81) by Pillow, a clipped patch is scattered over some codes below the top."""
    first = opened(pillow("JPEG", quality=85)(grainy(middle, 2.0)))
    again = opened(AGAIN[container](first.codes))
    shares = [region_means(photo, PATCH).clipped[0] for photo in (first, again)]
    assert shares[0] > 0.5
    assert shares[1] == shares[0]


@pytest.mark.parametrize("container", AGAIN)
@pytest.mark.parametrize("middle", [(60.0, 200.0, 30.0), (240.0, 120.0, 90.0), (30.0, 242.0, 20.0)])
def test_bright_grain_that_was_never_compressed_is_not_taken_for_clipped(opened, container, middle):
    photo = opened(AGAIN[container](grainy(middle, 3.0)))
    assert photo.codes.max() >= 0.8 * np.iinfo(photo.codes.dtype).max
    assert region_means(photo, PATCH).clipped[0] == 0.0


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["PNG", "TIFF", "AVIF", "HEIC"])
def test_every_format_is_turned_once(opened, tmp_path, kind, orientation):
    # Exif 2.32, tag 274, by Pillow's exif_transpose; HEIC was turned by the encoder's irot and imir boxes
    if kind == "HEIC":
        data = (DATA / f"turned_{orientation}.heic").read_bytes()
    else:
        options = {"AVIF": {"quality": 100, "subsampling": "4:4:4"}}.get(kind, {})
        data = pillow(kind, exif=exif_block(orientation), **options)(chart(8))
    exif = Image.Exif()
    exif[0x0112] = orientation
    image = Image.fromarray(chart(8))
    image.info["exif"] = exif.tobytes()
    image.getexif()[0x0112] = orientation
    shown = np.asarray(ImageOps.exif_transpose(image)).astype(int)
    photo = opened(data)
    assert photo.size_px == shown.shape[1::-1]
    assert np.abs(photo.codes.astype(int) - shown).max() <= 4


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "AVIF", "HEIC"])
def test_every_format_tells_of_its_taking(opened, kind):
    data = (
        (DATA / "turned_6.heic").read_bytes() if kind == "HEIC" else pillow(kind, exif=exif_block())(chart(8))
    )
    told = opened(data).metadata
    assert told.taken_at == "2026-05-04T13:30:00+02:00"
    assert (told.exposure_s, told.iso, told.f_number) == (0.5, 200, 4.0)
    assert (told.make, told.model, told.software) == ("Made Up", "One", "Ver.1.02")
    assert told.automatic_white_balance is False


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "AVIF", "HEIC"])
def test_every_format_carries_a_profile(opened, kind):
    data = (DATA / "turned_1.heic").read_bytes() if kind == "HEIC" else (
        pillow(kind, icc_profile=profile("Display P3"))(chart(8)))  # fmt: skip
    photo = opened(data)
    assert photo.colour_space == "Display P3"
    assert photo.to_xyz[0] == pytest.approx(RGB_TO_XYZ["Display P3"], abs=3e-4)
    assert "no-profile" not in photo.flags


def test_a_name_that_lies_is_passed_over(opened):
    for case in CASES:
        for name in ("a.jpg", "a.png", "a.dng", "a"):
            assert opened(case.write(chart(case.bits)), name).kind == "rendered"


def test_every_name_of_a_rendered_format_is_gathered_from_a_folder():
    assert {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", ".avif"} <= set(RENDERED_SUFFIXES)
