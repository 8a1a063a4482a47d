"""DNG files of every layout, written by tifffile: the cells are the plain mean of each colour's codes."""

from __future__ import annotations

import numpy as np
import pytest
import tifffile

from glowkin.base.errors import CannotReadError
from glowkin.light.decode import open_photo
from glowkin.light.linear import Window, clipped_cells, linear_cells, reduced
from glowkin.light.photo import Limits, oriented
from glowkin.light.region import region_means

MATRIX = np.array([[0.6, -0.1, -0.1], [-0.4, 1.2, 0.2], [-0.1, 0.2, 0.6]])
BLACK, WHITE = 512.25, 16383
BAYER = np.array([[0, 1], [1, 2]])
LAYOUTS = {
    "Bayer": BAYER,
    "quad": np.kron(BAYER, np.ones((2, 2), int)),
    "quad, another start": np.kron(np.array([[1, 2], [0, 1]]), np.ones((2, 2), int)),
    "6 x 6": np.array([["RGB".index(c) for c in row] for row in
                       ("GGRGGB", "GGBGGR", "BRGRBG", "GGBGGR", "GGRGGB", "RBGBRG")]),
}  # fmt: skip


def camera_tags(orientation=1):
    """DNG 1.4: version, camera, matrix, illuminant, as-shot neutral."""
    fractions = [n for v in MATRIX.ravel() for n in (round(10_000 * v), 10_000)]
    return [
        (50706, 1, 4, (1, 4, 0, 0), False), (50708, 2, 0, "Made Up", False), (274, 3, 1, orientation, True),
        (50721, 10, 9, tuple(fractions), False), (50778, 3, 1, 21, False),
        (50728, 5, 3, (1, 2, 1, 1, 3, 5), False),
    ]  # fmt: skip


def mosaic_tags(cfa):
    return [
        (33421, 3, 2, cfa.shape, False), (33422, 1, cfa.size, bytes(cfa.ravel().astype(np.uint8)), False),
        (50714, 5, 1, (2049, 4), False), (50717, 4, 1, WHITE, False),
    ]  # fmt: skip


def mosaic(seed=0):
    return np.random.default_rng(seed).integers(400, 16_000, (192, 288)).astype(np.uint16)


def write_mosaic(path, codes, cfa, *, frames=False, orientation=1, compression=None, lossless=None):
    """One frame, or a small preview first and the mosaic as a frame within it, as most cameras do."""
    options = {"photometric": 32803, "subfiletype": 0, "metadata": None, "compression": compression}
    if lossless:
        options |= {"compressionargs": {"lossless": True}, "tile": (96, 96)}
    with tifffile.TiffWriter(path) as file:
        if frames:
            file.write(np.zeros((24, 36, 3), np.uint8), photometric="rgb", subfiletype=1, subifds=2,
                       extratags=camera_tags(orientation), metadata=None)  # fmt: skip
            file.write(codes, extratags=mosaic_tags(cfa), **options)
            file.write(codes[:96, :144] // 2, extratags=mosaic_tags(cfa), **options)
        else:
            file.write(codes, extratags=[*camera_tags(orientation), *mosaic_tags(cfa)], **options)
    return path


def cells_by_hand(codes, cfa):
    p = cfa.shape[0]
    scaled = (codes.astype(float) - BLACK) / (WHITE - BLACK)
    blocks = scaled.reshape(codes.shape[0] // p, p, -1, p).swapaxes(1, 2)
    return np.stack([blocks[..., cfa == c].mean(axis=-1) for c in range(3)], axis=-1)


def light(photo):
    return linear_cells(photo, Window(0, 0, *photo.size_cells))


@pytest.mark.parametrize("frames", [False, True], ids=["one frame", "multi-frame"])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_is_averaged_over_its_own_period(tmp_path, layout, frames):
    codes = mosaic()
    photo = open_photo(write_mosaic(tmp_path / "a.dng", codes, LAYOUTS[layout], frames=frames))
    assert photo.kind == "raw"
    assert photo.period == len(LAYOUTS[layout])
    assert light(photo) == pytest.approx(cells_by_hand(codes, LAYOUTS[layout]), abs=1e-6)
    assert photo.to_xyz[0] == pytest.approx(np.linalg.inv(MATRIX), rel=1e-6)


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("orientation", [3, 6, 7])
def test_every_layout_is_turned_with_its_colours(tmp_path, layout, orientation):
    codes = mosaic()
    photo = open_photo(write_mosaic(tmp_path / "a.dng", codes, LAYOUTS[layout], orientation=orientation))
    expected = oriented(cells_by_hand(codes, LAYOUTS[layout]), orientation)
    assert light(photo) == pytest.approx(expected, abs=1e-6)


def test_a_mosaic_under_lossless_jpeg_comes_back(tmp_path):
    # as converters to DNG write it; tifffile's own encoder
    codes = mosaic() >> 2
    path = write_mosaic(tmp_path / "a.dng", codes, BAYER, frames=True, compression="jpeg", lossless=True)
    with tifffile.TiffFile(path) as file:
        assert file.pages[0].pages[0].compression == 7  # DNG 1.4: baseline DCT or lossless JPEG
    assert np.array_equal(open_photo(path).codes, codes)


def write_linear(path, codes, *, black=(512, 500, 530)):
    tags = [*camera_tags(), (50714, 4, 3, black, False), (50717, 4, 3, (WHITE,) * 3, False)]
    tifffile.imwrite(path, codes, photometric=34892, subfiletype=0, metadata=None, extratags=tags)
    return path


def test_a_raw_file_without_a_mosaic_is_measured_pixel_by_pixel(tmp_path):
    black = np.array([512, 500, 530])
    codes = np.random.default_rng(1).integers(400, 16_000, (120, 150, 3)).astype(np.uint16)
    photo = open_photo(write_linear(tmp_path / "a.dng", codes))
    assert (photo.kind, photo.period, photo.size_px) == ("raw", 1, (150, 120))
    expected = (codes - black) / (WHITE - black)
    assert light(photo) == pytest.approx(expected, abs=1e-6)
    assert light(photo).min() < 0
    frame = reduced(photo, 50)
    assert frame.faintest == 0
    assert frame.linear.mean(axis=(0, 1)) == pytest.approx(expected.mean(axis=(0, 1)), rel=0.03)


def test_clipped_pixels_of_a_raw_file_without_a_mosaic_are_left_out(tmp_path):
    codes = np.full((120, 150, 3), 5000, np.uint16)
    codes[40, 60, 1] = WHITE
    photo = open_photo(write_linear(tmp_path / "a.dng", codes))
    assert np.argwhere(clipped_cells(photo, Window(0, 0, 150, 120))).tolist() == [[40, 60]]
    square = np.array([[30.0, 20], [90, 20], [90, 80], [30, 80]])
    signals = region_means(photo, [square])
    assert signals.mean[0] == pytest.approx(
        (5000 - np.array([512, 500, 530])) / (WHITE - np.array([512, 500, 530]))
    )
    assert 0 < signals.clipped[0] < 0.01
    assert (signals.at_zero[0] == 0).all()


def test_a_raw_file_is_known_by_its_content(tmp_path):
    codes = mosaic()
    for name in ("a.tif", "a.jpg", "a"):
        assert open_photo(write_mosaic(tmp_path / name, codes, BAYER)).kind == "raw"


def test_a_raw_file_too_large_is_refused_before_it_is_decoded(tmp_path):
    path = write_mosaic(tmp_path / "a.dng", mosaic(), BAYER)
    with pytest.raises(CannotReadError, match="288 x 192 pixels is too large; crop it"):
        open_photo(path, Limits(max_pixels=10_000))


@pytest.mark.filterwarnings("ignore")
def test_flipped_bytes_of_a_raw_file_give_a_photograph_or_a_sentence(tmp_path):
    path = write_mosaic(tmp_path / "a.dng", mosaic(), LAYOUTS["quad"], frames=True)
    data, rng, refused = path.read_bytes(), np.random.default_rng(5), 0
    for turn in range(60):
        bent = bytearray(data)
        for at in rng.integers(0, 1500, 1 + turn % 4):
            bent[at] = rng.integers(256)
        path.write_bytes(bent)
        try:
            open_photo(path, Limits(max_pixels=1_000_000))
        except CannotReadError:
            refused += 1
    assert 0 < refused < 60
