"""Rendered series, followed from file to verdict. Truths: the formulas the scene room renders by."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

import glowkin
from glowkin import recipes
from glowkin.base.errors import CannotMeasureError, WrongUseError
from glowkin.findings.track import Plan
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.series import Change, Course, Shake, photograph_series
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import band
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres, with_luminance

HOUR = 3600.0
HOURS = (0, 1, 2, 3, 5, 8, 12, 18, 30)
NAMES = ("fast", "slow", "half-way", "still", "control")
COURSES = {
    "fast": Course("first-order", 2.5 * HOUR),
    "slow": Course("avrami-erofeev", 6 * HOUR, 2.0),
    "half-way": Course("first-order", 3 * HOUR, stops_at=0.6),
}
SIZE = (600, 400)


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    """A red form turning into a five times brighter green one; the camera shifts, turns, zooms a little."""
    folder = tmp_path_factory.mktemp("series")
    red, green, yellow = (
        band(620, 80),
        with_luminance(band(525, 60), 0.25),
        with_luminance(band(570, 80), 0.15),
    )
    samples = [
        SceneSample(
            name,
            Shape("vial", centre, 38),
            yellow if name == "control" else with_luminance(red, 0.05),
            seed=i,
        )
        for i, (name, centre) in enumerate(zip(NAMES, grid_centres(SIZE, 3, 2), strict=False))
    ]
    changes = [Change(name, course, green) for name, course in COURSES.items()]
    scene = Scene(SIZE, tuple(samples), surroundings_violet=0.0003, seed=4)
    series = photograph_series(
        scene,
        changes,
        [h * HOUR for h in HOURS],
        default_camera(),
        np.random.default_rng(11),
        Exposure(taken_at=datetime(2026, 5, 4, 9)),
        lamp_drift=0.04,
        shake=Shake(0.03, 2.0, 0.03),
    )
    return [recipes.measure(write_dng(shot, folder / f"{i}.dng")) for i, shot in enumerate(series.shots)]


def courses(photos, **plan):
    plan.setdefault("controls", ("control",))
    return recipes.track(photos, Plan(**plan), NAMES)[1]


def test_half_times_are_right_within_their_intervals(measured):
    course = courses(measured, start="2026-05-04T09:00")
    for name, hours in (("fast", 2.5), ("slow", 6.0)):
        found = course.sample(name)
        low, high = found.half_time_interval_s
        assert found.verdict == "changing"
        assert low <= hours * HOUR <= high
        assert high - low < 0.15 * hours * HOUR
        assert found.two_forms_suffice
    assert course.sample("slow").model == "avrami-erofeev"


def test_what_does_not_change_is_said_not_to(measured):
    course = courses(measured)
    assert course.sample("still").verdict == "no change seen"
    assert course.sample("control").verdict == "no change seen"


def test_where_a_change_stops_is_known_only_from_a_sample_that_converted(measured):
    assert courses(measured).sample("half-way").stops_at is None
    found = courses(measured, converted=("fast",)).sample("half-way")
    low, high = found.stops_at_interval
    assert low <= 0.6 <= high
    assert high - low < 0.2
    assert courses(measured, converted=("fast",)).sample("still").longer_than_s > 30 * HOUR


def test_without_a_control_no_amount_is_claimed(measured):
    unlit = [replace(p, ground=None) for p in measured]  # whose ground shows no violet of the lamp
    found = courses(unlit, controls=()).sample("fast")
    assert found.verdict == "changing"
    assert (found.half_time_s, found.luminance_ratio, found.models) == (None, None, ())
    assert all(p.fraction_start is None for p in found.points)
    assert "light-is-not-amount" in found.flags
    # light runs ahead of amount: the new form is five times brighter
    assert found.light_half_time_s < 2.5 * HOUR


def exchanged(photos, first, a, b):
    """The photographs with two vials put back in each other's place before this one (in reading order)."""
    out = []
    for k, photo in enumerate(photos):
        samples = list(photo.samples)
        if k >= first:
            samples[a], samples[b] = (
                replace(samples[b], centre_px=samples[a].centre_px),
                replace(samples[a], centre_px=samples[b].centre_px),
            )
        out.append(replace(photo, samples=tuple(samples)))
    return out


def test_vials_put_back_in_each_other_s_place_are_flagged_and_told(measured):
    swapped = exchanged(measured, 6, 0, 3)
    flagged = courses(swapped)
    named = {s.name for s in flagged.samples if "maybe-swapped" in s.flags}
    assert named == {"fast", "still"}
    hit = [p.path for p in flagged.sample("fast").points if "maybe-swapped" in p.flags]
    file = Path(measured[6].path).name
    assert [Path(p).name for p in hit] == [file]
    mended = courses(swapped, swapped=((file, "fast", "still"),))
    assert all("maybe-swapped" not in s.flags for s in mended.samples)
    unchanged = courses(measured).sample("fast").half_time_s
    assert mended.sample("fast").half_time_s == pytest.approx(unchanged, rel=0.01)


def test_a_change_alone_is_no_swap(measured):
    assert all("maybe-swapped" not in s.flags for s in courses(measured).samples)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (("99.dng", "fast", "still"), "no photograph"),
        (("6.dng", "fast", "nobody"), "no sample is named nobody"),
    ],
)
def test_a_swap_of_what_is_not_there_is_refused(measured, told, words):
    with pytest.raises(WrongUseError, match=words):
        courses(measured, swapped=(told,))


def test_order_of_the_files_does_not_matter(measured):
    assert courses(measured[::-1]) == courses(measured)


def test_a_changed_exposure_is_divided_out_and_flagged(measured):
    def longer(photo):
        samples = tuple(
            replace(
                s,
                linear_rgb=tuple(1.5 * v for v in s.linear_rgb),
                stray_rgb=tuple(1.5 * v for v in s.stray_rgb),
                linear_rgb_covariance=tuple(tuple(2.25 * v for v in row) for row in s.linear_rgb_covariance),
            )
            for s in photo.samples
        )
        return replace(photo, exposure_s=1.5 * photo.exposure_s, samples=samples)

    changed = [longer(p) if i % 2 else p for i, p in enumerate(measured)]
    course = courses(changed)
    assert "exposure-changed" in course.flags
    assert course.sample("fast").half_time_s == pytest.approx(
        courses(measured).sample("fast").half_time_s, rel=1e-6
    )


def test_the_camera_moved_and_every_sample_was_followed(measured):
    series, course = recipes.track(measured, Plan(("control",)), NAMES)
    assert "moved" in course.flags
    assert all([s.name for s in p.samples] == list(NAMES) for p in series)


def test_time_zero_may_lie_before_the_first_photograph(measured):
    early, late = (courses(measured, start=f"2026-05-04T{h}:00").sample("slow") for h in ("08", "09"))
    assert early.points[0].time_s == HOUR
    assert HOUR / 2 < early.half_time_s - late.half_time_s < 2 * HOUR
    assert "no-start-time" in courses(measured).flags
    with pytest.raises(WrongUseError, match=r"^--start .* is later than the first photograph, .*name the"):
        courses(measured, start="2026-05-05T09:00")
    with pytest.raises(WrongUseError, match="write it as 2026-05-04T13:30"):
        courses(measured, start="yesterday")


def test_what_is_no_series_is_refused(measured):
    with pytest.raises(CannotMeasureError, match="a course needs two at least"):
        courses(measured[:1])
    with pytest.raises(CannotMeasureError, match="a course needs two at least"):
        courses([replace(p, taken_at=None) for p in measured])
    with pytest.raises(CannotMeasureError, match="samples were found in this first photograph"):
        recipes.track(measured, Plan(), ("one", "two"))
    with pytest.raises(WrongUseError, match="no such sample; there are fast, slow"):
        courses(measured, controls=("contrl",))


def test_one_vial_is_flagged_as_no_evidence_about_the_storage(measured):
    names = ("open-1", "open-2", "shut", "still", "control")
    course = glowkin.track(measured, names=names, controls=["control"])
    flagged = {s.name for s in course.samples if "single-vial" in s.flags}
    assert flagged == {"shut", "still"}


def test_raw_and_rendered_files_are_not_mixed_in_one_course(measured):
    mixed = [replace(p, kind="rendered") if i == 3 else p for i, p in enumerate(measured)]
    with pytest.raises(CannotMeasureError, match="photographs of one kind by one camera"):
        courses(mixed)
