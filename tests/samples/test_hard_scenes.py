"""A few of the hard scenes; all of them are counted by benchmarks/hard_scenes.py."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from glowkin.light.decode import open_photo
from glowkin.light.linear import reduced
from glowkin.samples.find import find_samples
from glowkin.scene import clutter, hard
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import emitters
from glowkin.scene.stage import Scene, plain_scene, touching_pair


def holds(outline, point):
    return cv2.pointPolygonTest(np.float32(outline), tuple(map(float, point)), False) > 0


def wrong(finding, truths):
    """Names of truths without exactly one sample in them, and how many samples lie in none."""
    hits = [[f for f in finding.samples if holds(t.outline_px, f.centre_px)] for t in truths]
    missed = [t.name for t, found in zip(truths, hits, strict=True) if len(found) != 1]
    return missed, len(finding.samples) - sum(map(len, hits))


@pytest.mark.parametrize("suffix", [".dng", ".jpg"])
@pytest.mark.parametrize("kind", sorted(hard.HARD))
def test_a_hard_scene_is_read(frame_of, kind, suffix):
    frame, truths = frame_of(hard.HARD[kind](np.random.default_rng(1001)), suffix=suffix)
    assert wrong(find_samples(frame), truths) == ([], 0)


@pytest.mark.parametrize("pair", [("green", "red"), ("green", "green"), ("blue", "cyan")])
def test_touching_samples_are_told_apart_by_colour_or_waist(frame_of, pair):
    scene = touching_pair((900, 600), tuple(emitters()[name] for name in pair))
    frame, truths = frame_of(scene)
    assert wrong(find_samples(frame), truths) == ([], 0)


def test_a_dim_sample_against_a_bright_one_is_found(frame_of):
    scene = touching_pair((900, 600), (emitters()["green"], 0.05 * emitters()["red"]))
    frame, truths = frame_of(scene)
    assert wrong(find_samples(frame), truths) == ([], 0)


@pytest.mark.parametrize(("make", "reason"), [(clutter.label, "rectangular"), (clutter.cap, "rectangular")])
def test_what_is_no_sample_is_left_out_with_its_reason(frame_of, make, reason):
    thing = make(np.random.default_rng(0), np.array([110.0, 90.0]), 80.0)
    scene = replace(plain_scene((900, 600), [emitters()["green"]]), things=(thing,))
    finding = find_samples(frame_of(scene)[0])
    assert len(finding.samples) == 1
    assert [r for r in finding.rejected if reason in r.reason and holds(r.outline_px, (110, 90))]


@pytest.fixture
def found_in(shared_data):
    """Size of a shared photograph, and the samples found in it."""

    def find(name):
        photo = open_photo(shared_data / "photos" / name)
        return photo.size_px, find_samples(reduced(photo)).samples

    return find


def share(size_px, sample):
    return sample.area_px / (size_px[0] * size_px[1])


# what is in these photographs was seen by eye; places in shares of width and height


def test_the_stained_film_is_found(found_in):
    (w, h), samples = found_in("plastic_uv_light_stained_with_nile_red.jpg")
    film = [s for s in samples if holds(s.outline_px, (0.58 * w, 0.4 * h))]
    assert len(film) == 1
    assert 0.1 < share((w, h), film[0]) < 0.35


def test_the_bright_grain_is_found(found_in):
    (w, h), samples = found_in("sand_uv_light_stained_with_nile_red.jpg")
    assert [s for s in samples if holds(s.outline_px, (0.524 * w, 0.34 * h))]


def test_the_bands_of_the_gel_are_found(found_in):
    (w, h), samples = found_in("gel_blue_light_amber_filter.jpg")
    places = [(0.17 * w, 0.387 * h), (0.295 * w, 0.387 * h), (0.36 * w, 0.387 * h), (0.553 * w, 0.379 * h)]
    assert [p for p in places if not any(holds(s.outline_px, p) for s in samples)] == []


def test_speckles_of_a_ground_that_glows_are_left_out_with_a_reason(shared_data):
    finding = find_samples(reduced(open_photo(shared_data / "photos" / "sand_uv_light.jpg")))
    speckles = [r.outline_px for r in finding.rejected if "speckles" in r.reason]
    assert speckles
    assert not [s for s in finding.samples if any(holds(o, s.centre_px) for o in speckles)]


@pytest.mark.parametrize("name", ["plastic_uv_light.jpg", "sand_uv_light.jpg"])
def test_plain_lamp_glow_and_sand_are_not_one_sample(found_in, name):
    size, samples = found_in(name)
    assert max((share(size, s) for s in samples), default=0.0) < 0.02


@pytest.mark.parametrize("suffix", [".dng", ".jpg"])
@pytest.mark.parametrize("violet", [0.0, 0.001])
def test_heavy_noise_holds_no_samples(photo_of, violet, suffix):
    # before unrest was measured from noise as well, hundreds were found in such a JPEG
    scene = Scene((1500, 1000), (), surroundings_violet=violet)
    photo, _ = photo_of(scene, suffix=suffix, exposure=Exposure(exposure_s=1e-3, iso=51200), brightest=None)
    assert find_samples(reduced(photo)).samples == ()
