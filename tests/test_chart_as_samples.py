"""A photograph of a colour chart that is measured, as if its patches were samples, is told to be one."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner

from glowkin.camera import find_chart
from glowkin.cli import main
from glowkin.scene.cameras import default_camera
from glowkin.scene.chart import ChartStand, photograph_chart
from glowkin.scene.dng import write_dng

HALF = np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)])
ROUND = np.array([(np.cos(t), np.sin(t)) for t in np.linspace(0, 2 * np.pi, 24, endpoint=False)])


@pytest.fixture(scope="module")
def chart(tmp_path_factory):
    shot = photograph_chart(default_camera(), np.random.default_rng(3), ChartStand())
    return write_dng(shot, tmp_path_factory.mktemp("chart") / "chart.dng")


def run(*arguments):
    result = CliRunner().invoke(main, [*map(str, arguments), "--json"])
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def test_measure_and_check_say_that_it_is_a_chart(chart):
    assert "shows-a-chart" in run("measure", chart)["photos"][0]["flags"]
    assert "glowkin camera fit makes a camera file" in json.dumps(run("check", chart))


def grid(outline, side=20.0):
    return [
        side * 0.8 * outline + (100 + 2 * side * c, 100 + 2 * side * r) for r in range(4) for c in range(6)
    ]


@pytest.mark.parametrize("outlines", [grid(HALF)[:9], grid(ROUND), []])
def test_few_samples_and_round_vials_cost_no_search(outlines, monkeypatch):
    monkeypatch.setattr(find_chart, "_lattice", lambda *_: pytest.fail("searched"))
    assert not find_chart.shows_chart(None, outlines)
