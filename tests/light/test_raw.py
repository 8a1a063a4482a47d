from __future__ import annotations

import numpy as np
import pytest
from PIL.TiffImagePlugin import IFDRational

from glowkin.base.errors import CannotReadError
from glowkin.light.decode import open_photo
from glowkin.light.linear import Window, clipped_cells, linear_cells, reduced
from glowkin.light.photo import Limits, oriented
from glowkin.light.preview import preview
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph

# A 6 x 6 layout of the kind some makers use; this arrangement is invented.
SIX = ("GGRGGB", "GGBGGR", "BRGRBG", "GGBGGR", "GGRGGB", "RBGBRG")


def thousandths(*values):
    return tuple(IFDRational(round(1000 * v), 1000) for v in values)


def whole(photo):
    width, height = photo.size_cells
    return linear_cells(photo, Window(0, 0, width, height))


def by_hand(codes, cfa, black, white):
    """Mean of each colour over each period, the plain way."""
    p = cfa.shape[0]
    light = (codes[: codes.shape[0] // p * p, : codes.shape[1] // p * p].astype(float) - black) / (
        white - black
    )
    cells = light.reshape(light.shape[0] // p, p, -1, p).swapaxes(1, 2)
    return np.stack([cells[..., cfa == c].mean(axis=-1) for c in range(3)], axis=-1)


@pytest.mark.parametrize(
    "cfa", [("RG", "GB"), ("GB", "RG"), ("BG", "GR"), SIX], ids=["RGGB", "GBRG", "BGGR", "6x6"]
)
def test_cells_are_the_mean_of_each_colour_over_the_filters_own_period(tmp_path, scene, cfa):
    camera = default_camera().with_(cfa=cfa)
    shot = photograph(scene, camera, np.random.default_rng(1))
    photo = open_photo(write_dng(shot, tmp_path / "a.dng"))
    assert photo.period == len(cfa)
    expected = by_hand(shot.codes, camera.cfa_index, camera.black, camera.white)
    assert whole(photo) == pytest.approx(expected, abs=1e-6)


def test_noise_below_black_is_kept(tmp_path, scene):
    shot = photograph(scene, default_camera(), np.random.default_rng(1))
    light = whole(open_photo(write_dng(shot, tmp_path / "a.dng")))
    assert light.min() < 0
    assert abs(np.median(light)) < 2e-4


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_raw_file_stands_as_a_viewer_shows_it(tmp_path, turned, orientation):
    # Exif 2.32, tag 274; colours are checked as well, since the filters turn with the picture
    shot = turned(orientation)
    upright = open_photo(write_dng(turned(1), tmp_path / "1.dng"))
    photo = open_photo(write_dng(shot, tmp_path / "a.dng"))
    assert np.array_equal(photo.codes, oriented(shot.codes, orientation))
    assert whole(photo) == pytest.approx(oriented(whole(upright), orientation), abs=1e-6)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_viewer_coordinates_are_those_of_the_known_answers(tmp_path, scene, orientation):
    from glowkin.scene.shot import Exposure

    rng = np.random.default_rng(1)
    shot = photograph(scene, default_camera(), rng, Exposure(orientation=orientation), brightest=0.6)
    light = whole(open_photo(write_dng(shot, tmp_path / "a.dng")))
    x, y = (np.array(shot.truths[0].centre_px) / 2).astype(int)
    assert light[y, x, 1] > 0.3


def test_black_is_a_float_where_the_file_tells_rationals(dng_with):
    photo = open_photo(dng_with({50714: thousandths(512.3)[0]}))
    assert photo.black == pytest.approx(np.full((2, 2), 512.3))
    four = open_photo(dng_with({50713: (2, 2), 50714: thousandths(510.25, 511.5, 512.75, 513.0)}))
    assert four.black == pytest.approx(np.array([[510.25, 511.5], [512.75, 513.0]]))


def test_black_levels_turn_with_the_picture(shot, dng_with):
    shot.exposure.__dict__["orientation"] = 6
    photo = open_photo(dng_with({50713: (2, 2), 50714: thousandths(510.25, 511.5, 512.75, 513.0)}))
    assert photo.black == pytest.approx(np.array([[512.75, 510.25], [513.0, 511.5]]))


def test_two_matrices_come_tungsten_first_in_whatever_order_the_file_has_them(dng_with, shot):
    matrix_A, matrix_D65 = shot.camera.color_matrices
    expected = [np.linalg.inv(matrix_A), np.linalg.inv(matrix_D65)]
    assert np.array(open_photo(dng_with({})).to_xyz) == pytest.approx(np.array(expected), rel=1e-4)
    swapped = {
        50721: thousandths6(matrix_D65), 50722: thousandths6(matrix_A), 50778: 21, 50779: 17,
    }  # fmt: skip
    assert np.array(open_photo(dng_with(swapped)).to_xyz) == pytest.approx(np.array(expected), rel=1e-4)


def thousandths6(matrix):
    return tuple(IFDRational(round(1e6 * v), 1_000_000) for v in matrix.ravel())


def test_one_matrix_is_enough(dng_with, shot):
    photo = open_photo(dng_with({50722: None, 50779: None}))
    assert len(photo.to_xyz) == 1
    assert photo.to_xyz[0] == pytest.approx(np.linalg.inv(shot.camera.color_matrices[0]), rel=1e-4)


def test_balance_and_calibration_multiply_the_matrix_from_the_left(dng_with, shot):
    # DNG 1.7, chapter 6: XYZtoCamera = AB x CC x CM
    balance, calibration = (
        np.diag([1.2, 1.0, 0.9]),
        np.array([[1.1, 0.02, 0], [0, 0.95, 0.01], [0.03, 0, 1.05]]),
    )
    tags = {50727: thousandths(1.2, 1.0, 0.9), 50723: thousandths(*calibration.ravel())}
    photo = open_photo(dng_with(tags))
    matrix_A, matrix_D65 = shot.camera.color_matrices
    assert np.linalg.inv(photo.to_xyz[0]) == pytest.approx(balance @ calibration @ matrix_A, abs=2e-5)
    assert np.linalg.inv(photo.to_xyz[1]) == pytest.approx(balance @ matrix_D65, abs=2e-5)


def test_the_as_shot_white_changes_nothing(dng_with):
    plain = open_photo(dng_with({}))
    warm = open_photo(dng_with({50728: thousandths(0.9, 1.0, 0.3)}))
    assert np.array(plain.to_xyz) == pytest.approx(np.array(warm.to_xyz))
    assert np.array_equal(whole(plain), whole(warm))


@pytest.mark.parametrize("matrix", [(0.5,) * 9, None], ids=["singular", "not a number"])
def test_a_matrix_that_cannot_be_turned_round_is_refused(dng_with, matrix):
    values = thousandths(*matrix) if matrix else tuple(IFDRational(1, 0) for _ in range(9))
    with pytest.raises(
        CannotReadError, match=r"bent\.dng: its colour matrix is broken; convert it to DNG again"
    ):
        open_photo(dng_with({50721: values}))


def test_no_matrix_at_all_is_said_with_the_mend(dng_with):
    tags = dict.fromkeys((50721, 50722, 50778, 50779))
    with pytest.raises(CannotReadError, match=r"tells no colour matrix of its camera; convert it to DNG"):
        open_photo(dng_with(tags))


def test_clipped_cells_are_those_at_the_top_of_the_scale(tmp_path, scene):
    camera = default_camera()
    shot = photograph(scene, camera, np.random.default_rng(1))
    shot.codes[:] = camera.black
    shot.codes[20, 30] = camera.white
    shot.codes[41, 51] = int(0.985 * camera.white)
    photo = open_photo(write_dng(shot, tmp_path / "a.dng"))
    clipped = clipped_cells(photo, Window(0, 0, *photo.size_cells))
    assert np.argwhere(clipped).tolist() == [[10, 15]]


@pytest.mark.parametrize("share", [0.02, 0.5, 0.95])
def test_a_raw_file_that_lost_data_is_refused(tmp_path, shot, share):
    path = write_dng(shot, tmp_path / "a.dng")
    data = path.read_bytes()
    path.write_bytes(data[: int(share * len(data))])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("warnings.warn", lambda *_, **__: None)  # Pillow's of cut Exif blocks
        with pytest.raises(CannotReadError, match=r"a\.dng: a broken raw file, .*; copy it"):
            open_photo(path)


def test_the_limit_on_pixels_holds_for_raw_too(tmp_path, shot):
    with pytest.raises(CannotReadError, match="240 x 160 pixels is too large"):
        open_photo(write_dng(shot, tmp_path / "a.dng"), Limits(max_pixels=10_000))


def test_the_reduced_frame_and_the_preview_show_the_scene(tmp_path, shot):
    photo = open_photo(write_dng(shot, tmp_path / "a.dng"))
    frame = reduced(photo, long_side=40)
    assert frame.scale_px == 6
    assert frame.linear.mean(axis=(0, 1)) == pytest.approx(whole(photo)[:78].mean(axis=(0, 1)), rel=0.05)
    picture = preview(photo, frame)
    (green, red) = (tuple(int(c / frame.scale_px) for c in t.centre_px[::-1]) for t in shot.truths)
    assert picture[green].argmax() == 1
    assert picture[red].argmax() == 0
