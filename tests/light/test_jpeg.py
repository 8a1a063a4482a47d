from __future__ import annotations

import struct
import tracemalloc

import numpy as np
import pytest
import simplejpeg
from PIL import Image

from glowkin.base.errors import CannotReadError
from glowkin.light.decode import open_photo
from glowkin.light.linear import Window, linear_cells, reduced
from glowkin.light.photo import Limits
from glowkin.light.region import region_means

GREY = np.full((40, 60, 3), 128, np.uint8)


@pytest.fixture
def colourful():
    """Smooth colours with every code in them."""
    y, x = np.mgrid[:96, :128]
    return np.stack([2 * x, 255 - 2 * y, (x + y) % 256], axis=2).astype(np.uint8)


@pytest.mark.parametrize("options", [{}, {"subsampling": 2}, {"progressive": True}, {"quality": 60}])
def test_codes_are_those_of_another_decoder(jpeg_of, colourful, options):
    # imageio through Pillow's libjpeg as independent decoding; upsampling of chroma may differ by rounding
    imageio = pytest.importorskip("imageio.v3")
    path = jpeg_of(colourful, **options)
    theirs = imageio.imread(path).astype(int)
    assert np.abs(open_photo(path).codes.astype(int) - theirs).max() <= 1


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_jpeg_stands_as_a_viewer_shows_it(jpeg_of, colourful, orientation):
    # Pillow's ImageOps.exif_transpose as independent reading of Exif 2.32, tag 274
    from PIL import ImageOps

    path = jpeg_of(colourful, tags={274: orientation}, quality=100)
    with Image.open(path) as image:
        shown = np.asarray(ImageOps.exif_transpose(image)).astype(int)
    photo = open_photo(path)
    assert photo.size_px == shown.shape[1::-1]
    assert np.abs(photo.codes.astype(int) - shown).max() <= 1


def test_an_orientation_that_is_none_is_passed_over(jpeg_of, colourful):
    assert open_photo(jpeg_of(colourful, tags={274: 9})).size_px == (128, 96)


@pytest.mark.parametrize(("mode", "word"), [("CMYK", "CMYK"), ("L", "greyscale")])
def test_a_picture_without_three_colours_is_refused(tmp_path, mode, word):
    Image.fromarray(GREY).convert(mode).save(tmp_path / "a.jpg")
    with pytest.raises(CannotReadError, match=rf"a\.jpg: a {word} JPEG has no red, .* the camera's own file"):
        open_photo(tmp_path / "a.jpg")


def test_one_pixel_is_too_small(jpeg_of):
    with pytest.raises(CannotReadError, match=r"a\.jpg: 1 x 1 pixels is too small to hold a sample"):
        open_photo(jpeg_of(GREY[:1, :1]))


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
@pytest.mark.parametrize("ended", [b"", b"\xff\xd9"], ids=["cut", "cut and closed"])
def test_a_file_that_lost_data_is_refused_not_filled_with_grey(jpeg_of, colourful, share, ended):
    path = jpeg_of(colourful)
    data = path.read_bytes()
    path.write_bytes(data[: int(share * len(data))] + ended)
    with pytest.raises(CannotReadError, match=r"a\.jpg: a broken JPEG file; copy it from the camera again"):
        open_photo(path)


def test_bytes_after_the_picture_do_no_harm(jpeg_of, colourful):
    path = jpeg_of(colourful)
    before = open_photo(path).codes
    path.write_bytes(path.read_bytes() + b"phones append things" * 100)
    assert np.array_equal(open_photo(path).codes, before)


def test_random_bytes_are_refused(tmp_path):
    rng = np.random.default_rng(3)
    for start in (b"", b"\xff\xd8\xff", b"\xff\xd8\xff\xe1"):
        for suffix in (".jpg", ".dng"):
            path = tmp_path / f"noise{suffix}"
            path.write_bytes(start + rng.bytes(3000))
            with pytest.raises(CannotReadError, match=rf"noise\{suffix}: .*(JPEG|DNG)"):
                open_photo(path)


def test_a_jpeg_under_another_name_is_read(jpeg_of):
    assert open_photo(jpeg_of(GREY, "a.dng")).kind == "rendered"


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("none.jpg", "no such file; check the name"),
        ("", "is a folder; name the photographs"),
        ("empty.jpg", "is empty; copy it from the camera again"),
    ],
)
def test_what_is_no_file_at_all_is_said_with_the_mend(tmp_path, name, words):
    (tmp_path / "empty.jpg").touch()
    with pytest.raises(CannotReadError, match=words) as error:
        open_photo(tmp_path / name)
    assert str(tmp_path / name) in str(error.value)


def claiming(path, width, height):
    """The file with another size written into its frame header."""
    data = bytearray(path.read_bytes())
    at = data.find(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", height, width)
    path.write_bytes(data)
    return path


def test_a_picture_too_large_is_refused_before_it_is_decoded(jpeg_of):
    path = claiming(jpeg_of(GREY), 60000, 60000)
    with pytest.raises(CannotReadError, match=r"60000 x 60000 pixels is too large; crop it or export it"):
        open_photo(path)
    with pytest.raises(CannotReadError, match="larger than 0 MB; export it smaller"):
        open_photo(path, Limits(max_bytes=100))


def test_108_megapixels_of_a_phone_are_neither_refused_nor_warned_about(jpeg_of):
    # the header alone: the data behind it ends early
    with pytest.raises(CannotReadError, match="a broken JPEG file"):
        open_photo(claiming(jpeg_of(GREY), 12000, 9000))


@pytest.mark.parametrize("size", [(16, 12000), (12000, 16)])
def test_a_strip_a_thousand_times_longer_than_wide_is_reduced(jpeg_of, size):
    frame = reduced(open_photo(jpeg_of(np.zeros((*size, 3), np.uint8))))
    assert min(frame.linear.shape[:2]) >= 1


def test_noise_in_the_header_never_ends_in_a_traceback(jpeg_of, colourful):
    path = jpeg_of(colourful, taken={0x9003: "2026:05:04 13:30:00", 0x829A: 0.5})
    data, rng = path.read_bytes(), np.random.default_rng(4)
    refused = 0
    for _ in range(150):
        bent = bytearray(data)
        for at in rng.integers(3, 700, 4):
            bent[at] = rng.integers(256)
        path.write_bytes(bent)
        try:
            with pytest.MonkeyPatch.context() as patch:
                patch.setattr("warnings.warn", lambda *_, **__: None)  # Pillow's of odd Exif blocks
                open_photo(path)
        except CannotReadError:
            refused += 1
    assert 0 < refused < 150


def test_24_megapixels_are_measured_without_a_float_copy_of_the_frame(tmp_path):
    codes = np.zeros((4000, 6000, 3), np.uint8)
    codes[1000:2000, 1000:2000] = (60, 180, 40)
    (tmp_path / "big.jpg").write_bytes(simplejpeg.encode_jpeg(codes, quality=90))
    photo = open_photo(tmp_path / "big.jpg")
    outline = np.array([[1010.0, 1010], [1990, 1010], [1990, 1990], [1010, 1990]])
    tracemalloc.start()
    try:
        reduced(photo)
        mean = region_means(photo, [outline]).mean[0]
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert mean == pytest.approx(photo.curves[(60, 180, 40), (0, 1, 2)], rel=0.06)
    assert peak < codes.nbytes / 2  # a float32 copy alone would be 4 times the codes


def test_strips_give_what_the_whole_gives(jpeg_of, colourful):
    photo = open_photo(jpeg_of(colourful))
    whole = linear_cells(photo, Window(0, 0, 128, 96))
    strips = [linear_cells(photo, Window(0, top, 128, min(top + 7, 96))) for top in range(0, 96, 7)]
    assert np.array_equal(np.concatenate(strips), whole)
