"""Photographs clipped in one channel count in a course: the others are values, that one is a bound.

Truth: the formulas the scene room renders by, which share no code with the fits; the sensor's ceiling is the
scene camera's own.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

from glowkin import recipes
from glowkin.findings.frames import frames_in_time, name_along, series_of
from glowkin.findings.track import Plan
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.series import Change, Course, Shake, photograph_series
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import band
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres, with_luminance

HOUR = 3600.0
HOURS = (0, 0.5, 1, 2, 3, 4.5, 6, 8, 11, 15)
NAMES = ("fading", "control")
START = "2026-05-04T09:00"
SIZE = (400, 200)
COURSES = {"fading": Course("first-order", 2.5 * HOUR)}


def series(folder, seed):
    """An orange form turning into a dimmer green one, exposed for the green: red clips at first."""
    rng = np.random.default_rng((31, seed))
    old, new = with_luminance(band(610, 70), 0.2), with_luminance(band(530, 60), 0.08)
    light = {"control": with_luminance(band(570, 80), 0.06)}
    samples = [
        SceneSample(n, Shape("vial", c, 40), light.get(n, old), seed=10 * seed + i)
        for i, (n, c) in enumerate(zip(NAMES, grid_centres(SIZE, 2, 1), strict=True))
    ]
    scene = Scene(SIZE, tuple(samples), surroundings_violet=0.0, seed=seed)
    changes = [Change(name, course, new) for name, course in COURSES.items()]
    taken = photograph_series(
        scene, changes, [h * HOUR for h in HOURS], default_camera(), rng,
        Exposure(taken_at=datetime(2026, 5, 4, 9)), lamp_drift=0.04, shake=Shake(0.01, 0.5, 0.008),
        brightest=1.15,
    )  # fmt: skip
    return [recipes.measure(write_dng(s, folder / f"{i}.dng")) for i, s in enumerate(taken.shots)]


@pytest.fixture(scope="module", params=[1, 2])
def photos(request, tmp_path_factory):
    return series(tmp_path_factory.mktemp("clipped"), request.param)


def followed(photos, controls=("control",)):
    return recipes.track(photos, Plan(tuple(controls), (), START), NAMES)[1]


def clipped_in(photos, name="S1"):
    return [i for i, p in enumerate(photos) if p.sample(name).clipped_fraction > 0.01]


def width(course, name):
    low, high = course.sample(name).half_time_interval_s
    assert low <= COURSES[name].half_time_s <= high
    return high - low


def test_the_record_tells_what_a_clipped_sample_is_at_least(photos):
    for i in clipped_in(photos):
        seen = photos[i].sample("S1")
        assert seen.bound_channels == ("red",)
        assert 0.8 < seen.bound_rgb[0] <= 1.0
        assert np.linalg.eigvalsh(seen.bound_rgb_covariance).min() >= -1e-12
    first, last = photos[0].sample("S1"), photos[-1].sample("S1")
    assert last.bound_rgb is None
    assert first.bound_rgb[1] > 0.0


def test_clipped_photographs_narrow_the_half_time_and_the_interval_holds_it(photos):
    clipped = clipped_in(photos)
    assert clipped[:2] == [0, 1]
    assert len(clipped) <= 4
    course = followed(photos)
    # passed over: the photographs are not there at all, time zero is told all the same
    over = followed([p for i, p in enumerate(photos) if i not in clipped])
    with_bounds, without = width(course, "fading"), width(over, "fading")
    # 0.125 and 0.111 h with bounds, 0.329 and 0.299 h passed over
    assert with_bounds < 0.6 * without
    found = course.sample("fading")
    assert not found.spoiled_photos
    truth = [COURSES["fading"].fraction(p.time_s) for p in found.points]
    held = [p.low <= f <= p.high for p, f in zip(found.points, truth, strict=True)]
    assert np.mean(held) >= 0.9
    assert found.points[0].fraction_start is not None


def test_a_fit_does_not_fall_below_a_bound(photos):
    named = name_along(photos, NAMES)
    whole = series_of(frames_in_time(named, START), "fading", 0.015)
    assert whole.least
    first = np.flatnonzero(whole.bounds.any(axis=1))
    below = whole.signals.copy()
    below[first, 0] *= 0.8
    held = whole.held_above(below)
    assert not held.bounds.any()
    assert (held.covariances[first, 0, 0] < 1e-3 * whole.covariances[first, 0, 0]).all()
    above = whole.signals.copy()
    above[first, 0] *= 1.5
    assert (whole.held_above(above).bounds == whole.bounds).all()


def test_without_a_control_they_are_passed_over(photos):
    found = followed(photos, ()).sample("fading")
    assert found.half_time_s is None
    assert all(p.fraction_start is None for p in found.points)


def test_what_clips_in_two_channels_tells_nothing(photos):
    def blind(photo):
        two = [replace(s, bound_channels=("red", "green")) if s.bound_channels else s for s in photo.samples]
        return replace(photo, samples=tuple(two))

    found = followed([blind(p) for p in photos]).sample("fading")
    assert found.verdict == "changing"
    assert found.half_time_s is None
