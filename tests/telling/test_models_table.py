"""Rate models side by side: three of each sample, on request all."""

from __future__ import annotations

from dataclasses import replace

import pytest
from click.testing import CliRunner

from glowkin.base.records import ModelFit
from glowkin.cli import main
from glowkin.findings.track import Plan
from glowkin.telling.models_table import models_table

HOUR = 3600.0
FITS = (
    ModelFit("prout-tompkins", {"tau_s": 1.0, "germ": 0.02}, -50.0, 6 * HOUR, (5.5 * HOUR, 6.5 * HOUR)),
    ModelFit("avrami-erofeev", {"tau_s": 1.0, "exponent": 2.1}, -48.5, 6.1 * HOUR, (5.8 * HOUR, 6.4 * HOUR)),
    ModelFit("first-order", {"tau_s": 1.0, "induction_s": 2 * HOUR}, -40.0, 6.3 * HOUR, (6 * HOUR, None)),
    ModelFit("zero-order", {"tau_s": 1.0}, -12.0, 7 * HOUR, (6.5 * HOUR, 7.5 * HOUR)),
)


@pytest.fixture
def one(course):
    return replace(course, samples=(replace(course.samples[0], models=FITS),))


def test_the_best_three_are_shown_and_the_rest_is_spoken_of(one):
    table = models_table(one)
    assert [row[1] for row in table.rows] == ["Prout–Tompkins", "Avrami–Erofeev", "first order"]
    assert [row[2] for row in table.rows] == ["0.0", "1.5", "10.0"]
    assert [row[4] for row in table.rows] == ["germ 0.020", "exponent 2.1", "begins after 2.0 h"]
    assert "best 3 of 4" in table.note
    assert "--all-models" in table.note


def test_on_request_all_are_shown(one):
    table = models_table(replace(one, models_shown=7))
    assert len(table.rows) == 4
    assert "--all-models" not in table.note


def test_track_takes_the_request(tmp_path):
    assert Plan(all_models=True).all_models
    assert "--all-models" in CliRunner().invoke(main, ["track", "--help"]).output
