"""Samples that come late, vanish, or are put elsewhere. Truths: where the test put them.

The rendered series has a camera that shifts by 3 % of the frame, turns by 2 degrees and zooms by 3 % (sd).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from glowkin import recipes
from glowkin.base.errors import CannotMeasureError
from glowkin.base.records import CameraUsed, MeasuredPhoto, Sample
from glowkin.findings.frames import name_along
from glowkin.findings.track import Plan
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.render import photograph
from glowkin.scene.series import Shake, placement
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import band
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres, with_luminance

ZERO = datetime(2026, 5, 4, 9)
GRID = [(x, y) for y in (100.0, 300.0) for x in (100.0, 300.0, 500.0)]
COLOURS = ((0.45, 0.52), (0.10, 0.56), (0.20, 0.20), (0.30, 0.50), (0.25, 0.40), (0.05, 0.50))


def shot(number, vials, shift=(0.0, 0.0)):
    """A photograph of these vials: centre and colour each, in reading order."""
    vials = sorted(vials, key=lambda v: (v[0][1] > 200, v[0][0]))
    samples = tuple(
        Sample(f"S{i}", (x + shift[0], y + shift[1]), 2000.0, (), u_prime=u, v_prime=v)
        for i, ((x, y), (u, v)) in enumerate(vials, 1)
    )
    camera = CameraUsed("one", "generic", (0.3, 0.6, 0.1))
    at = (ZERO + timedelta(hours=number)).isoformat()
    return MeasuredPhoto(
        f"{number}.dng", f"{number:064}", at, 0.1, 100.0, 4.0, "raw", (800, 600), camera, "E",
        (1 / 3, 1 / 3), 2, (), samples,
    )  # fmt: skip


def vials(left_out=(), **at):
    return [(at.get(f"v{i}", GRID[i]), COLOURS[i]) for i in range(6) if i not in left_out]


def colour_of(photo, name):
    sample = photo.sample(name)
    return None if sample is None else (sample.u_prime, sample.v_prime)


def flagged(photos, flag):
    return [(number, s.name) for number, p in enumerate(photos) for s in p.samples if flag in s.flags]


def test_a_vial_put_on_a_new_place_is_the_same_vial():
    shots = [shot(i, vials(v1=(700.0, 300.0)) if i > 2 else vials(), (5.0 * i, 3.0)) for i in range(6)]
    named = name_along(shots)
    assert {colour_of(photo, "S2") for photo in named} == {COLOURS[1]}
    assert flagged(named, "put-elsewhere") == [(3, "S2")]
    assert {s.name for photo in named for s in photo.samples} == {f"S{i}" for i in range(1, 7)}


def test_one_that_was_in_the_hand_at_one_photograph_too():
    shots = [
        shot(0, vials()),
        shot(1, vials()),
        shot(2, vials((1,))),
        *(shot(i, vials(v1=(700.0, 300.0))) for i in (3, 4)),
    ]
    assert [colour_of(photo, "S2") for photo in name_along(shots)] == [COLOURS[1]] * 2 + [None] + [
        COLOURS[1]
    ] * 2


def test_and_put_back_again():
    shots = [shot(i, vials(v1=(700.0, 300.0)) if i in (2, 3, 4) else vials()) for i in range(6)]
    assert {colour_of(photo, "S2") for photo in name_along(shots)} == {COLOURS[1]}


def test_another_vial_in_its_stead_is_not_taken_for_it():
    """It has another colour: one vanished, one came late."""
    later = [*vials((1,)), ((700.0, 300.0), (0.40, 0.30))]
    named = name_along([shot(i, later if i > 2 else vials()) for i in range(6)])
    assert [colour_of(photo, "S2") for photo in named] == [COLOURS[1]] * 3 + [None] * 3
    assert [colour_of(photo, "S7") for photo in named] == [None] * 3 + [(0.40, 0.30)] * 3
    assert flagged(named, "put-elsewhere") == []


def test_two_that_left_at_once_are_not_guessed():
    later = vials(v1=(700.0, 100.0), v2=(700.0, 300.0))
    named = name_along([shot(i, later if i > 2 else vials()) for i in range(6)])
    assert flagged(named, "put-elsewhere") == []
    assert colour_of(named[-1], "S2") is None


def test_a_late_sample_is_followed_and_named_on():
    named = name_along([shot(i, vials((4,)) if i < 2 else vials()) for i in range(6)])
    assert [colour_of(photo, "S6") for photo in named] == [None] * 2 + [COLOURS[4]] * 4
    given = name_along([shot(i, vials((4,)) if i < 2 else vials()) for i in range(6)], "abcdef")
    assert colour_of(given[-1], "f") == COLOURS[4]
    fewer = name_along([shot(i, vials((4,)) if i < 2 else vials()) for i in range(6)], "abcde")
    assert colour_of(fewer[-1], "S6") == COLOURS[4]
    with pytest.raises(
        CannotMeasureError, match="5 samples were found in this first photograph, and 1 that came"
    ):
        name_along([shot(i, vials((4,)) if i < 2 else vials()) for i in range(6)], "abcd")


def test_what_is_seen_once_or_now_and_then_is_no_sample():
    glint = ((700.0, 200.0), (0.2, 0.47))
    shots = [shot(i, [*vials(), glint] if i in (2, 9) else vials()) for i in range(12)]
    assert {s.name for photo in name_along(shots) for s in photo.samples} == {f"S{i}" for i in range(1, 7)}


def test_hundreds_of_glints_do_not_add_up():
    rng = np.random.default_rng(1)
    glints = [(tuple(rng.uniform(600, 5000, 2)), (0.2, 0.47)) for _ in range(600)]
    shots = [shot(i, [*vials(), glint] if i else vials()) for i, glint in enumerate(glints)]
    assert {s.name for photo in name_along(shots) for s in photo.samples} == {f"S{i}" for i in range(1, 7)}


NAMES = ("moving", "gone", "steady", "late", "still")


@pytest.fixture(scope="module")
def rendered(tmp_path_factory):
    """Five vials on six places: one is put on the free place, one is taken away, one comes late."""
    folder, size, rng = tmp_path_factory.mktemp("places"), (600, 400), np.random.default_rng(5)
    places = grid_centres(size, 3, 2)
    colours = [band(630, 80), band(520, 60), band(570, 80), band(480, 60), band(600, 90)]
    photos = []
    for number in range(7):
        stands = [5 if number >= 3 else 0, 1, 2, 3, 4]
        there = {"gone": number < 5, "late": number >= 2}
        samples = tuple(
            SceneSample(name, Shape("vial", places[place], 36), with_luminance(colour, 0.1), seed=i)
            for i, (name, colour, place) in enumerate(zip(NAMES, colours, stands, strict=True))
            if there.get(name, True)
        )
        scene = Scene(size, samples, surroundings_violet=0.0003, seed=4)
        scene = replace(scene, placement=placement(rng, size, Shake(0.03, 2.0, 0.03)))
        taken = Exposure(taken_at=ZERO + timedelta(hours=number))
        path = write_dng(
            photograph(scene, default_camera(), rng, taken, brightest=0.6), folder / f"{number}.dng"
        )
        photos.append(recipes.measure(path))
    return photos


def test_rendered_vials_are_followed_wherever_they_stand(rendered):
    names = ("moving", "gone", "steady", "still", "late")
    series, course = recipes.track(rendered, Plan(("steady",)), names)
    there = {name: [p.sample(name) is not None for p in series] for name in names}
    assert there == {
        "moving": [True] * 7, "gone": [True] * 5 + [False] * 2, "steady": [True] * 7, "still": [True] * 7,
        "late": [False] * 2 + [True] * 5,
    }  # fmt: skip
    for name in names:
        colours = np.array([(p.u_prime, p.v_prime) for p in course.sample(name).points])
        assert np.ptp(colours, axis=0).max() < 0.02
    told = {s.name: {*s.flags} & {"put-elsewhere", "vanished", "late-sample"} for s in course.samples}
    assert told == {
        "moving": {"put-elsewhere"}, "gone": {"vanished"}, "steady": set(), "still": set(),
        "late": {"late-sample"},
    }  # fmt: skip


@pytest.mark.parametrize("zoom", [0.93, 0.97, 1.04, 1.07])
@pytest.mark.parametrize("turn", [-3.0, 4.0])
def test_zoom_and_turn_with_a_vial_missing_and_one_elsewhere(zoom, turn):
    """A similarity about the middle of the frame (geometry)."""

    def seen(number, there):
        a, z = np.radians(turn * number / 5), zoom ** (number / 5)
        R = z * np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        return shot(number, [(tuple(R @ (np.array(at) - 300) + 300), colour) for at, colour in there])

    shots = [seen(i, vials((0,) if i > 3 else (), v1=(700.0, 300.0)) if i > 1 else vials()) for i in range(6)]
    named = name_along(shots)
    for i in range(6):
        expected = [COLOURS[i]] * 6 if i else [COLOURS[0]] * 4 + [None] * 2
        assert [colour_of(photo, f"S{i + 1}") for photo in named] == expected
