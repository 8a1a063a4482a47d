from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from glowkin.light.decode import open_photo
from glowkin.light.linear import Frame, reduced
from glowkin.samples.find import find_samples, found_from_outline, in_reading_order
from glowkin.scene.clutter import brightener
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import emitters
from glowkin.scene.stage import Scene, plain_scene, random_scene, row_of_vials

SIZE = (900, 600)


def inside(outline, point):
    return cv2.pointPolygonTest(np.asarray(outline, dtype=np.float32), tuple(map(float, point)), True)


def matched(found, truths):
    """The found sample in each true outline; fails on a missed or an invented one."""
    pairs = [(t, [f for f in found if inside(t.outline_px, f.centre_px) > 0]) for t in truths]
    assert [t.name for t, hits in pairs if len(hits) != 1] == []
    assert len(found) == len(truths)
    return [(t, hits[0]) for t, hits in pairs]


@pytest.mark.parametrize("seed", range(12))
def test_all_samples_of_a_scene_are_found_none_invented_and_edges_kept_clear_of(frame_of, seed):
    rng = np.random.default_rng([seed, 77])
    n = int(rng.integers(2, 21))
    scene = random_scene(rng, n, size_px=SIZE)
    frame, truths = frame_of(scene, seed, ".dng" if seed % 2 else ".jpg")
    for truth, found in matched(find_samples(frame).samples, truths):
        depth = [inside(truth.outline_px, corner) for corner in found.outline_px]
        assert min(depth) > -1.0, "an outline crosses the true edge"
        assert found.area_px > 0.25 * found_from_outline(np.array(truth.outline_px)).area_px
        assert not found.at_edge


@pytest.mark.parametrize("suffix", [".dng", ".jpg"])
@pytest.mark.parametrize("emitter", ["blue", "green", "red"])
def test_a_single_sample_is_found(frame_of, suffix, emitter):
    scene = row_of_vials((600, 400), 1, 1, {"alone": emitters()[emitter]})
    frame, truths = frame_of(scene, suffix=suffix)
    matched(find_samples(frame).samples, truths)


def test_a_sample_a_hundred_times_dimmer_is_found_beside_the_bright_one(frame_of):
    scene = plain_scene((900, 500), [emitters()["green"], 0.01 * emitters()["green"]])
    frame, truths = frame_of(scene, brightest=0.8)
    matched(find_samples(frame).samples, truths)


@pytest.mark.parametrize("suffix", [".dng", ".jpg"])
@pytest.mark.parametrize(
    "scene",
    [
        Scene((600, 400), ()),
        Scene((600, 400), (), surroundings_violet=0.0),
        Scene((600, 400), (), room=0.2),
        Scene((600, 400), (), surroundings_glow=brightener(1.0)),
    ],
    ids=["lamp on cloth", "darkness", "room light", "glowing paper"],
)
def test_nothing_is_found_where_there_is_no_sample(frame_of, scene, suffix):
    exposure = Exposure(exposure_s=0.2)
    frame, _ = frame_of(scene, suffix=suffix, exposure=exposure, brightest=None)
    assert find_samples(frame).samples == ()


@pytest.mark.parametrize("level", [0.0, 0.3, 1.0])
def test_an_even_frame_holds_nothing(level):
    assert find_samples(Frame(np.full((300, 400, 3), level, np.float32), 2)).samples == ()


@pytest.mark.parametrize("seed", range(5))
def test_pure_noise_holds_nothing(seed):
    rng = np.random.default_rng(seed)
    linear = (0.05 + 0.01 * rng.standard_normal((300, 400, 3))).astype(np.float32)
    assert find_samples(Frame(linear, 2)).samples == ()


def test_black_minus_noise_holds_nothing():
    linear = 1e-4 * np.random.default_rng(0).standard_normal((300, 400, 3)).astype(np.float32)
    assert find_samples(Frame(linear, 2)).samples == ()


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
@pytest.mark.parametrize("suffix", [".dng", ".jpg"])
def test_places_are_those_a_viewer_shows(frame_of, orientation, suffix):
    spectra = {n: emitters()[n] for n in ("green", "red", "blue")}
    scene = row_of_vials((700, 420), 3, 1, spectra)
    frame, truths = frame_of(scene, suffix=suffix, exposure=Exposure(orientation=orientation))
    for truth, found in matched(find_samples(frame).samples, truths):
        assert found.centre_px == pytest.approx(truth.centre_px, abs=6)


def test_a_sample_cut_by_the_frame_says_so(frame_of):
    scene = row_of_vials((700, 420), 2, 1, {"in": emitters()["green"], "out": emitters()["red"]})
    shifted = replace(scene, placement=((1.0, 0.0, 175.0), (0.0, 1.0, 0.0)))
    frame, _ = frame_of(shifted)
    found = find_samples(frame).samples
    assert [f.at_edge for f in found] == [False, True]


def discs(*centres, radius=20.0):
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    ring = radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return [found_from_outline(np.array(c) + ring) for c in centres]


def test_reading_order_is_left_to_right_then_top_to_bottom():
    rows = [(300.0, 108.0), (100.0, 100.0), (200.0, 92.0), (250.0, 205.0), (90.0, 195.0)]
    ordered = [f.centre_px[0] for f in in_reading_order(discs(*rows))]
    assert ordered == pytest.approx([100, 200, 300, 90, 250])


def test_the_centre_and_area_of_an_outline_are_the_polygons():
    # a right triangle: centroid at a third of its legs, area half their product
    found = found_from_outline(np.array([(0.0, 0.0), (30.0, 0.0), (0.0, 60.0)]))
    assert found.centre_px == pytest.approx((10.0, 20.0))
    assert found.area_px == pytest.approx(900.0)
    flipped = found_from_outline(np.array([(0.0, 60.0), (30.0, 0.0), (0.0, 0.0)]))
    assert (flipped.centre_px, flipped.area_px) == (pytest.approx((10.0, 20.0)), pytest.approx(900.0))


def test_an_outline_without_area_keeps_a_centre():
    found = found_from_outline(np.array([(0.0, 0.0), (10.0, 0.0), (20.0, 0.0)]))
    assert (found.centre_px, found.area_px) == ((10.0, 0.0), 0.0)


def test_blotches_of_compression_on_black_are_no_samples(tmp_path):
    """Chroma subsampling leaves blotches of a few codes on a black ground, as steep-edged as a sample."""
    codes = np.zeros((600, 900, 3), np.uint8)
    for x in (150, 450, 750):
        cv2.circle(codes, (x, 300), 60, (250 - x // 10, 90, 10), -1)
    for x, y in ((60, 60), (400, 80), (800, 500), (300, 520)):
        codes[y : y + 24, x : x + 24] = (0, 0, 4)
    Image.fromarray(codes).save(tmp_path / "a.jpg", quality=95, subsampling="4:2:0")
    assert len(find_samples(reduced(open_photo(tmp_path / "a.jpg"))).samples) == 3
