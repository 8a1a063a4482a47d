from __future__ import annotations

import json
import math

import numpy as np
import pytest

from glowkin.scene import cameras, chart, spectra, stage
from glowkin.scene.truth import colour_of, luminance, truth_json


def test_equal_energy_lies_where_the_standard_puts_it() -> None:
    # CIE 15: E at (1/3, 1/3), u'v' (0.2105, 0.4737)
    colour = colour_of(np.ones(471))
    assert colour is not None
    assert colour.xy == pytest.approx((1 / 3, 1 / 3), abs=1e-4)
    assert (colour.u_prime, colour.v_prime) == pytest.approx((0.2105, 0.4737), abs=1e-4)


def test_darkness_has_no_colour_and_no_luminance() -> None:
    assert colour_of(np.zeros(471)) is None
    assert luminance(np.zeros(471)) == 0.0


def test_truths_of_samples_read_back_from_json() -> None:
    scene = stage.plain_scene((200, 80), [spectra.band(520.0, 52.0), np.zeros(471)])
    green, blank = json.loads(truth_json(scene.truths()))
    assert green["name"] == "A"
    assert green["colour"]["u_prime"] == pytest.approx(scene.truths()[0].u_prime, rel=1e-5)
    assert len(green["outline_px"]) == 72
    assert blank["colour"] is None
    assert math.isnan(scene.truths()[1].v_prime)
    assert "spectrum" not in green


def test_a_charts_truth_reads_back_from_json() -> None:
    shot = chart.photograph_chart(cameras.default_camera(), np.random.default_rng(0))
    row = json.loads(truth_json(shot.chart))
    assert row["cct_kelvin"] == 5600.0
    assert len(row["corners_px"]) == 4
