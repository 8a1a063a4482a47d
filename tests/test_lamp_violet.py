"""The lamp steadied by its own violet on the ground. Truth: the level that each scene was rendered with."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

from glowkin import recipes
from glowkin.base.records import course_from_json, track_document
from glowkin.findings.frames import frames_in_time, name_along
from glowkin.findings.track import Plan
from glowkin.findings.violet import by_violet
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.series import Change, Course, Shake, photograph_series
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import band
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres, with_luminance

HOUR = 3600.0
HOURS = (0, 1, 2, 3, 4.5, 6.5, 9, 13, 20, 30)
START = "2026-05-04T09:00"
SIZE = (600, 400)
NAMES = ("fast", "slow", "still")
COURSES = {"fast": Course("first-order", 2.5 * HOUR), "slow": Course("avrami-erofeev", 5 * HOUR, 2.0)}


def series(folder, violet, drift=0.04, seed=1, **scene_options):
    """A red form turning into a four times brighter green one, on a ground that sends back lamp violet."""
    samples = [
        SceneSample(n, Shape("vial", c, 36), with_luminance(band(620, 80), 0.05), violet=2 * violet, seed=i)
        for i, (n, c) in enumerate(zip(NAMES, grid_centres(SIZE, 3, 1), strict=True))
    ]
    scene = Scene(SIZE, tuple(samples), surroundings_violet=violet, seed=seed, **scene_options)
    changes = [Change(n, c, with_luminance(band(525, 60), 0.2)) for n, c in COURSES.items()]
    rng = np.random.default_rng((41, seed))
    taken = photograph_series(
        scene, changes, [h * HOUR for h in HOURS], default_camera(), rng,
        Exposure(taken_at=datetime(2026, 5, 4, 9)), lamp_drift=drift, shake=Shake(0.01, 0.5, 0.008),
    )  # fmt: skip
    photos = [recipes.measure(write_dng(s, folder / f"{i}.dng")) for i, s in enumerate(taken.shots)]
    return photos, np.array(taken.lamp)


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    return series(tmp_path_factory.mktemp("violet"), 0.01)


def lamp_of(photos):
    return by_violet(frames_in_time(name_along(photos, NAMES), START))


def test_the_violet_tells_the_lamp_s_level(shown):
    photos, lamp = shown
    found = lamp_of(photos)
    error = np.log(found.levels / lamp)
    assert np.ptp(np.log(lamp)) > 0.05  # what it takes off
    assert np.std(error) < 0.01
    assert np.std(error) < found.sd < 0.05


def test_half_times_follow_without_a_control_and_it_is_told_how(shown):
    course = recipes.track(shown[0], Plan(start=START), NAMES)[1]
    assert "lamp-not-steadied" not in course.flags
    assert "lamp-by-violet" in course.flags
    assert course.lamp_steadied.by == "lamp violet"
    assert 0.02 <= course.lamp_steadied.relative_sd < 0.05
    for name, truth in COURSES.items():
        found = course.sample(name)
        low, high = found.half_time_interval_s
        assert low <= truth.half_time_s <= high
        assert high - low < 0.2 * truth.half_time_s
        for p in found.points:
            assert p.fraction_start == pytest.approx(truth.fraction(p.time_s), abs=0.005)
    by_control = recipes.track(shown[0], Plan(("still",), (), START), NAMES)[1]
    for name in COURSES:
        one, other = (c.sample(name).half_time_s for c in (course, by_control))
        assert one == pytest.approx(other, rel=0.005)
    assert course.sample("still").verdict == "no change seen"
    assert course_from_json(track_document(course, [], "")).lamp_steadied == course.lamp_steadied


def test_a_steady_lamp_gives_the_same_half_times(tmp_path):
    course = recipes.track(series(tmp_path, 0.01, drift=0.0)[0], Plan(start=START), NAMES)[1]
    for name, truth in COURSES.items():
        low, high = course.sample(name).half_time_interval_s
        assert low <= truth.half_time_s <= high


def test_a_ground_that_shows_none_leaves_the_lamp_unsteadied(tmp_path):
    photos, _ = series(tmp_path, 0.0)
    course = recipes.track(photos, Plan(start=START), NAMES)[1]
    assert "lamp-not-steadied" in course.flags
    assert course.lamp_steadied is None
    assert course.sample("fast").half_time_s is None
    assert all(p.fraction_start is None for p in course.sample("fast").points)


def test_a_control_comes_before_the_violet(shown):
    course = recipes.track(shown[0], Plan(("still",), (), START), NAMES)[1]
    assert course.lamp_steadied.by == "controls"
    assert course.lamp_steadied.names == ("still",)
    assert "lamp-by-violet" not in course.flags


def with_ground(photos, index, **changed):
    return [
        replace(p, ground=replace(p.ground, **{k: f(getattr(p.ground, k)) for k, f in changed.items()}))
        if i in index
        else p
        for i, p in enumerate(photos)
    ]


@pytest.mark.parametrize(
    "changed",
    [
        {"quarter": lambda q: (1.2 * q[0], *q[1:])},  # the cloth or the lamp was moved
        {"room_rgb": lambda _: (0.05, 0.05, 0.05)},  # somebody opened the door
        {"linear_rgb": lambda g: (g[0] + 0.5 * g[2], *g[1:])},  # another ground
        {"quarter_sd": lambda s: tuple(50 * v for v in s)},  # too faint
    ],
)
def test_a_ground_that_is_not_the_same_steadies_nothing(shown, changed):
    photos = with_ground(shown[0], range(5, 10), **changed)
    assert lamp_of(photos) is None


def test_room_light_in_some_photographs_steadies_nothing(tmp_path, shown):
    lit, _ = series(tmp_path, 0.01, room=0.02, surroundings_albedo=0.05)
    mixed = [b if i > 5 else a for i, (a, b) in enumerate(zip(shown[0], lit, strict=True))]
    assert lamp_of(mixed) is None


def test_photographs_measured_before_grounds_were_kept_steady_nothing(shown):
    assert lamp_of([replace(p, ground=None) for p in shown[0]]) is None
