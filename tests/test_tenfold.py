"""Light is not amount: a 1:1 mixture with a tenfold brighter partner is 50 % by amount, 91 % by light.

Arithmetic: 10 / 11 of the light comes from the brighter half. Rendered photographs, from file to record; the
forms mix in the scene's own spectra, which share no code with the fits.
"""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest

from glowkin import recipes
from glowkin.findings.track import Plan
from glowkin.scene.cameras import default_camera
from glowkin.scene.dng import write_dng
from glowkin.scene.series import Change, Course, photograph_series
from glowkin.scene.shot import Exposure
from glowkin.scene.spectra import band
from glowkin.scene.stage import Scene, SceneSample, Shape, grid_centres, with_luminance

HOUR = 3600.0
HOURS = (0, 1.5, 3, 6, 9, 14, 24, 48)
NAMES = ("goes on", "stops half-way", "control")
HALF = 3


@pytest.fixture(scope="module", params=[10.0, 0.1], ids=["new form brighter", "new form darker"])
def course(request, tmp_path_factory):
    """A vial of half-time 6 h, photographed then too, and one that stops at 1:1."""
    folder, ratio = tmp_path_factory.mktemp("tenfold"), request.param
    red = with_luminance(band(640, 85), 0.05 * max(1.0, 1 / ratio))
    green = with_luminance(band(520, 52), 0.05 * max(1.0, 1 / ratio) * ratio)
    steady = with_luminance(band(570, 80), 0.15)
    samples = [
        SceneSample(name, Shape("vial", centre, 38), steady if name == "control" else red, seed=i)
        for i, (name, centre) in enumerate(zip(NAMES, grid_centres((600, 300), 3, 1), strict=True))
    ]
    changes = [
        Change("goes on", Course("first-order", 6 * HOUR), green),
        Change("stops half-way", Course("first-order", 4 * HOUR, stops_at=0.5), green),
    ]
    scene = Scene((600, 300), tuple(samples), surroundings_violet=0.0003, seed=9)
    series = photograph_series(
        scene, changes, [h * HOUR for h in HOURS], default_camera(), np.random.default_rng(5),
        Exposure(taken_at=datetime(2026, 5, 4, 9)), lamp_drift=0.04,
    )  # fmt: skip
    photos = [recipes.measure(write_dng(shot, folder / f"{i}.dng")) for i, shot in enumerate(series.shots)]
    plan = Plan(controls=("control",), converted=("goes on",), start="2026-05-04T09:00")
    return request.param, recipes.track(photos, plan, NAMES)[1]


def test_half_the_amount_is_told_as_half_within_its_interval_though_the_light_says_otherwise(course):
    ratio, found = course[0], course[1].sample("goes on")
    point = found.points[HALF]
    width = point.high - point.low
    assert point.low < 0.5 < point.high, f"{point.fraction_start:.3f}, width {width:.3f}"
    assert width < 0.06, f"width {width:.3f}"
    assert 1 - point.light_fraction_start == pytest.approx(ratio / (1 + ratio), abs=0.03)


def test_the_tenfold_ratio_is_fitted_within_its_interval(course):
    ratio, found = course[0], course[1].sample("goes on")
    low, high = found.luminance_ratio.low, found.luminance_ratio.high
    assert low < ratio < high, f"{found.luminance_ratio.value:.2f}, factor {high / low:.2f} from end to end"
    assert high / low < 2.0


def test_a_vial_that_stops_at_one_to_one_is_told_so_by_the_converted_one(course):
    found = course[1].sample("stops half-way")
    low, high = found.stops_at_interval
    assert low < 0.5 < high, f"{found.stops_at:.3f}, width {high - low:.3f}"
    assert high - low < 0.3, f"width {high - low:.3f}"
